# SPDX-License-Identifier: GPL-3.0-or-later
"""Which stations of a curve are peaks and dips, and the levels they are told against.

A maximum may be a peak, the middle of a plateau, or only what a dip leaves beside it.
The sharpest are judged first; what is less sharp must stand out without them.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from tonebench.study.stations import (
    HALF_POWER_DB,
    LEAST_DB,
    Curve,
    Station,
    crossing,
)

#: A tip less sharp than this (f/bandwidth) is the middle of a plateau.
_LEAST_Q = 0.25
#: Between two roll-offs a maximum counts as a peak from this Q on (two octaves).
_BAND_PASS_Q = 2 / 3
#: What stands beside a sharper tip counts from this height on.
_BESIDE_DB = 3.0
#: A dip whose side towards a peak, once the pole pair behind the peak is taken away,
#: rises by less than this share of its other side is only what the peak stands on; the
#: pair's Q, and how near it is to the peak, in octaves.
_OWN_SHARE, _PAIR_Q, _PAIR_NEAR = 0.5, 1.0, 0.25
#: A maximum as sharp as this is never the plateau beside a dip.
_PEAK_Q = 1.5
#: The stations of a curve of three tips between two roll-offs.
_THREE_TIPS = 5


@dataclass(frozen=True, slots=True)
class Tip:
    """A peak (`sign` +1) or dip (−1) at a place in the row of stations.

    `bases` are the places of the levels beside it, that from which its height is told
    first; a band-pass has none. `is_resonance`: it falls off on one side.
    """

    place: int
    sign: float
    sharpness: float
    height_db: float = math.inf
    bases: tuple[int, ...] = ()
    is_resonance: bool = False


def find_tips(curve: Curve, row: list[Station]) -> list[Tip]:
    """Return the peaks and dips among the stations of a curve, from low to high."""
    candidates = {
        k: tip for k in range(1, len(row) - 1) if (tip := _candidate(curve, row, k))
    }
    candidates = _told_of_three(row, candidates)
    kept: dict[int, Tip] = {}
    for tip in sorted(candidates.values(), key=lambda tip: -tip.sharpness):
        if _stands_out(curve, row, tip, kept):
            kept[tip.place] = tip
    told = (_with_bases(row, kept[k], kept, candidates) for k in sorted(kept))
    return [tip for tip in told if abs(tip.height_db) >= LEAST_DB]


def _told_of_three(row: list[Station], candidates: dict[int, Tip]) -> dict[int, Tip]:
    """Leave what is told of a curve that goes up, down, up and down between roll-offs.

    Where both maxima are broad and about as high the minimum is a dip in a plateau.
    Where a broad one is lower, the higher one is a peak, and the minimum a dip if it is
    deep beside the lower.
    """
    if len(row) != _THREE_TIPS or not (row[0].is_open and row[-1].is_open):
        return candidates
    if candidates.keys() != {1, 2, 3} or candidates[2].sign > 0:
        return candidates
    first_db, valley_db, last_db = (row[k].level_db for k in (1, 2, 3))
    apart_db = last_db - first_db
    lower = 1 if apart_db > 0 else 3
    is_even = abs(apart_db) < _BESIDE_DB
    broad = (1, 3) if is_even else (lower,)
    if any(candidates[k].sharpness >= _PEAK_Q for k in broad):
        return candidates
    told = set() if is_even else {1, 3} - {lower}
    if not told or min(first_db, last_db) - valley_db >= _BESIDE_DB:
        told.add(2)
    return {k: candidates[k] for k in sorted(told)}


def sharpness(
    curve: Curve, row: list[Station], k: int, level_db: float
) -> float | None:
    """Return f/bandwidth at a level, or None where a side doesn't reach it.

    With N octaves between the two places 1/Q = 2·sinh(N·ln 2/2) (Audio EQ Cookbook).
    """
    octaves = 0.0
    for side in (row[k - 1], row[k + 1]):
        u = crossing(curve, row[k].tip_u, side.edge_towards(row[k]), level_db)
        if u is None:
            return None
        octaves += abs(u - row[k].tip_u)
    return 1 / (2 * math.sinh(math.log(2) / 2 * octaves)) if octaves else math.inf


def _candidate(curve: Curve, row: list[Station], k: int) -> Tip | None:
    here, sides = row[k], (row[k - 1], row[k + 1])
    rises = [here.level_db - side.level_db for side in sides]
    if rises[0] * rises[1] <= 0:
        return None
    sign = math.copysign(1.0, rises[0])
    if all(side.is_open for side in sides):
        q = sharpness(curve, row, k, here.level_db - HALF_POWER_DB)
        is_peak = sign > 0 and q is not None and q >= _BAND_PASS_Q
        return Tip(k, sign, q) if q is not None and is_peak else None
    closed = [abs(r) for r, side in zip(rises, sides, strict=True) if not side.is_open]
    down_db = min(closed) / 2
    if down_db > HALF_POWER_DB and any(side.is_open for side in sides):
        down_db = HALF_POWER_DB
    q = sharpness(curve, row, k, here.level_db - sign * down_db)
    return Tip(k, sign, q) if q is not None and q >= _LEAST_Q else None


def _stands_out(
    curve: Curve, row: list[Station], tip: Tip, kept: dict[int, Tip]
) -> bool:
    """Judge a tip against the levels that lie behind the sharper tips beside it."""
    beside = [kept[k] for k in (tip.place - 1, tip.place + 1) if k in kept]
    if not beside:
        return True
    if tip.sign < 0 and any(_is_foot(curve, row, tip, each) for each in beside):
        return False
    here = row[tip.place].level_db
    sides = [_level(row, tip.place, step, kept) for step in (-1, 1)]
    levels = [row[k].level_db for k in sides if k is not None]
    if not levels:
        return False
    base_db = max(levels) if tip.sign > 0 else min(levels)
    barriers = [row[tip.place + step].level_db for step in (-1, 1)]
    is_back = all(tip.sign * (b - base_db) <= LEAST_DB for b in barriers)
    return is_back and tip.sign * (here - base_db) >= _BESIDE_DB


def _is_foot(curve: Curve, row: list[Station], dip: Tip, peak: Tip) -> bool:
    """Return whether a dip is only the level that a resonance beside it rises from."""
    roots, here, top = curve.roots, row[dip.place], row[peak.place]
    octaves = np.abs(
        np.log2(np.maximum(np.abs(roots.poles), 1e-9) / (2 * math.pi)) - top.tip_u
    )
    is_pair = np.abs(roots.poles) > -2 * _PAIR_Q * roots.poles.real
    behind = is_pair & (roots.poles.imag != 0) & (octaves < _PAIR_NEAR)
    if not behind.any():
        return False
    others = Curve(replace(roots, poles=roots.poles[~behind]))
    low_db, high_db = others.level_db([here.tip_u, top.tip_u])
    other_side = row[2 * dip.place - peak.place]
    depth_db = other_side.level_db - here.level_db
    return bool(high_db - low_db < _OWN_SHARE * depth_db)


def _level(row: list[Station], k: int, step: int, kept: dict[int, Tip]) -> int | None:
    """Return the first station on a side that is no tip; None where it falls off."""
    k += step
    while k in kept:
        k += step
    return None if row[k].is_open else k


def _with_bases(
    row: list[Station], tip: Tip, kept: dict[int, Tip], candidates: dict[int, Tip]
) -> Tip:
    bases = sorted(
        _bases(row, tip, kept, candidates),
        key=lambda k: -tip.sign * row[k].level_db,
    )
    if not bases:
        return tip
    levels = [row[k].level_db for k in bases]
    lopsided = abs(levels[-1] - levels[0]) > HALF_POWER_DB
    return replace(
        tip,
        height_db=row[tip.place].level_db - levels[0],
        bases=tuple(bases),
        is_resonance=tip.sign > 0 and (len(bases) == 1 or lopsided),
    )


def _bases(
    row: list[Station], tip: Tip, kept: dict[int, Tip], candidates: dict[int, Tip]
) -> Iterator[int]:
    """Yield the level on each side; the valley between two peaks is none."""
    near = []
    for step in (-1, 1):
        k = _level(row, tip.place, step, kept)
        is_between = k in candidates and k is not None and k + step in kept
        beyond = _level(row, k, step, kept) if is_between and k is not None else None
        near.append(k)
        if not is_between:
            yield from () if k is None else (k,)
        elif beyond is not None and k is not None:
            yield min((k, beyond), key=lambda i: tip.sign * row[i].level_db)
