# SPDX-License-Identifier: GPL-3.0-or-later
"""The curves of one control's positions, and which of them is the flattest.

How flat a position is, is judged on the circuit by itself (coils as their resistance,
without lead and load), so that a control isn't blamed, or praised, for what a pickup
does. Names nothing.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.controls import Control, Knob, Settings
from tonebench.network.batch import responses
from tonebench.study.turned import HEARD_HZ, Turned, places

Real = NDArray[np.float64]
Position = float | str

#: Changes below this don't count.
LEAST_DB = 0.5
#: How flat a curve is, is judged here.
FLAT_HZ = np.geomspace(40, 10_000, 193)
#: Spreads closer than this are equal.
_EQUAL_DB = 0.05
QUARTERS = (0.0, 2.5, 5.0, 7.5, 10.0)
_COUNT = 21
#: Between neighbours that are further apart than this, more positions are looked at.
_COARSE_DB = 3.0
_ROUNDS = 2


@dataclass(slots=True)
class Family:
    """The curves of one control's positions, the other controls at one place."""

    positions: list[Position]
    levels_db: Real
    others: Settings = field(default_factory=dict)

    def at(self, position: Position) -> Real:
        """Return the curves of one position, shape (inputs, F)."""
        return np.asarray(self.levels_db[self.positions.index(position)])

    def changes(self, reference: Position) -> Real:
        """Return levels against a reference; NaN where both are silent."""
        with np.errstate(invalid="ignore"):
            return np.asarray(self.levels_db - self.at(reference))


def family_of(
    turned: Turned,
    control: Control,
    others: Settings,
    hz: Real = HEARD_HZ,
    needed: Sequence[Position] = (),
) -> Family:
    """Return the curves of a control; more positions where they are far apart."""
    positions = places(control, _COUNT)
    positions += [place for place in needed if place not in positions]
    if isinstance(control, Knob):
        positions.sort(key=float)

    def solved(some: Sequence[Position]) -> Real:
        return turned.levels_db([{**others, control.name: p} for p in some], hz)

    levels = solved(positions)
    for _ in range(_ROUNDS if isinstance(control, Knob) else 0):
        with np.errstate(invalid="ignore"):
            steps = np.nan_to_num(np.abs(np.diff(levels, axis=0)), nan=0, posinf=0)
        coarse = np.flatnonzero(steps.max(axis=(1, 2)) > _COARSE_DB)
        if not len(coarse):
            break
        new = [(float(positions[k]) + float(positions[k + 1])) / 2 for k in coarse]
        order = np.argsort([*map(float, positions), *new], kind="stable")
        both: list[Position] = [*positions, *new]
        positions = [both[k] for k in order]
        levels = np.concatenate([levels, solved(new)])[order]
    kept = np.asarray(~np.isnan(levels).any(axis=(1, 2)))
    positions = [p for p, keep in zip(positions, kept, strict=True) if keep]
    if not positions and not others:
        responses(turned.network, [turned.start], hz)  # says what is wrong
    return Family(positions, levels[kept], others)


def flattest_of(turned: Turned, bare: Family, control: Control) -> Position:
    """Return the position with the flattest curve.

    Where it hardly differs that is where the control starts; and a knob whose curve is
    flattest near a usual position counts as flat there.
    """
    spread = _spreads(bare).tolist()
    pairs = list(zip(bare.positions, spread, strict=True))
    least = min(spread)
    flattest = bare.positions[spread.index(least)]
    heard = [s for s in spread if math.isfinite(s)]
    is_at_end = flattest in (0.0, 10.0) and max(heard, default=0) - least >= LEAST_DB
    near_db = _EQUAL_DB if is_at_end or isinstance(flattest, str) else LEAST_DB
    equal = [position for position, s in pairs if s <= least + near_db]
    for usual in (turned.start[control.name], 5.0, 10.0, 0.0):
        if usual in equal:
            return usual
    if isinstance(flattest, str):
        return flattest
    near = np.round(np.clip(flattest + np.linspace(-0.5, 0.5, 41), 0, 10), 3)
    close = Family(
        list(map(float, np.unique(near))),
        turned.bare.levels_db(
            [{control.name: float(p)} for p in np.unique(near)], FLAT_HZ
        ),
    )
    return close.positions[int(_spreads(close).argmin())]


def _spreads(bare: Family) -> Real:
    """Return max − min of each position's curve; inf where an input is silent."""
    levels = bare.levels_db
    silent = levels.max(axis=2) == -np.inf
    with np.errstate(invalid="ignore"):
        spread = levels.max(axis=2) - levels.min(axis=2)
    spread = np.where(silent, -np.inf, spread).max(axis=1)
    return np.where(silent.all(axis=1), np.inf, np.maximum(spread, 0))


def centre_within_db(bare: Family, control: Control) -> float | None:
    """Return half the spread of the circuit's own curve with a knob at 5."""
    if not isinstance(control, Knob) or 5.0 not in bare.positions:
        return None
    spread = float(_spreads(bare)[bare.positions.index(5.0)])
    return spread / 2 if math.isfinite(spread) else None


def families_of(turned: Turned, control: Control, reference: Position) -> list[Family]:
    """Return the curves where a control acts: alone, or else together with another."""
    alone = family_of(turned, control, {}, needed=[reference, *quarters(control)])
    if _effect(alone, reference) >= LEAST_DB:
        return [alone]
    best, best_effect = [alone], 0.0
    for other in turned.controls:
        if other.name == control.name:
            continue
        ends = places(other, 2)
        found = [
            family_of(turned, control, {other.name: end}, needed=[reference])
            for end in ends
            if end != turned.start[other.name]
        ]
        found = [family for family in found if reference in family.positions]
        acting = [f for f in found if _effect(f, reference) >= LEAST_DB]
        effect = max((_effect(f, reference) for f in acting), default=0.0)
        if effect > best_effect:
            best, best_effect = acting, effect
    return best


def quarters(control: Control) -> tuple[float, ...]:
    """Return the positions that part a knob's turn; none for a switch."""
    return QUARTERS if isinstance(control, Knob) else ()


def _effect(family: Family, reference: Position) -> float:
    """Return the greatest change in dB; that of turning something off counts little."""
    changes = np.abs(family.changes(reference))
    finite = float(np.nan_to_num(changes, nan=0, posinf=0).max(initial=0))
    return max(finite, LEAST_DB if np.isinf(changes).any() else 0.0)
