# SPDX-License-Identifier: GPL-3.0-or-later
"""What every search for a part's value needs: the circuit drawn anew, and when to stop.

Knows neither how the value is found nor which values are sold.
"""

import math
from abc import ABC, abstractmethod
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import join
from tonebench.circuit.parts import OpAmp
from tonebench.errors import CircuitError, RequestError
from tonebench.network.nodal import Network
from tonebench.network.ports import Ports, Value
from tonebench.network.roots import Roots, find_roots
from tonebench.plan.comparison import Side
from tonebench.study.aim import HEARD_HZ, Aim

Real = NDArray[np.float64]

#: Values are looked for within this factor, either way.
MOST_FACTOR = 100.0
#: An aim counts as met within this share, or so many dB.
_MET_SHARE, _MET_DB = 0.1, 0.5
#: So near, nothing needs to be changed.
_THERE_SHARE, _THERE_DB = 0.015, 0.1
#: Flatness must gain this much, or it isn't worth a part.
_FLATTER_DB = 0.05


@dataclass(frozen=True, slots=True)
class Aside:
    """What a change does besides: `gain_db` to all, and at most `most_db` elsewhere.

    `moved_hz` is from where to where a knob's greatest effect has moved, if it has.
    """

    gain_db: float
    most_db: float
    at_hz: float
    moved_hz: tuple[float, float] | None = None

    @property
    def price(self) -> float:
        """How much is changed that wasn't asked for; a mere gain is easily made up."""
        moved = 0.0
        if self.moved_hz is not None:
            moved = abs(math.log2(self.moved_hz[1] / self.moved_hz[0]))
        return abs(self.most_db) + 0.2 * abs(self.gain_db) + 3 * moved


class AimSearch(ABC):
    """A circuit to be drawn anew with other values, at the settings an aim needs."""

    def __init__(self, side: Side, aim: Aim, setting: Settings) -> None:
        self.side, self.aim, self.setting = side, aim, setting
        self.chain = side.chain
        self.roots = self.roots_of(side.circuit)
        if self.roots is None or self.roots.is_silent:
            raise RequestError(f"{side.circuit.name} is silent at this setting")

    now: float | None = None

    def roots_of(self, circuit: Circuit) -> Roots | None:
        """Return the roots of a circuit in the same hook-up; None if it has none."""
        try:
            network = Network(join(circuit, self.side.hookup))
            (roots,) = find_roots(network, self.setting, "together")
        except CircuitError:
            return None
        return roots if roots.is_stable else None

    def other(self, value: Value, amount: float) -> Circuit:
        """Return the circuit with another amount in one part."""
        return self.side.circuit.with_parts({value.ref: amount})

    def values(self) -> Iterator[Value]:
        """Yield what can be changed: the numbers of the circuit's own parts."""
        ports = Ports(Network(self.chain), self.setting, [1000.0])
        own = {p.ref for p in self.side.circuit.parts if not isinstance(p, OpAmp)}
        for value in ports.values:
            if value.ref in own and value.quantity != "winding":
                yield value

    @abstractmethod
    def figure(self, value: Value, amount: float) -> float | None:
        """Return the figure with another amount; None where there is none."""

    @abstractmethod
    def met_by(self, value: Value) -> float | None:
        """Return the amount that meets the aim exactly, if any does."""

    @abstractmethod
    def aside(self, value: Value, amount: float) -> Aside:
        """Return what the amount changes besides."""

    @property
    def is_there(self) -> bool:
        """Whether the aim is met as the circuit is drawn."""
        if self.now is None or self.aim.what == "flat":
            return False
        if self.aim.what == "frequency":
            return abs(self.now / self.aim.wanted - 1) <= _THERE_SHARE
        return abs(self.now - self.aim.wanted) <= _THERE_DB

    def is_met(self, figure: float) -> bool:
        """Return whether a figure meets the aim, near enough."""
        if self.aim.what == "flat":
            return self.now is not None and figure < self.now - _FLATTER_DB
        if self.aim.what == "frequency":
            return abs(figure / self.aim.wanted - 1) <= _MET_SHARE
        return abs(figure - self.aim.wanted) <= _MET_DB


def greatest(change: Real, is_aside: NDArray[np.bool_] | None = None) -> Aside:
    """Return what a change in dB over `HEARD_HZ` does to all, and most elsewhere.

    `is_aside` says which places are elsewhere; without it all are.
    """
    aside = np.ones(len(change), bool) if is_aside is None else is_aside
    if not aside.any():
        return Aside(0.0, 0.0, 0.0)
    gain_db = float(np.median(change[aside]))
    beyond = np.where(aside, change - gain_db, 0.0)
    k = int(np.argmax(np.abs(beyond)))
    return Aside(gain_db, float(beyond[k]), float(HEARD_HZ[k]))
