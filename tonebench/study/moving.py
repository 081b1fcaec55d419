# SPDX-License-Identifier: GPL-3.0-or-later
"""Whether a control moves things in frequency, and from where to where.

Either the circuit's own curve moves along as a whole, at every position; or the control
does nothing by itself and moves the place where another knob works.
"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.controls import Control
from tonebench.network.roots import find_roots
from tonebench.study.families import (
    LEAST_DB,
    Family,
    Position,
    quarters,
)
from tonebench.study.features import find_features
from tonebench.study.shapes import extreme, shift_octaves
from tonebench.study.turned import HEARD_HZ, Turned

Real = NDArray[np.float64]

#: A frequency control moves things at least this far in all, and this far at half of
#: the positions that are looked at.
_LEAST_MOVE_OCTAVES = 1 / 3
_LEAST_STEP_OCTAVES = 0.1


def moves_of(
    turned: Turned,
    control: Control,
    families: Sequence[Family],
    reference: Position,
    is_alone: bool,
) -> tuple[float, float] | None:
    """Return from where to where a control moves things, if that is what it does."""
    if not is_alone:
        return _moves_another(turned, families[-1])
    shown: list[Position] = list(quarters(control)) or families[0].positions
    levels = turned.bare.levels_db([{control.name: place} for place in shown])
    if not np.isfinite(levels).all():
        return None
    curves = [level[0] for level in levels]
    strongest = max(curves, key=lambda c: float(np.abs(c - curves[0]).max()))
    if float(np.abs(strongest - curves[0]).max()) < LEAST_DB:
        return None
    shifts = []
    for curve in curves[1:]:
        if float(np.abs(curve - curves[0]).max()) < LEAST_DB:
            shifts.append(0.0)
            continue
        shift = shift_octaves(curves[0], curve, HEARD_HZ)
        if shift is None:
            return None
        shifts.append(shift)
    moving = sum(abs(shift) >= _LEAST_STEP_OCTAVES for shift in shifts)
    if max(map(abs, shifts)) < _LEAST_MOVE_OCTAVES or 2 * moving < len(shifts):
        return None
    return _moved_feature(turned, control, shown)


def _moved_feature(
    turned: Turned, control: Control, shown: Sequence[Position]
) -> tuple[float, float] | None:
    """Return where the one feature goes that is there at all positions."""
    bare = [_by_kind(turned.bare, control, place) for place in shown]
    here = [_by_kind(turned, control, place) for place in (shown[0], shown[-1])]
    moved = []
    for kind in bare[0]:
        if any(kind not in each for each in bare):
            continue
        ends = here if all(kind in each for each in here) else [bare[0], bare[-1]]
        moved.append((ends[0][kind], ends[1][kind]))
    return max(moved, key=lambda pair: abs(math.log(pair[0] / pair[1])), default=None)


def _by_kind(turned: Turned, control: Control, place: Position) -> dict[str, float]:
    roots = find_roots(turned.network, {**turned.start, control.name: place})[0]
    return {each.kind: each.frequency_hz for each in find_features(roots)}


def _moves_another(turned: Turned, family: Family) -> tuple[float, float] | None:
    """Return how the place moves where another knob does most."""
    name, _ = next(iter(family.others.items()))
    if isinstance(turned.start[name], str):
        return None
    still = still_db(turned)
    with np.errstate(invalid="ignore"):
        effects = np.abs(family.levels_db - still)
    if not np.isfinite(effects).all():
        return None
    tips = [
        extreme(effect[int(effect.max(axis=1).argmax())], HEARD_HZ, 1.0)
        for effect in effects
    ]
    if any(tip.level_db < LEAST_DB or tip.at_hz is None for tip in tips):
        return None
    at_hz = [tip.at_hz or math.nan for tip in tips]
    if math.log2(max(at_hz) / min(at_hz)) < _LEAST_MOVE_OCTAVES:
        return None
    return at_hz[0], at_hz[-1]


def still_db(turned: Turned) -> Real:
    """Return the curves where all starts, which the control doesn't change."""
    return np.asarray(turned.levels_db([{}])[0])
