# SPDX-License-Identifier: GPL-3.0-or-later
"""The search for the value of a part that brings a feature where it is aimed at.

The feature is followed by secant steps from its exact sensitivity, each step drawn
anew and its features found again.
"""

import itertools
import math

import numpy as np

from tonebench.circuit.controls import Settings
from tonebench.network.ports import Value
from tonebench.network.sensitivity import DB_PER_NEPER, Shift
from tonebench.plan.comparison import Side
from tonebench.study.aim import HEARD_HZ, Aim, feature_figure, meant_feature
from tonebench.study.aim_search import MOST_FACTOR, AimSearch, Aside, greatest
from tonebench.study.causes import feature_shifts
from tonebench.study.features import Feature
from tonebench.study.search import level_db
from tonebench.study.without import Solved

_STEPS = 9
#: A part that moves a feature less than this, per its own relative change, can't.
_LEAST_SHIFT = 0.02
#: What parts are tried with that hardly matter as they are.
_TRIED = (1 / 30, 1 / 6, 1 / 2, 2.0, 6.0, 30.0)
#: The search stops so near to the aim, in nepers or dB.
_NEAR = 1e-3
#: What is further from the aim than this where it changes sides jumps over it.
_JUMP = 0.05
#: A change within an octave of the feature, old or new, is the aim itself.
_ASIDE_OCTAVES = 1.0


class FeatureSearch(AimSearch):
    """The search for a feature's frequency or level."""

    def __init__(self, side: Side, aim: Aim, setting: Settings) -> None:
        super().__init__(side, aim, setting)
        self.feature = None if self.roots is None else meant_feature(aim, self.roots)
        self.now = None if self.feature is None else feature_figure(aim, self.feature)
        self._shifts: dict[Value, Shift] = {}
        if self.feature is not None and self.roots is not None:
            here = Solved(self.chain, setting, self.roots, ())
            shifts = feature_shifts(here, self.feature)
            self._shifts = {shift.value: shift for shift in shifts}

    def _feature(self, value: Value, amount: float) -> Feature | None:
        roots = self.roots_of(self.other(value, amount))
        if roots is None or roots.is_silent:
            return None
        return meant_feature(self.aim, roots)

    def figure(self, value: Value, amount: float) -> float | None:
        """Return where the feature, drawn anew, stands or how high it is."""
        feature = self._feature(value, amount)
        return None if feature is None else feature_figure(self.aim, feature)

    def _apart(self, figure: float) -> float:
        if self.aim.what == "frequency":
            return math.log(figure / self.aim.wanted)
        return figure - self.aim.wanted

    def met_by(self, value: Value) -> float | None:
        """Return the amount that meets the aim exactly.

        By secant steps from where it is; a part that hardly matters there may matter
        with quite another value, so it is tried with some.
        """
        slope = self._slope(value)
        if self.now is not None and slope is not None:
            met = self._followed(value, self._apart(self.now), slope)
            if met is not None:
                return met
        return self._tried(value)

    def _slope(self, value: Value) -> float | None:
        """Return by how much a value moves the figure, in nepers or dB per neper."""
        shift = self._shifts.get(value)
        if shift is None:
            return None
        is_level = self.aim.what == "level"
        slope = shift.level * DB_PER_NEPER if is_level else shift.frequency
        return slope if abs(slope) >= _LEAST_SHIFT else None

    def _missed(self, value: Value, x: float) -> float | None:
        figure = self.figure(value, value.amount * math.exp(x))
        return None if figure is None else self._apart(figure)

    def _followed(self, value: Value, y0: float, slope: float) -> float | None:
        most = math.log(MOST_FACTOR)
        x0, x1 = 0.0, -y0 / slope
        for _ in range(_STEPS):
            x1 = min(max(x1, -most), most)
            y1 = self._missed(value, x1)
            if y1 is None:
                x1 = (x0 + x1) / 2  # too far: the feature is gone there
                continue
            if abs(y1) < _NEAR:
                return value.amount * math.exp(x1)
            if x1 == x0 or y1 == y0:
                return None
            x0, x1, y0 = x1, x1 - y1 * (x1 - x0) / (y1 - y0), y1
        return None

    def _tried(self, value: Value) -> float | None:
        places = [math.log(factor) for factor in _TRIED]
        missed = [(x, y) for x in places if (y := self._missed(value, x)) is not None]
        if self.now is not None:
            missed.append((0.0, self._apart(self.now)))
        missed.sort()
        found = [
            x
            for low, high in itertools.pairwise(missed)
            if low[1] * high[1] <= 0
            and (x := self._halved(value, low, high)) is not None
        ]
        nearest = min(found, key=abs, default=None)
        return None if nearest is None else value.amount * math.exp(nearest)

    def _halved(
        self, value: Value, low: tuple[float, float], high: tuple[float, float]
    ) -> float | None:
        """Return where the aim is met between two places on either side of it."""
        x, y = low
        for step in range(2 * _STEPS):
            share = low[1] / (low[1] - high[1]) if step % 2 == 0 else 0.5
            x = low[0] + share * (high[0] - low[0])
            found = self._missed(value, x)
            if found is None:
                return None
            y = found
            if abs(y) < _NEAR:
                break
            if y * low[1] > 0:
                low = (x, y)
            else:
                high = (x, y)
        return x if abs(y) < _JUMP else None

    def aside(self, value: Value, amount: float) -> Aside:
        """Return what an amount changes away from the feature."""
        other = self.roots_of(self.other(value, amount))
        if other is None or self.roots is None:
            return Aside(0.0, 0.0, 0.0)
        before, after = (
            level_db(roots.response(HEARD_HZ)) for roots in (self.roots, other)
        )
        feature = self._feature(value, amount)
        rest = np.ones(len(HEARD_HZ), bool)
        places = [f.frequency_hz for f in (self.feature, feature) if f is not None]
        for place in places:
            rest &= np.abs(np.log2(HEARD_HZ / place)) > _ASIDE_OCTAVES
        if self.aim.of == "high-pass":
            rest &= max(places) < HEARD_HZ
        if self.aim.of == "low-pass":
            rest &= min(places) > HEARD_HZ
        return greatest(after - before, rest)
