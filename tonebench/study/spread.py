# SPDX-License-Identifier: GPL-3.0-or-later
"""How far builds of one circuit lie apart at a setting: by lot, and at the very worst.

A build differs from the drawing in level, which a volume evens out, and in shape, which
is what it sounds like; both are told. The pickup, the lead and the load are as given:
they are not built. Draws nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain
from tonebench.errors import RequestError
from tonebench.network.builds import Builds
from tonebench.network.nodal import Network
from tonebench.study.curves import setting_words
from tonebench.study.feature_spread import FeatureSpread, feature_spread
from tonebench.study.tolerance import (
    PartTolerance,
    draw,
    factors,
    nine_of_ten,
    refs_of,
)

Real = NDArray[np.float64]

BUILDS = 10_000
#: Where builds are compared.
SPREAD_HZ: Real = np.geomspace(20, 20_000, 500)
#: The level of a curve is its mean over this range, on a scale of octaves.
_LEVEL_FROM_HZ, _LEVEL_TO_HZ = 40.0, 10_000.0
#: What an instrument and its strings' noise reach: the largest deviation is told here.
_HEARD_FROM_HZ, _HEARD_TO_HZ = 30.0, 16_000.0
#: Builds for the question what tighter parts would bring.
_TIGHTER_BUILDS = 2000
#: Parts that move the shape by less than this aren't worth a thought.
_LEAST_PART_DB = 0.05
_TIGHTEST = 3
#: What is left of the deviation must be this share of it, or less.
_WORTH_SHARE = 0.85


@dataclass(frozen=True, slots=True)
class PartEffect:
    """What one part alone does to the shape of the curve, at its worst.

    `shape_db` is the largest change of shape, at `at_hz`; `level_db` the change of
    level; `rms_db` goes over all frequencies, and parts are ranked by it.
    """

    part: PartTolerance
    rms_db: float
    shape_db: float
    at_hz: float
    level_db: float


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """Limits over frequency in dB: of nine builds of ten, and of the worst ones."""

    low: Real
    high: Real
    worst_low: Real
    worst_high: Real


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """How far builds lie apart at one setting.

    Attributes
    ----------
    setting : mapping
        The position of every control.
    builds : int
        How many were drawn by lot.
    frequency_hz, drawn_db : ndarray, shape (F,)
        The curve as drawn.
    gain : Band
        Limits of the gain in dB.
    shape : Band
        Limits of what is left of build − drawing, its mean level taken out.
    level_db : tuple of float
        Nine builds of ten have a mean level this far from the drawing's.
    parts : tuple of PartEffect
        Every part, the one that matters most first.
    features : tuple of FeatureSpread
        The curve's features.
    tighter_db : float
        The largest shape deviation of nine builds of ten if `worth_tighter` were
        bought one grade tighter.
    unstable : float
        Share of builds that oscillate or latch.
    """

    setting: Settings
    builds: int
    frequency_hz: Real
    drawn_db: Real
    gain: Band
    shape: Band
    level_db: tuple[float, float]
    parts: tuple[PartEffect, ...]
    features: tuple[FeatureSpread, ...]
    tighter_db: float
    unstable: float

    @property
    def worth_tighter(self) -> tuple[PartEffect, ...]:
        """The parts, three at most, that are worth buying one grade tighter.

        None, where that brings the builds hardly nearer together.
        """
        is_worth = self.tighter_db <= _WORTH_SHARE * self.most_db[0]
        return _worth_tighter(self.parts) if is_worth else ()

    @property
    def most_db(self) -> tuple[float, float]:
        """The largest shape deviation of nine builds of ten, and its frequency.

        Looked for from 30 Hz to 16 kHz.
        """
        return _most(self.frequency_hz, self.shape.low, self.shape.high)

    @property
    def worst_db(self) -> float:
        """The largest shape deviation that any build can have, 30 Hz to 16 kHz."""
        return _most(self.frequency_hz, self.shape.worst_low, self.shape.worst_high)[0]


def spread(
    chain: Chain,
    changes: Settings,
    parts: Sequence[PartTolerance],
    *,
    builds: int = BUILDS,
    frequency_hz: ArrayLike = SPREAD_HZ,
    seed: int = 1,
) -> Spread:
    """Build a circuit thousands of times at one setting.

    Several inputs are driven together, as by a mono take.

    Raises
    ------
    RequestError
        If nothing in it has a tolerance, or nothing comes out at this setting.
    CircuitError
        If the setting leaves the circuit without a solution.
    """
    hz = np.atleast_1d(np.asarray(frequency_hz, dtype=float))
    if not parts:
        raise RequestError(f"{chain.circuit.name}: there is no part to be off")
    if builds < 100:
        raise RequestError(f"at least 100 builds tell something, got {builds}")
    many = Builds(Network(chain), changes, refs_of(parts))
    if many.is_silent:
        where = setting_words(many.setting)
        raise RequestError(f"nothing comes out with {where}; turn something up")
    drawn_db = many.roots(np.ones((1, len(many.refs)))).level_db(hz)[0]
    bench = _Bench(many, tuple(parts), hz, drawn_db)
    off = draw(parts, builds, seed)
    roots = many.roots(factors(parts, off))
    gain = roots.level_db(hz)
    shape, level = bench.parted(gain)
    one_low, one_high = bench.gain(-np.eye(len(parts))), bench.gain(np.eye(len(parts)))
    worst = bench.gain(bench.corners(one_low, one_high))
    effects = bench.effects(one_low, one_high)
    return Spread(
        setting=many.setting,
        builds=builds,
        frequency_hz=hz,
        drawn_db=drawn_db,
        gain=_band(gain, worst),
        shape=_band(shape, bench.parted(worst)[0]),
        level_db=nine_of_ten(level),
        parts=effects,
        features=feature_spread(many, bench.parts, off),
        tighter_db=bench.tighter_db(_worth_tighter(effects), seed),
        unstable=float(1 - np.mean(roots.is_stable)),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Bench:
    """Builds, and the drawing that they are told against."""

    many: Builds
    parts: tuple[PartTolerance, ...]
    hz: Real
    drawn_db: Real

    def gain(self, off: Real) -> Real:
        """Return the gain in dB of builds that are off by shares of their tolerance."""
        return self.many.roots(factors(self.parts, off)).level_db(self.hz)

    def parted(self, gain: Real) -> tuple[Real, Real]:
        """Part builds − drawing into shape (B, F) and level (B,), in dB."""
        away = gain - self.drawn_db
        counts = (self.hz >= _LEVEL_FROM_HZ) & (self.hz <= _LEVEL_TO_HZ)
        counts = counts if counts.any() else np.ones_like(counts)
        weight = counts * np.abs(np.gradient(np.log(self.hz)) if counts.size > 1 else 1)
        level = away @ (weight / weight.sum())
        return away - level[:, None], level

    def corners(self, one_low: Real, one_high: Real) -> Real:
        """Return builds with every part at a limit: at some frequency the worst ones.

        Which limit of a part raises the curve at a frequency is seen from the part
        alone. That finds the very worst as long as no part's doing turns round because
        of the others; `one_low` and `one_high` are the curves (parts, F) with one part
        at its limit.
        """
        signs = [
            np.sign(high - low).T
            for low, high in (
                (one_low, one_high),
                (self.parted(one_low)[0], self.parted(one_high)[0]),
            )
        ]
        found: Real = np.unique(np.concatenate(signs), axis=0)
        return np.concatenate([found, -found])

    def effects(self, one_low: Real, one_high: Real) -> tuple[PartEffect, ...]:
        """Return what each part does alone, the one that matters most first."""
        shapes, levels = zip(
            *(self.parted(curves) for curves in (one_low, one_high)), strict=True
        )
        size = np.maximum(*np.abs(shapes)) * _heard(self.hz)
        rms = np.sqrt(np.mean(size**2, axis=1))
        most = size.argmax(axis=1)
        level = np.maximum(*np.abs(levels))
        return tuple(
            PartEffect(
                part=self.parts[k],
                rms_db=float(rms[k]),
                shape_db=float(size[k, most[k]]),
                at_hz=float(self.hz[most[k]]),
                level_db=float(level[k]),
            )
            for k in np.argsort(-rms, kind="stable").tolist()
        )

    def tighter_db(self, effects: Sequence[PartEffect], seed: int) -> float:
        """Return the largest shape deviation with some parts bought tighter."""
        finer = {effect.part.refs: effect.part.tighter for effect in effects}
        parts = tuple(
            replace(part, share=finer.get(part.refs) or part.share)
            for part in self.parts
        )
        off = draw(parts, _TIGHTER_BUILDS, seed)
        bought = replace(self, parts=parts)
        low, high = nine_of_ten(bought.parted(bought.gain(off))[0])
        return _most(self.hz, low, high)[0]


def _worth_tighter(effects: Sequence[PartEffect]) -> tuple[PartEffect, ...]:
    worth = [e for e in effects if e.rms_db >= _LEAST_PART_DB and e.part.tighter]
    return tuple(worth[:_TIGHTEST])


def _heard(hz: Real) -> NDArray[np.bool_]:
    heard = (hz >= _HEARD_FROM_HZ) & (hz <= _HEARD_TO_HZ)
    return heard if heard.any() else np.ones_like(heard)


def _most(hz: Real, low: Real, high: Real) -> tuple[float, float]:
    size = np.maximum(np.abs(low), np.abs(high)) * _heard(hz)
    most = int(size.argmax())
    return float(size[most]), float(hz[most])


def _band(levels: Real, worst: Real) -> Band:
    low, high = nine_of_ten(levels)
    lowest = np.minimum(levels.min(axis=0), worst.min(axis=0))
    highest = np.maximum(levels.max(axis=0), worst.max(axis=0))
    return Band(low, high, lowest, highest)
