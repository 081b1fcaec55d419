# SPDX-License-Identifier: GPL-3.0-or-later
"""Where a curve lies level: its stations, with the runs between them.

A station is a place where the slope is least: a tip, a landing on a slope, or an end of
the curve. Knows nothing of features.
"""

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonebench.network.roots import Roots

Real = NDArray[np.float64]

#: Half of the power is lost at a corner: 10·lg 2.
HALF_POWER_DB = 10 * math.log10(2)
#: Changes below this are not counted.
LEAST_DB = 0.5
#: The curve is read from here to there (log2 of Hz): far beyond what is heard, so that
#: the ends show how it goes on.
_LOW_U, _HIGH_U = math.log2(0.02), math.log2(1.5e6)
_PER_OCTAVE = 24
#: An end that is steeper than this (dB per octave) goes on for ever.
_OPEN_SLOPE = 3.0
#: A landing's slope is at most this share of the steeper slopes on both sides of it.
_LANDING = 0.5
#: Slopes below this (dB per octave) are none.
_NO_SLOPE = 1e-6
#: Roots sharper than this get places of their own.
_SHARP_Q = 3.0


@dataclass(frozen=True, slots=True)
class Station:
    """A stretch of a curve, over u = log2(f/Hz), where it lies level.

    `tip_u` is its place and `level_db` the level there; the stretch runs from `low_u`
    to `high_u`. An open one is an end from which the curve goes on steeply.
    """

    tip_u: float
    level_db: float
    low_u: float
    high_u: float
    is_open: bool = False

    def edge_towards(self, other: "Station") -> float:
        """Return the end of the stretch on the side of another station."""
        return self.high_u if other.tip_u > self.tip_u else self.low_u


class Curve:
    """The level of a product form over u = log2(f/Hz), and its slope."""

    def __init__(self, roots: Roots) -> None:
        self.roots = roots

    def level_db(self, u: ArrayLike) -> Real:
        """Return the gain in dB, shape of `u`; not below −400 dB."""
        magnitude = np.abs(self.roots.response(np.exp2(np.asarray(u, dtype=float))))
        return 20 * np.log10(np.maximum(magnitude, 1e-20))

    def slopes(self, u: ArrayLike) -> tuple[Real, Real]:
        """Return dL/du in dB per octave, and d²L/du².

        ln H is a sum over the roots, so with s = jω: dL/d(ln ω) is the real part of
        Σ s/(s − z) − Σ s/(s − p), and d/d(ln ω) of a term is −r·s/(s − r)².
        """
        s = 2j * np.pi * np.exp2(np.asarray(u, dtype=float))[..., None]
        first = np.zeros(s.shape[:-1])
        second = np.zeros(s.shape[:-1])
        for found, sign in ((self.roots.zeros, 1.0), (self.roots.poles, -1.0)):
            with np.errstate(divide="ignore", invalid="ignore"):
                term = s / (s - found)
                bent = -found * term / (s - found)
            first += sign * np.nan_to_num(term.real, posinf=0, neginf=0).sum(-1)
            second += sign * np.nan_to_num(bent.real, posinf=0, neginf=0).sum(-1)
        per_octave = 20 * math.log10(2)
        return per_octave * first, per_octave * math.log(2) * second


def find_stations(curve: Curve) -> list[Station]:
    """Return the stations of a curve from low to high; between them at least 0.5 dB."""
    u = _places(curve.roots)
    slope = curve.slopes(u)[0]
    slope[np.abs(slope) < _NO_SLOPE] = 0
    at = np.concatenate([u[:1], _tips(u, slope, curve), _landings(u, slope), u[-1:]])
    at = np.unique(at)
    row = [
        Station(float(place), float(level), float(place), float(place))
        for place, level in zip(at, curve.level_db(at), strict=True)
    ]
    row[0] = replace(row[0], is_open=abs(float(slope[0])) > _OPEN_SLOPE)
    row[-1] = replace(row[-1], is_open=abs(float(slope[-1])) > _OPEN_SLOPE)
    return _merged(row)


def _places(roots: Roots) -> Real:
    count = round((_HIGH_U - _LOW_U) * _PER_OCTAVE) + 1
    places = [np.linspace(_LOW_U, _HIGH_U, count)]
    around = np.array([-4, -2.5, -1.5, -1, -0.6, -0.3, 0, 0.3, 0.6, 1, 1.5, 2.5, 4])
    for root in np.concatenate([roots.zeros, roots.poles]):
        if root.imag > 2 * _SHARP_Q * abs(root.real):
            sharpness = min(root.imag / max(2 * abs(root.real), 1e-12), 1e6)
            places.append(math.log2(root.imag / (2 * math.pi)) + around / sharpness)
    u = np.unique(np.concatenate(places))
    return u[(u >= _LOW_U) & (u <= _HIGH_U)]


