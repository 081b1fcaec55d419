# SPDX-License-Identifier: GPL-3.0-or-later
"""The shape of a change in a curve: how much, where, a shelf or a bell, how wide.

Reads differences in dB on a fine grid; knows nothing of circuits and knobs.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]
Shape = Literal["low shelf", "high shelf", "bell", "tilt", "even"]

#: Below this there is no shape to tell.
_NO_CHANGE_DB = 0.01
#: A side that does this share of the greatest change belongs to a shelf.
_SHELF_SHARE = 0.5
#: A side that goes the other way by this share makes a tilt.
_TILT_SHARE = 0.35


@dataclass(frozen=True, slots=True)
class Extreme:
    """The greatest of a change: how much in dB, and where (None: everywhere alike)."""

    level_db: float
    at_hz: float | None


@dataclass(frozen=True, slots=True)
class Change:
    """What one position of a control does against another, in one curve.

    `centre_hz` is the tip of a bell, or where a shelf has done half of its step;
    `q` is a bell's frequency over its bandwidth at half its height in dB.
    """

    level_db: float
    shape: Shape
    centre_hz: float | None
    q: float | None


def extreme(change_db: Real, frequency_hz: Real, sign: float) -> Extreme:
    """Return the greatest boost (`sign` +1) or cut (−1), by a parabola in log f."""
    height = sign * change_db
    k = int(np.argmax(height))
    if not np.isfinite(height[k]):
        return Extreme(float(sign * height[k]), None)
    if not 0 < k < len(height) - 1:
        return Extreme(float(change_db[k]), float(frequency_hz[k]))
    before, here, after = height[k - 1 : k + 2].tolist()
    bend = before - 2 * here + after
    offset = 0.5 * (before - after) / bend if bend < 0 else 0.0
    level = here - 0.25 * (before - after) * offset
    ratio = float(frequency_hz[k + 1] / frequency_hz[k])
    return Extreme(sign * level, float(frequency_hz[k]) * ratio**offset)


def change_of(change_db: Real, frequency_hz: Real) -> Change:
    """Return the shape of a change, told by its greatest boost or cut."""
    sign = 1.0 if change_db.max() >= -change_db.min() else -1.0
    tip = extreme(change_db, frequency_hz, sign)
    if abs(tip.level_db) < _NO_CHANGE_DB:
        return Change(tip.level_db, "even", None, None)
    height = change_db / tip.level_db
    low, high = float(height[0]), float(height[-1])
    if min(low, high) >= _SHELF_SHARE and height.min() >= _SHELF_SHARE:
        return Change(tip.level_db, "even", None, None)
    if min(low, high) <= -_TILT_SHARE and max(low, high) >= _SHELF_SHARE:
        turn = _crossing(height, frequency_hz, 0.0, low > high)
        return Change(tip.level_db, "tilt", turn, None)
    if max(low, high) >= _SHELF_SHARE:
        half = _crossing(height, frequency_hz, 0.5, low > high)
        shape: Shape = "low shelf" if low > high else "high shelf"
        return Change(tip.level_db, shape, half, None)
    return Change(tip.level_db, "bell", tip.at_hz, _bell_q(height, frequency_hz))


def _crossing(
    height: Real, frequency_hz: Real, level: float, from_low: bool
) -> float | None:
    """Return the first frequency, from one end, where a height falls below a level."""
    order = slice(None) if from_low else slice(None, None, -1)
    over, logs = height[order] - level, np.log(frequency_hz[order])
    below = np.flatnonzero(over < 0)
    if not len(below) or below[0] == 0:
        return None
    k = below[0]
    share = over[k - 1] / (over[k - 1] - over[k])
    return math.exp(logs[k - 1] + share * (logs[k] - logs[k - 1]))


def _bell_q(height: Real, frequency_hz: Real) -> float | None:
    k = int(np.argmax(height))
    above = _crossing(height[k:], frequency_hz[k:], 0.5, True)
    below = _crossing(height[: k + 1], frequency_hz[: k + 1], 0.5, False)
    if above is None or below is None:
        return None
    return math.sqrt(above * below) / (above - below)


def shift_octaves(one_db: Real, other_db: Real, frequency_hz: Real) -> float | None:
    """Return by how many octaves one curve is another one moved along, if it is.

    None where less than three quarters of their difference (rms) is undone by moving.
    """
    step = math.log2(frequency_hz[1] / frequency_hz[0])
    apart = _rms(other_db - one_db)
    best, best_at = apart, 0
    longest = len(one_db) * 2 // 3
    for k in range(-longest, longest):
        left, right = max(0, k), len(one_db) + min(0, k)
        # what comes in from outside goes on as the edge does
        moved = np.empty_like(one_db)
        moved[left:right] = one_db[left - k : right - k]
        moved[:left], moved[right:] = one_db[0], one_db[-1]
        if (left_over := _rms(other_db[left:right] - moved[left:right])) < best:
            best, best_at = left_over, k
    return best_at * step if best <= apart / 4 else None


def _rms(values: Real) -> float:
    return float(np.sqrt(np.mean(values**2)))
