# SPDX-License-Identifier: GPL-3.0-or-later
"""How near the knobs of B can come to A, and what stays different.

Levels in dB are compared at places spread as the ear hears, the overall gain free, for
every combination of B's switches. Says nothing in words.
"""

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain
from tonebench.errors import CircuitError, RequestError
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.study.hearing import erb_grid, octave_of
from tonebench.study.search import Search, difference_rms, level_db
from tonebench.study.stability import require_stable

Real = NDArray[np.float64]

_POINTS = 96
#: A misfit below this is not told of.
LEAST_DB = 1.0
_MOST_SWITCHED = 64


@dataclass(frozen=True, slots=True)
class Misfit:
    """Where B stays away from A: by how much B is louder there, gain brought equal."""

    frequency_hz: float
    difference_db: float


@dataclass(frozen=True, slots=True, eq=False)
class Nearest:
    """B as near to A as its knobs go.

    Attributes
    ----------
    settings : mapping
        B's whole setting.
    turned : tuple of str
        The knobs and switches that don't stand where they start.
    gain_db : tuple of float
        What is to be added to B, for each setting of A.
    residual_db_rms : float
        What stays different, weighted as the ear hears.
    start_db_rms : float
        The same with B's controls where they start.
    worst : Misfit
        Where the difference is greatest.
    misfits : tuple of Misfit
        All places where it is greatest around and at least 1 dB, the greatest first.
    octaves_db_rms : dict of float
        The difference by octave band, by its nominal middle in Hz.
    frequency_hz, difference_db : ndarray
        The difference B − A, shapes (F,) and (settings of A, F).
    """

    settings: Settings
    turned: tuple[str, ...]
    gain_db: tuple[float, ...]
    residual_db_rms: float
    start_db_rms: float
    worst: Misfit
    misfits: tuple[Misfit, ...]
    octaves_db_rms: dict[float, float]
    frequency_hz: Real
    difference_db: Real


def nearest(
    a: Chain, settings_a: Sequence[Settings], b: Chain, fixed: Settings | None = None
) -> Nearest:
    """Return the setting of B that comes nearest to A.

    What stands before or after B belongs to its hook-up, and isn't turned.

    Parameters
    ----------
    a, b : Chain
        The circuits with their hook-ups; all inputs of one are driven together.
    settings_a : sequence of mappings
        Where A's controls stand; with several, one setting of B is sought that is
        nearest to all of them at once, each with a gain of its own.
    fixed : mapping, optional
        Controls of B that stay as they are given here.

    Raises
    ------
    RequestError
        If A is silent, or B is whatever its knobs do.
    CircuitError
        If A oscillates, or B does at its nearest setting.
    """
    hz = erb_grid(_POINTS)
    for setting in settings_a:
        require_stable(a, a.setting(setting))
    network = Network(a)
    levels = np.array([level_db(response(network, s, hz).sum(0)) for s in settings_a])
    if not np.all(np.isfinite(levels)):
        raise RequestError(f"{a.circuit.name} is silent at this setting, so no match")
    fits = list(_fits(b, dict(fixed or {}), levels, hz))
    rms, setting = min(fits, key=lambda fit: fit[0], default=(math.inf, {}))
    if not math.isfinite(rms):
        raise RequestError(f"{b.circuit.name} is silent at every setting, so no match")
    require_stable(b, setting)
    return _told(b, setting, levels, hz)


def _fits(
    b: Chain, fixed: Settings, levels: Real, hz: Real
) -> Iterator[tuple[float, Settings]]:
    """Yield rms and setting of the best place for each position of B's switches."""
    network = Network(b)
    network.setting(fixed)  # refuses a knob that isn't there
    knobs = [knob.name for knob in b.circuit.knobs if knob.name not in fixed]
    for switched in _switch_settings(b, fixed):
        try:
            search = Search(network, {**fixed, **switched}, knobs, levels, hz)
            position, rms = search.best()
        except CircuitError:
            continue  # another position of the switches may have an answer
        yield rms, search.turning.setting(position.tolist())


def _switch_settings(b: Chain, fixed: Settings) -> Iterator[Settings]:
    free = [switch for switch in b.circuit.switches if switch.name not in fixed]
    count = math.prod(len(switch.positions) for switch in free)
    if count > _MOST_SWITCHED:
        raise RequestError(
            f"{b.circuit.name} has {count} combinations of switches; set some of them"
        )
    for positions in itertools.product(*(switch.positions for switch in free)):
        names = (switch.name for switch in free)
        yield dict(zip(names, positions, strict=True))


def _told(b: Chain, setting: Settings, levels: Real, hz: Real) -> Nearest:
    network = Network(b)
    start = network.setting({})
    level = level_db(response(network, setting, hz).sum(axis=0))
    gain_db = levels.mean(axis=1) - level.mean()
    difference = level + gain_db[:, None] - levels
    at_start = level_db(response(network, start, hz).sum(axis=0))
    misfits = _misfits(hz, difference)
    worst = np.unravel_index(np.argmax(np.abs(difference)), difference.shape)
    return Nearest(
        settings=setting,
        turned=tuple(name for name, at in setting.items() if at != start[name]),
        gain_db=tuple(gain_db.tolist()),
        residual_db_rms=difference_rms(level, levels),
        start_db_rms=difference_rms(at_start, levels),
        worst=Misfit(float(hz[worst[1]]), float(difference[worst])),
        misfits=misfits,
        octaves_db_rms=_octaves(hz, difference),
        frequency_hz=hz,
        difference_db=difference,
    )


def _misfits(hz: Real, difference: Real) -> tuple[Misfit, ...]:
    """Return where the difference, the largest of all A settings, is a local worst."""
    row = difference[np.argmax(np.abs(difference), axis=0), np.arange(len(hz))]
    size = np.concatenate([[-1.0], np.abs(row), [-1.0]])
    is_tip = (size[1:-1] > size[:-2]) & (size[1:-1] >= size[2:])
    found = [
        Misfit(float(hz[k]), float(row[k]))
        for k in np.flatnonzero(is_tip & (np.abs(row) >= LEAST_DB))
    ]
    return tuple(sorted(found, key=lambda misfit: -abs(misfit.difference_db)))


def _octaves(hz: Real, difference: Real) -> dict[float, float]:
    bands: dict[float, list[int]] = {}
    for k, frequency in enumerate(hz.tolist()):
        if (middle := octave_of(frequency)) is not None:
            bands.setdefault(middle, []).append(k)
    return {
        middle: float(np.sqrt(np.mean(difference[:, at] ** 2)))
        for middle, at in bands.items()
    }
