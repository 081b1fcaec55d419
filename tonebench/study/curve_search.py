# SPDX-License-Identifier: GPL-3.0-or-later
"""The search for the value of a part that gives a knob its range, or a flat curve.

Every value is swept over four decades; each curve is exact, in closed form from one
solution of the network.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import join
from tonebench.errors import CircuitError
from tonebench.network.nodal import Network
from tonebench.network.ports import Ports, Value
from tonebench.plan.comparison import Side
from tonebench.study.aim import HEARD_HZ, Aim, curve_figure, effect_hz
from tonebench.study.aim_search import MOST_FACTOR, AimSearch, Aside, greatest
from tonebench.study.search import level_db

Real = NDArray[np.float64]

#: A knob's effect that moves by less than this stays where it was.
_MOVED_OCTAVES = 1 / 6
_SWEEP = np.geomspace(1 / MOST_FACTOR, MOST_FACTOR, 25)


class CurveSearch(AimSearch):
    """The search for a knob's range, or for a flat curve; each value in closed form."""

    def __init__(self, side: Side, aim: Aim, setting: Settings) -> None:
        super().__init__(side, aim, setting)
        self.settings: list[Settings] = [setting]
        if aim.what == "range":
            self.settings = [{**setting, aim.of: at} for at in (0.0, 5.0, 10.0)]
        network = Network(self.chain)
        self._ports = [Ports(network, at, HEARD_HZ) for at in self.settings]
        self._levels = [level_db(ports.transfer) for ports in self._ports]
        self.now = self._read(self._levels)

    def _read(self, levels: Sequence[Real]) -> float | None:
        if not np.all(np.isfinite(levels)):
            return None
        return curve_figure(self.aim, levels)

    def _swept(self, value: Value, factor: float) -> float | None:
        return self._read([level_db(p.changed(value, factor)) for p in self._ports])

    def _drawn(self, value: Value, amount: float) -> list[Real] | None:
        network = Network(join(self.other(value, amount), self.side.hookup))
        try:
            ports = [Ports(network, at, HEARD_HZ) for at in self.settings]
        except CircuitError:
            return None
        return [level_db(each.transfer) for each in ports]

    def figure(self, value: Value, amount: float) -> float | None:
        """Return the range or the deviation, drawn anew."""
        levels = self._drawn(value, amount)
        return None if levels is None else self._read(levels)

    def met_by(self, value: Value) -> float | None:
        """Return the value that meets the aim, or makes the curve flattest."""
        figures = [self._swept(value, float(factor)) for factor in _SWEEP]
        rough = [math.nan if figure is None else figure for figure in figures]
        if self.aim.what == "flat":
            factor = _least(lambda f: self._swept(value, f), rough)
        else:
            factor = _crossing(
                lambda f: self._swept(value, f), np.array(rough), self.aim.wanted
            )
        return None if factor is None else value.amount * factor

    def aside(self, value: Value, amount: float) -> Aside:
        """Return what an amount changes with the knob at its centre."""
        levels = self._drawn(value, amount)
        if levels is None:
            return Aside(0.0, 0.0, 0.0)
        centre = len(levels) // 2
        found = greatest(levels[centre] - self._levels[centre])
        if self.aim.what != "range":
            return found
        moved_hz = effect_hz(self._levels), effect_hz(levels)
        if abs(math.log2(moved_hz[1] / moved_hz[0])) < _MOVED_OCTAVES:
            return found
        return replace(found, moved_hz=moved_hz)


_Swept = Callable[[float], float | None]


def _crossing(swept: _Swept, rough: Real, wanted: float) -> float | None:
    """Return the factor nearest to 1 at which a figure is as wanted."""
    apart = rough - wanted
    found = []
    for k in np.flatnonzero(apart[:-1] * apart[1:] <= 0):
        low, high, at_low = float(_SWEEP[k]), float(_SWEEP[k + 1]), float(apart[k])
        for _ in range(14):
            middle = math.sqrt(low * high)
            figure = swept(middle)
            if figure is None:
                break
            if (figure - wanted) * at_low > 0:
                low = middle
            else:
                high = middle
        found.append(math.sqrt(low * high))
    return min(found, key=lambda factor: abs(math.log(factor)), default=None)


def _least(swept: _Swept, rough: Sequence[float]) -> float | None:
    """Return the factor that makes a figure least, by thirds around the rough one."""
    k = int(np.nanargmin(rough))
    low, high = (
        float(_SWEEP[min(max(at, 0), len(_SWEEP) - 1)]) for at in (k - 1, k + 1)
    )
    for _ in range(14):
        thirds = [low * (high / low) ** share for share in (1 / 3, 2 / 3)]
        figures = [swept(factor) for factor in thirds]
        if figures[0] is None or figures[1] is None:
            return None
        if figures[0] < figures[1]:
            high = thirds[1]
        else:
            low = thirds[0]
    return math.sqrt(low * high)