def _tips(u: Real, slope: Real, curve: Curve) -> Real:
    """Return where the slope changes its sign, by Newton's steps kept in brackets."""
    signs = np.sign(slope)
    last = np.maximum.accumulate(np.where(signs != 0, np.arange(len(signs)), 0))
    signs = signs[last]  # a place right on a tip counts as before it
    k = np.flatnonzero(signs[:-1] * signs[1:] < 0)
    low, high, sign = u[k].copy(), u[k + 1].copy(), signs[k]
    at = (low + high) / 2
    if not len(at):
        return at
    for _ in range(8):
        first, second = curve.slopes(at)
        is_before = np.sign(first) == sign
        low, high = np.where(is_before, at, low), np.where(is_before, high, at)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = at - first / second
        at = np.where((step >= low) & (step <= high), step, (low + high) / 2)
    return at


def _landings(u: Real, slope: Real) -> Real:
    """Return where a slope keeps its sign and is least, between steeper ones.

    A steeper place that is hardly steeper than the places beside it parts no landings:
    they are one, however the slope ripples on it.
    """
    size = np.abs(slope)
    ends = np.flatnonzero(np.diff(np.sign(slope)) != 0)
    kept: list[int] = []
    for first, last in pairwise([-1, *ends.tolist(), len(u) - 1]):
        run = size[first + 1 : last + 1]
        kept += [first + 1 + k for k in _run_landings(run)]
    return u[kept]


def _run_landings(size: Real) -> list[int]:
    """Return the landings of a stretch whose slope keeps its sign."""
    padded = np.concatenate([[-1.0], size, [-1.0]])
    high = (padded[1:-1] >= padded[:-2]) & (padded[1:-1] > padded[2:])
    steep = np.flatnonzero(high).tolist()
    level = [a + int(np.argmin(size[a : b + 1])) for a, b in pairwise(steep)]
    while level:
        # how much of the lesser slope beside it is left at each landing
        shares = [
            float(size[k] / min(size[a], size[b]))
            for k, (a, b) in zip(level, pairwise(steep), strict=True)
        ]
        k = int(np.argmax(shares))
        if shares[k] <= _LANDING:
            break
        lesser = k if size[steep[k]] < size[steep[k + 1]] else k + 1
        beside = [i for i in (lesser - 1, lesser) if 0 <= i < len(level)]
        worse = max(beside, key=lambda i: size[level[i]])
        del steep[lesser], level[worse]
    return level


def _merged(row: list[Station]) -> list[Station]:
    """Join stations between which little happens, the least first."""
    row = list(row)
    while len(row) > 1:
        steps = [abs(b.level_db - a.level_db) for a, b in pairwise(row)]
        k = int(np.argmin(steps))
        if steps[k] >= LEAST_DB:
            break
        row[k : k + 2] = [_joined(row, k)]
    return row


def _joined(row: list[Station], k: int) -> Station:
    """Return two neighbours as one; its tip is that of the more extreme of the two."""
    a, b = row[k], row[k + 1]
    before = row[k - 1].level_db if k else a.level_db
    after = row[k + 2].level_db if k + 2 < len(row) else b.level_db
    middle = (before + after) / 2
    tip = max((a, b), key=lambda s: abs(s.level_db - middle))
    if a.is_open or b.is_open:
        tip = a if a.is_open else b
    return replace(tip, low_u=a.low_u, high_u=b.high_u, is_open=a.is_open or b.is_open)


def crossing(
    curve: Curve, inside: float, outside: float, level_db: float
) -> float | None:
    """Return u between two places where the curve has a level; None if it has not.

    The curve is steady in between, so halving finds the one place.
    """
    at_inside, at_outside = (
        float(level) - level_db for level in curve.level_db([inside, outside])
    )
    if at_inside * at_outside > 0:
        return None
    for _ in range(4):  # sixteen parts at a time: 5e-5 of 20 octaves, then straight
        places = np.linspace(inside, outside, 17)
        over = curve.level_db(places) - level_db
        k = int(np.argmax(np.sign(over) != np.sign(at_inside)))
        inside, outside = float(places[k - 1]), float(places[k])
        share = over[k - 1] / (over[k - 1] - over[k]) if over[k] != over[k - 1] else 0
    return inside + float(share) * (outside - inside)
