# SPDX-License-Identifier: GPL-3.0-or-later
"""The search for the knob positions at which a curve comes nearest to others.

A coarse grid, bounded least squares from the best of its valleys, a look beyond the
rim, and then every knob back to where it starts that gains nothing. Switches stand
still; which curves are wanted, and why, is not known here.
"""

import itertools
import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.controls import Settings
from tonebench.network.nodal import Network
from tonebench.network.sensitivity import DB_PER_NEPER
from tonebench.network.turning import Turning

Real = NDArray[np.float64]

#: Knob positions of the grid, near the ends closer; the finest that is not too many.
_GRIDS = ((0.2, 1.2, 2.7, 5.0, 7.3, 8.8, 9.8), (0.2, 1.5, 5.0, 8.5, 9.8))
_MOST_OF_GRID = 625
_SPREAD = 256
_STARTS = 3
#: The grid looks at every third place only; the fit looks at all.
_COARSE = 3
#: Where each knob is tried alone once a place is found: valleys go on beyond a rim.
_SCAN = np.array([0.0, 0.6, 1.2, 2.0, 2.7, 3.8, 5.0, 6.2, 7.3, 8.0, 8.8, 9.4, 10.0])
#: A decibel beyond that counts as so many that stay different.
_QUIET_WEIGHT = 10.0
#: A place of B at which it would have to be turned up by more than this is none: so
#: much can't be had from what follows (common practice, no source).
MOST_GAIN_DB = 20.0
#: All knobs that stay where they start may cost this much together.
_WORTH_DB = 0.01
#: A knob that changes the response by less than this per position does nothing.
_MOVES = 1e-9
#: Below this (−200 dB) nothing is heard, and nothing can be brought nearer.
_SILENT = 1e-10


def level_db(answer: NDArray[np.complex128]) -> Real:
    """Return a gain in dB, −inf where nothing is heard."""
    magnitude = np.abs(answer)
    with np.errstate(divide="ignore"):
        return np.where(magnitude > _SILENT, 20 * np.log10(magnitude), -np.inf)


def centred(levels: Real) -> Real:
    """Return the shapes of curves: their levels without their means."""
    return np.asarray(levels - levels.mean(axis=-1, keepdims=True))


def difference_rms(level: Real, levels: Real) -> float:
    """Return the rms in dB between one curve and others, gain free; inf if silent."""
    if not np.all(np.isfinite(level)):
        return math.inf
    return float(np.sqrt(np.mean((centred(level) - centred(levels)) ** 2)))


def _too_quiet(level: Real, levels: Real) -> float:
    """Return by how much more than bearable B would have to be turned up, weighed."""
    gain_db = float(levels.mean() - level.mean())
    return _QUIET_WEIGHT * max(0.0, gain_db - MOST_GAIN_DB)


