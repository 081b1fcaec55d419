# SPDX-License-Identifier: GPL-3.0-or-later
"""How much every part value matters: to the response, and to a place on its curve.

Exact derivatives from the ports' adjoint solution, no differences. A place on a curve
is a tip, or a crossing of a level told against other places; what such places mean to a
player is not known here.

Source: S. W. Director, R. A. Rohrer, "The generalized adjoint network and network
sensitivities", IEEE Trans. Circuit Theory 16(3), 1969 (from memory); the shift of a
place by the implicit function theorem.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tonebench.network.ports import Ports, Value

Real = NDArray[np.float64]
#: Decibels per neper: 20/ln 10.
DB_PER_NEPER = 20 / math.log(10)


@dataclass(frozen=True, slots=True)
class Shift:
    """What one value does to a place on a curve, per relative change of the value.

    `frequency` is d(ln f)/d(ln value): −0.5 says that 1 % more moves it down 0.5 %;
    `level` is d(ln ratio)/d(ln value): 0.5 says that 1 % more raises it by 0.5 %
    (0.043 dB).
    """

    value: Value
    frequency: float
    level: float

    @property
    def size(self) -> float:
        """How much the value matters here, either way."""
        return math.hypot(self.frequency, self.level)


def level_slopes(ports: Ports) -> Real:
    """Return d(ln |H|)/d(ln value), shape (values, F)."""
    return np.asarray((ports.slopes / ports.transfer).real)


def tip_shifts(ports: Ports, tip: int = 0, base: int | None = None) -> list[Shift]:
    """Return the shifts of a maximum or minimum, and of its height over a base.

    Parameters
    ----------
    ports : Ports
        Made at the frequencies of the tip and the base.
    tip, base : int
        Which of its frequencies they are; without a base the level is the gain itself.
    """
    h, s = ports.transfer[tip], ports.s[tip]
    first, second = (derivative[tip] for derivative in ports.derivatives)
    # ln|H| over ln ω is Re ln H(s): its slope is Re(s·H'/H)
    bend = (s * (first / h + s * second / h - s * (first / h) ** 2)).real
    mixed = s * (ports.slopes_by_s[:, tip] - ports.slopes[:, tip] * first / h) / h
    levels = level_slopes(ports)
    heights = levels[:, tip] - (0.0 if base is None else levels[:, base])
    return [
        Shift(value, float(-by_both.real / bend), float(height))
        for value, by_both, height in zip(ports.values, mixed, heights, strict=True)
    ]


def crossing_shifts(
    ports: Ports, at: int, against: tuple[int, ...], level: tuple[float, ...]
) -> list[Shift]:
    """Return the shifts of the place where a curve crosses a level.

    Parameters
    ----------
    ports : Ports
        Made at all the frequencies.
    at : int
        Which of its frequencies is the crossing.
    against : tuple of int
        The places whose mean level, but for a constant, is the level that is crossed.
    level : tuple of float
        Weights of `against` whose sum is the level that is told (a shelf's step is
        upper minus lower: ``(-1, 1)``).
    """
    slope = (ports.s[at] * ports.derivatives[0][at] / ports.transfer[at]).real
    levels = level_slopes(ports)
    apart = levels[:, at] - levels[:, list(against)].mean(axis=1)
    told = levels[:, list(against)] @ np.array(level)
    return [
        Shift(value, float(-distance / slope), float(height))
        for value, distance, height in zip(ports.values, apart, told, strict=True)
    ]
