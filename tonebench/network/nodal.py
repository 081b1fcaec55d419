# SPDX-License-Identifier: GPL-3.0-or-later
"""Modified nodal analysis: a chain as the matrices of (G + s·P·Qᵀ) x = B e.

The unknowns x are the node voltages, then a current for every leg (pots, switches,
links), inductor, op-amp output and source. A leg reads v(a) − v(b) − R·i = 0, so
that 0 ohm is exact and a knob changes one diagonal entry; an open leg reads i = 0.
The reactive part of the matrix is kept as factors, one column for each capacitor,
inductor and op-amp pole.

Source: C.-W. Ho, A. Ruehli, P. Brennan, "The modified nodal approach to network
analysis", IEEE Trans. CAS 22(6), 1975.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain
from tonebench.circuit.parts import (
    GROUND,
    RESERVED_NODES,
    Capacitor,
    Inductor,
    OpAmp,
    Pair,
    Part,
    Resistor,
    Transconductor,
    terminals,
)
from tonebench.errors import CircuitError
from tonebench.network.legs import Ohms, leg_nodes, leg_ohms
from tonebench.units import format_position

Real = NDArray[np.float64]

#: Ties an island (parts that touch neither ground nor a source at this setting) down.
#: No current flows in it, since it is the island's only way to ground.
ISLAND_SIEMENS = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Matrices:
    """One setting of a network: (G + s·P·Qᵀ) x = B e, output = row · x.

    Shapes, for N unknowns, R reactive parts and I inputs: `conductance` (N, N),
    `reactive_left` P and `reactive_right` Q (N, R), `drive` B (N, I), `row` (N,).
    """

    conductance: Real
    reactive_left: Real
    reactive_right: Real
    drive: Real
    row: Real


class Network:
    """The matrices of a chain, ready to be set to any knob positions.

    Everything that no knob moves is stamped once; ``at(setting)`` copies and fills in
    the legs.
    """

    def __init__(self, chain: Chain) -> None:
        self.chain = chain
        stamp = _Stamper(chain)
        self._fixed = stamp.conductance
        self._left, self._right = stamp.left, stamp.right
        self._drive, self._row = stamp.drive, stamp.row
        self._legs = stamp.legs
        self._index = stamp.index
        self._conductors = stamp.conductors
        self._voltages = stamp.voltages

    @property
    def inputs(self) -> tuple[str, ...]:
        """The names of the inputs, in the order of all results."""
        return tuple(source.input for source in self.chain.sources)

    def setting(self, changes: Settings) -> Settings:
        """Return the position of every control: where it starts, or as changed."""
        return self.chain.setting(changes)

    def at(self, setting: Settings) -> Matrices:
        """Return the matrices at a complete setting.

        Raises
        ------
        CircuitError
            If the setting shorts a source or an op-amp's output.
        """
        conductance = self._fixed.copy()
        for (row, pair), ohm in self._legs_at(setting):
            if ohm is None:
                conductance[row, row] = 1.0
                continue
            conductance[row, row] = -ohm
            for node, sign in zip(pair, (1.0, -1.0), strict=True):
                if (k := self._index.get(node)) is not None:
                    conductance[row, k] += sign
        for node in self._islands(setting):
            conductance[self._index[node], self._index[node]] += ISLAND_SIEMENS
        return Matrices(conductance, self._left, self._right, self._drive, self._row)

    def _legs_at(self, setting: Settings) -> list[tuple[tuple[int, Pair], Ohms]]:
        """Return every leg with its ohms; one that closes a loop of 0 ohm is open."""
        joined = _Sets()
        for name, pair in self._voltages:
            if not joined.join(*pair):
                raise CircuitError(f"{name} is shorted, or tied to another output")
        legs: list[tuple[tuple[int, Pair], Ohms]] = []
        zero = _Sets()
        for part, rows in self._legs:
            for row, ohm in zip(rows, leg_ohms(part, setting), strict=True):
                closes = ohm == 0 and not zero.join(*row[1])
                if ohm == 0 and not closes and not joined.join(*row[1]):
                    raise CircuitError(self._short_sentence(part, setting, zero))
                legs.append((row, None if closes else ohm))
        return legs

    def _short_sentence(self, part: Part, setting: Settings, zero: "_Sets") -> str:
        shorted = [name for name, pair in self._voltages if zero.is_joined(*pair)]
        tied = [
            name
            for name, (node, _) in self._voltages
            if any(zero.is_joined(node, leg[0]) for leg in leg_nodes(part))
        ]
        done = f"shorts {shorted[0]}" if shorted else f"ties {' to '.join(tied)}"
        control = getattr(part, "knob", None) or getattr(part, "switch", None)
        where = f" with {control} at {_told(setting[control])}" if control else ""
        has_source = any("source" in name for name in shorted or tied)
        cure = "give a pickup or a source resistance" if has_source else ""
        return f"{part.ref} {done}{where}; {cure or 'put a resistance in between'}"

    def _islands(self, setting: Settings) -> list[str]:
        """Return one node of every group that touches neither ground nor a source."""
        sets = _Sets()
        for pair in self._conductors:
            sets.join(*pair)
        for part, rows in self._legs:
            for (_, pair), ohm in zip(rows, leg_ohms(part, setting), strict=True):
                if ohm is not None:
                    sets.join(*pair)
        ground = sets.find(GROUND)
        found: dict[str, str] = {}
        for node in self._index:
            found.setdefault(sets.find(node), node)
        return [node for top, node in found.items() if top != ground]


def _told(position: float | str) -> str:
    return format_position(position) if isinstance(position, float) else str(position)


class _Sets:
    """Union-find over node names; all reserved nodes are the same ground."""

    def __init__(self) -> None:
        self._above: dict[str, str] = dict.fromkeys(RESERVED_NODES, GROUND)

    def find(self, node: str) -> str:
        above = self._above.setdefault(node, node)
        while above != node:
            node, above = above, self._above[above]
        return node

    def join(self, a: str, b: str) -> bool:
        """Join two nodes; False if they were joined already."""
        a, b = self.find(a), self.find(b)
        if a == b:
            return False
        if a == GROUND:
            a, b = b, a
        self._above[a] = b
        return True

    def is_joined(self, a: str, b: str) -> bool:
        return self.find(a) == self.find(b)


class _Stamper:
    """Stamps all parts of a chain once; lives only while a `Network` is made."""

    def __init__(self, chain: Chain) -> None:
        nodes = [node for part in chain.parts for _, node in terminals(part)]
        nodes += [node for s in chain.sources for node in (s.node, s.back)]
        nodes.append(chain.output)
        free = [n for n in dict.fromkeys(nodes) if n not in RESERVED_NODES]
        self.index = {node: k for k, node in enumerate(free)}
        self.legs: list[tuple[Part, list[tuple[int, Pair]]]] = []
        self.conductors: list[Pair] = []
        self.voltages: list[tuple[str, Pair]] = []
        self._left: list[dict[int, float]] = []
        self._right: list[dict[int, float]] = []
        self._entries: list[tuple[int, int, float]] = []
        self._count = len(free)
        for part in chain.parts:
            self._stamp(part)
        drives = [self._source(s.input, (s.node, s.back)) for s in chain.sources]

        self.conductance = np.zeros((self._count, self._count))
        for row, column, value in self._entries:
            self.conductance[row, column] += value
        self.left = self._columns(self._left)
        self.right = self._columns(self._right)
        self.drive = self._columns([{row: 1.0} for row in drives])
        output = self.index.get(chain.output)
        self.row = self._columns([{} if output is None else {output: 1.0}])[:, 0]

    def _columns(self, columns: list[dict[int, float]]) -> Real:
        matrix = np.zeros((self._count, len(columns)))
        for k, column in enumerate(columns):
            for row, value in column.items():
                matrix[row, k] = value
        return matrix

    def _new_unknown(self) -> int:
        self._count += 1
        return self._count - 1

    def _signs(self, pair: Pair, scale: float = 1.0) -> dict[int, float]:
        """Return {row: +scale, row: −scale} for the nodes that are not ground."""
        found: dict[int, float] = {}
        for node, sign in zip(pair, (scale, -scale), strict=True):
            k = self.index.get(node)
            if k is not None:
                found[k] = found.get(k, 0.0) + sign
        return found

    def _branch(self, pair: Pair) -> int:
        """Add a current that flows from pair[0] through a part to pair[1]."""
        current = self._new_unknown()
        for node, sign in self._signs(pair).items():
            self._entries.append((node, current, sign))
        return current

    def _voltage_row(self, row: int, pair: Pair) -> None:
        for node, sign in self._signs(pair).items():
            self._entries.append((row, node, sign))

    def _reactive(self, left: dict[int, float], right: dict[int, float]) -> None:
        self._left.append(left)
        self._right.append(right)

    def _source(self, name: str, pair: Pair) -> int:
        row = self._branch(pair)
        self._voltage_row(row, pair)
        self.conductors.append(pair)
        self.voltages.append((f"the source of input '{name}'", pair))
        return row

    def _stamp(self, part: Part) -> None:
        if pairs := leg_nodes(part):
            rows = [(self._branch(pair), pair) for pair in pairs]
            self.legs.append((part, rows))
            return
        match part:
            case Resistor():
                self._transfer(part.across, part.across, 1 / part.resistance_ohm)
                self.conductors.append(part.across)
            case Capacitor():
                ends = self._signs(part.across, math.sqrt(part.capacitance_farad))
                self._reactive(ends, ends)
                self.conductors.append(part.across)
            case Inductor():
                row = self._branch(part.across)
                self._voltage_row(row, part.across)
                self._entries.append((row, row, -part.winding_ohm))
                root = math.sqrt(part.inductance_henry)
                self._reactive({row: -root}, {row: root})
                self.conductors.append(part.across)
            case OpAmp():
                self._op_amp(part)
            case Transconductor():
                gm = part.transconductance_siemens
                self._transfer(part.into, part.control, gm)

    def _transfer(self, into: Pair, control: Pair, siemens: float) -> None:
        for row, sign in self._signs(into).items():
            for column, other in self._signs(control).items():
                self._entries.append((row, column, sign * other * siemens))

    def _op_amp(self, part: OpAmp) -> None:
        output = (part.out, GROUND)
        row = self._branch(output)
        self._voltage_row(row, (part.plus, part.minus))
        self.conductors.append(output)
        self.voltages.append((f"the output of {part.ref}", output))
        if part.is_ideal:
            return
        (out,) = self._signs(output)
        self._entries.append((row, out, -1 / part.open_loop_gain))
        if math.isfinite(part.gbw_hz):
            root = math.sqrt(1 / (2 * math.pi * part.gbw_hz))
            self._reactive({row: -root}, {out: root})
