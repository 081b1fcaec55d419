# SPDX-License-Identifier: GPL-3.0-or-later
"""The equations of a circuit, drawn up apart from all that tonebench does with it.

A sparse tableau: every part is a branch with a current and one equation of its own,
A·x + P·d(Qᵀx)/dt = b·u. Reads the drawing (parts, nodes, values) and nothing of the
package's matrices and tapers.

Source: G. D. Hachtel, R. K. Brayton, F. G. Gustavson, "The sparse tableau approach to
network analysis and design", IEEE Trans. Circuit Theory 18(1), 1971.
"""

import math
from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.hookup import Chain
from tonebench.circuit.parts import (
    Capacitor,
    Inductor,
    OpAmp,
    Part,
    Pot,
    Resistor,
    Switch,
    VariableResistor,
)
from tonebench.circuit.tapers import Taper

Real = NDArray[np.float64]
#: Where every control stands: knobs from 0 to 10, one number or one per sample.
Positions = Mapping[str, float | str | Real]
#: The ohms of a leg, one number or one per sample; None is open.
Ohms = Callable[[Positions], float | Real | None]

GROUND = {"gnd", "bias", "rail"}


class Tableau:
    """All equations of a chain whose sources all give the same voltage u."""

    def __init__(self, chain: Chain) -> None:
        self.size = 0
        self._nodes: dict[str, int] = {}
        self._entries: list[tuple[int, int, float]] = []
        self._changing: list[tuple[int, dict[int, float]]] = []
        #: Rows whose resistance a control sets.
        self.legs: list[tuple[int, Ohms]] = []
        for part in chain.parts:
            self._add(part)
        drives = [self._branch(s.node, s.back) for s in chain.sources]
        output = self._node(chain.output)
        self._fixed = np.zeros((self.size, self.size))
        for row, column, value in self._entries:
            self._fixed[row, column] += value
        self.into = np.zeros((self.size, len(self._changing)))  # P
        self.seen = np.zeros((self.size, len(self._changing)))  # Q
        for k, (row, entries) in enumerate(self._changing):
            self.into[row, k] = 1.0
            for column, value in entries.items():
                self.seen[column, k] = value
        self.drive = np.zeros(self.size)
        self.drive[drives] = 1.0
        self.row = np.zeros(self.size)
        self.row[output] = 1.0

    def at(self, positions: Positions) -> Real:
        """Return A with every leg as the controls stand."""
        matrix = self._fixed.copy()
        for row, ohms in self.legs:
            ohm = ohms(positions)
            if ohm is None:
                matrix[row, :] = 0.0
            matrix[row, row] = 1.0 if ohm is None else -float(ohm)
        return matrix

    def _unknown(self) -> int:
        self.size += 1
        return self.size - 1

    def _node(self, name: str) -> int | None:
        if name not in GROUND and name not in self._nodes:
            self._nodes[name] = self._unknown()
        return self._nodes.get(name)

    def _between(self, a: str, b: str, scale: float = 1.0) -> dict[int, float]:
        """Return the coefficients of scale·(v(a) − v(b))."""
        found: dict[int, float] = {}
        for name, sign in ((a, scale), (b, -scale)):
            if (k := self._node(name)) is not None:
                found[k] = found.get(k, 0.0) + sign
        return found

    def _branch(self, a: str, b: str, reads_voltage: bool = True) -> int:
        """Add a current from a to b, and its row: v(a) − v(b) unless told otherwise."""
        ends = self._between(a, b)
        row = self._unknown()
        for node, sign in ends.items():
            self._entries.append((node, row, sign))
            if reads_voltage:
                self._entries.append((row, node, sign))
        return row

    def _add(self, part: Part) -> None:
        match part:
            case Resistor(across=(a, b)):
                row = self._branch(a, b)
                self._entries.append((row, row, -part.resistance_ohm))
            case Capacitor(across=(a, b)):  # i − C·dv/dt = 0
                row = self._branch(a, b, reads_voltage=False)
                self._entries.append((row, row, 1.0))
                ends = self._between(a, b, -part.capacitance_farad)
                self._changing.append((row, ends))
            case Inductor(across=(a, b)):  # v − R·i − L·di/dt = 0
                row = self._branch(a, b)
                self._entries.append((row, row, -part.winding_ohm))
                self._changing.append((row, {row: -part.inductance_henry}))
            case OpAmp():  # v(plus) − v(minus) − v(out)·(1/A + s/ω) = 0
                row = self._branch(part.out, "gnd", reads_voltage=False)
                for node, sign in self._between(part.plus, part.minus).items():
                    self._entries.append((row, node, sign))
                (out,) = self._between(part.out, "gnd")
                self._entries.append((row, out, -1 / part.open_loop_gain))
                if math.isfinite(part.gbw_hz):
                    seconds = 1 / (2 * math.pi * part.gbw_hz)
                    self._changing.append((row, {out: -seconds}))
            case Pot(ends=(a, b), wiper=w, tap=None, open_at=None):
                self._leg(a, w, lambda at: _before(part, at))
                self._leg(w, b, lambda at: part.resistance_ohm - _before(part, at))
            case VariableResistor(across=(a, b), open_at=None):
                self._leg(a, b, lambda at: _before(part, at))
            case Switch():
                for node in dict.fromkeys(n for _, nodes in part.throws for n in nodes):
                    self._leg(part.common, node, _contact(part, node))
            case _:
                raise NotImplementedError(part)

    def _leg(self, a: str, b: str, ohms: Ohms) -> None:
        if a != b and not {a, b} <= GROUND:
            self.legs.append((self._branch(a, b), ohms))


def _before(part: Pot | VariableResistor, at: Positions) -> float | Real:
    rotation = np.asarray(at[part.knob], dtype=float) / 10
    track = part.resistance_ohm - 2 * part.end_ohm
    return part.end_ohm + track * _share(part.taper, rotation)


def _share(taper: Taper, rotation: Real) -> Real:
    """Return the share of the track, the laws of audio tapers written out anew."""
    b = (100 / taper.percent - 1) ** 2
    if taper.law == "audio":
        return np.asarray((b**rotation - 1) / (b - 1))
    if taper.law == "reverse-audio":
        return np.asarray((b - b ** (1 - rotation)) / (b - 1))
    return np.interp(rotation * 10, *zip(*taper.points, strict=True))


def _contact(part: Switch, node: str) -> Ohms:
    return lambda at: 0.0 if node in part.thrown_to(str(at[part.switch])) else None
