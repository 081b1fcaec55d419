# SPDX-License-Identifier: GPL-3.0-or-later
"""What other values of parts did to a curve: the features before, and the decibels.

Holds a chain against the same one before the change, setting by setting. Knows neither
the parts nor the words.
"""

from dataclasses import dataclass

import numpy as np

from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain
from tonebench.errors import CircuitError
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.study.causes import left_of
from tonebench.study.features import Feature
from tonebench.study.hearing import erb_grid
from tonebench.study.search import level_db
from tonebench.study.without import solved

_HZ = erb_grid(96)
#: Changes of the curve's shape below this are not told.
_LEAST_DB = 0.1


@dataclass(frozen=True, slots=True)
class Moved:
    """How a curve was changed.

    Attributes
    ----------
    gain_db : float
        By how much all of it is louder now, weighted as the ear hears.
    most : tuple of (float, float)
        Frequency in Hz and change in dB where it is raised, and where lowered most,
        against `gain_db`; what is below 0.1 dB is left out.
    gone : tuple of Feature
        What was there before and is no more.
    """

    gain_db: float
    most: tuple[tuple[float, float], ...]
    gone: tuple[Feature, ...]


def was(drawn: Chain, setting: Settings, driven: str, now: Feature) -> Feature | None:
    """Return a feature as it was before the change; None where there was none."""
    try:
        return left_of(now, solved(drawn, setting, driven))
    except CircuitError:
        return None


def moved(before: Chain, after: Chain, setting: Settings) -> Moved:
    """Return how the curve of a chain was changed, all inputs driven together."""
    levels = [
        level_db(response(Network(chain), setting, _HZ).sum(axis=0))
        for chain in (before, after)
    ]
    with np.errstate(invalid="ignore"):
        change = levels[1] - levels[0]
    if not np.isfinite(change).all():
        return Moved(float("nan"), (), ())
    gain_db = float(change.mean())
    shape = change - gain_db
    ends = (int(shape.argmax()), int(shape.argmin()))
    most = [(float(_HZ[k]), float(shape[k])) for k in sorted(ends)]
    now = solved(after, setting)
    gone = tuple(f for f in solved(before, setting).features if left_of(f, now) is None)
    told = tuple(pair for pair in most if abs(pair[1]) >= _LEAST_DB)
    return Moved(gain_db, told, gone)