class Search:
    """The search over B's knobs, its switches standing still."""

    def __init__(
        self,
        network: Network,
        still: Settings,
        knobs: Sequence[str],
        levels: Real,
        hz: Real,
    ) -> None:
        self.levels = levels
        self.start = np.array([float(network.setting({})[name]) for name in knobs])
        self.turning = Turning(network, still, hz, knobs)
        self._coarse = Turning(network, still, hz[::_COARSE], knobs)

    def rms(self, position: Real) -> float:
        """Return what stays different; beyond all bounds where B is far too quiet."""
        return float(self._rms_of(self.turning, position)[0])

    def _rms_of(self, turning: Turning, positions: Real) -> Real:
        step = _COARSE if turning is self._coarse else 1
        wanted = self.levels[:, ::step]
        found = [
            math.hypot(difference_rms(level, wanted), _too_quiet(level, wanted))
            for level in level_db(turning.responses(positions))
        ]
        return np.array(found)

    def moving(self) -> NDArray[np.intp]:
        """Return which knobs change anything, as the switches stand."""
        count = len(self.start)
        places = np.random.default_rng(1).uniform(1, 9, (3, count))
        found = np.zeros(count)
        for place in places:
            answer, slopes = self._coarse.with_slopes(place.tolist())
            size = np.abs(answer).max() or 1.0
            found = np.maximum(found, np.abs(slopes).max(axis=1, initial=0) / size)
        return np.flatnonzero(found > _MOVES)

    def starts(self, free: NDArray[np.intp]) -> Real:
        """Return the best places of the grid over the free knobs."""
        steps = next((g for g in _GRIDS if len(g) ** len(free) <= _MOST_OF_GRID), ())
        if steps:
            places = np.array(list(itertools.product(steps, repeat=len(free))))
        else:  # too many: spread evenly over the whole, the same each time
            from scipy.stats import qmc

            places = 10 * qmc.Sobol(len(free), seed=1).random(_SPREAD)
        grid = np.tile(self.start, (len(places), 1))
        grid[:, free] = places
        found = self._rms_of(self._coarse, grid)
        if steps:
            is_low = _is_lowest_around(found.reshape((len(steps),) * len(free)))
            grid, found = grid[is_low], found[is_low]
        return np.asarray(grid[np.argsort(found)[:_STARTS]])

    def fitted(self, start: Real, free: NDArray[np.intp]) -> Real:
        """Return the best position from a start, some knobs free to move."""
        if not len(free):
            return start
        from scipy.optimize import least_squares

        def whole(at: Real) -> Real:
            position = start.copy()
            position[free] = at
            return position

        def apart(at: Real) -> Real:
            return self._apart(whole(at))[0]

        def slopes(at: Real) -> Real:
            return np.asarray(self._apart(whole(at))[1][:, free])

        found = least_squares(
            apart,
            start[free],
            jac=slopes,
            bounds=(0.0, 10.0),
            ftol=1e-9,
            xtol=1e-8,
            max_nfev=40,
        )
        return whole(np.asarray(found.x))

    def _beyond(self, position: Real, free: NDArray[np.intp]) -> Real:
        """Return a better position if one knob turned far away leads to one."""
        for _ in range(len(free)):
            row = np.tile(position, (len(free) * len(_SCAN), 1))
            for k, knob in enumerate(free):
                row[k * len(_SCAN) : (k + 1) * len(_SCAN), knob] = _SCAN
            found = self._rms_of(self.turning, row)
            here = self.rms(position)
            if found.min(initial=math.inf) >= here:
                break
            position = self.fitted(row[int(np.argmin(found))], free)
        return position

    def _apart(self, position: Real) -> tuple[Real, Real]:
        """Return all differences at a position, and their slopes by each knob."""
        if self._last is None or not np.array_equal(self._last[0], position):
            answer, slopes = self.turning.with_slopes(position.tolist())
            magnitude = np.maximum(np.abs(answer), _SILENT)
            level = 20 * np.log10(magnitude)
            by_knob = (DB_PER_NEPER * (slopes * answer.conj()).real / magnitude**2).T
            apart = level - level.mean() - centred(self.levels)
            tilt = np.tile(by_knob - by_knob.mean(axis=0), (len(self.levels), 1))
            quiet = _too_quiet(level, self.levels)
            rise = _QUIET_WEIGHT * by_knob.mean(axis=0)
            share = math.sqrt(apart.size)
            self._last = (
                position.copy(),
                np.append(apart, share * quiet),
                np.vstack([tilt, -share * rise * (quiet > 0)]),
            )
        return self._last[1:]

    _last: tuple[Real, Real, Real] | None = None

    def best(self) -> tuple[Real, float]:
        """Return the best position, with no knob turned that gains nothing."""
        free = self.moving()
        fits = [self.fitted(start, free) for start in self.starts(free)]
        fits.append(self.fitted(self.start, free))
        position = self._beyond(min(fits, key=self.rms), free)
        most = self.rms(position) + _WORTH_DB
        bends = np.sum(self._apart(position)[1] ** 2, axis=0)
        for k in sorted(free, key=lambda k: float(bends[k])):  # mere levels first
            held = position.copy()
            held[k] = self.start[k]
            others = free[free != k]
            held = self.fitted(held, others)
            if self.rms(held) <= most:
                position, free = held, others
        return position, self.rms(position)


def _is_lowest_around(grid: Real) -> NDArray[np.bool_]:
    """Return which places of a grid lie below the ones beside them, flat."""
    is_low = np.ones(grid.shape, bool)
    for axis in range(grid.ndim):
        higher = np.diff(grid, axis=axis)
        wall = np.full_like(np.take(grid, [0], axis=axis), np.inf)
        is_low &= np.concatenate([wall, -higher], axis=axis) >= 0
        is_low &= np.concatenate([higher, wall], axis=axis) > 0
    return is_low.ravel()
