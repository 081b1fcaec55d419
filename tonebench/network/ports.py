# SPDX-License-Identifier: GPL-3.0-or-later
"""One setting of a network as its parts see it: what each of them does to the output.

Every value of a part enters the matrices as c·u·vᵀ. With what the source puts on each
part, what each part passes to the output, and what the parts are to each other, any
value may change, open or short, and only a few numbers per frequency are solved again.
Knows no features and no words.

Source: the Sherman-Morrison-Woodbury identity, e.g. G. H. Golub, C. F. Van Loan,
"Matrix Computations", 4th ed. 2013, section 2.1.4 (from memory).
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonebench.circuit.controls import Settings
from tonebench.circuit.parts import (
    Capacitor,
    Inductor,
    OpAmp,
    Pair,
    Part,
    Pot,
    Resistor,
    Transconductor,
    VariableResistor,
)
from tonebench.errors import CircuitError
from tonebench.network.legs import leg_ohms
from tonebench.network.nodal import Matrices, Network
from tonebench.network.response import row_scale

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

Quantity = Literal[
    "resistance", "capacitance", "inductance", "winding", "transconductance", "gbw"
]
#: What a part can be replaced by: nothing at all, or a wire.
Fate = Literal["opened", "shorted"]
#: A counterfactual whose equations are this near to having no solution has none.
_UNSOLVED = 1e-11
#: A part that hangs from an open switch neither gets anything nor passes anything on,
#: each but for rounding; a part in balance gets nothing, but passes on.
_IDLE = 1e-24


@dataclass(frozen=True, slots=True)
class Value:
    """One number of one part: its ref, what it is, and how much, in SI units."""

    ref: str
    quantity: Quantity
    amount: float


@dataclass(frozen=True, slots=True, eq=False)
class _Term:
    """One c·u·vᵀ of a value: c = `still` + s·`moving`.

    `power` says how c follows the value: 1 in proportion, −1 inversely; `share` is the
    part of c that follows it (a leg with an end resistance doesn't quite).
    """

    u: Real
    v: Real
    still: float
    moving: float
    power: int = 1
    share: float = 1.0

    def coefficient(self, s: Complex) -> Complex:
        return self.still + s * self.moving

    def slope(self, s: Complex) -> Complex:
        """Return dc/d(ln value)."""
        return self.power * self.share * self.coefficient(s)

    def change(self, s: Complex, factor: float) -> Complex:
        """Return how much c changes when the value is multiplied."""
        return self.share * (factor**self.power - 1) * self.coefficient(s)


class Ports:
    """A network at one setting and at some frequencies, seen from its parts.

    Parameters
    ----------
    network : Network
        The chain's matrices.
    setting : mapping
        Positions of controls; those left out stand where they start.
    frequency_hz : array_like, shape (F,)
        Frequencies in Hz.
    drive : int or None
        Which input is driven, by its number; None: the same voltage on all of them.

    Attributes
    ----------
    values : tuple of Value
        Every number that a sensitivity can be asked of.
    transfer : ndarray, shape (F,)
        The response itself.

    Raises
    ------
    CircuitError
        If the setting shorts a source, or leaves the circuit without a solution.
    """

    def __init__(
        self,
        network: Network,
        setting: Settings,
        frequency_hz: ArrayLike,
        drive: int | None = None,
    ) -> None:
        self.frequency_hz = np.atleast_1d(np.asarray(frequency_hz, dtype=float))
        self.s: Complex = 2j * np.pi * self.frequency_hz
        complete = network.setting(setting)
        matrices = network.at(complete)
        self._terms: list[_Term] = []
        self._of_value: dict[Value, list[int]] = {}
        self._of_part: dict[str, list[int]] = {}
        self._parts: Mapping[str, Part] = {p.ref: p for p in network.chain.parts}
        for value, term in _values(network, matrices, complete):
            self._of_value.setdefault(value, []).append(len(self._terms))
            self._of_part.setdefault(value.ref, []).append(len(self._terms))
            self._terms.append(term)
        self.values = tuple(self._of_value)
        self._reactive = [k for k, term in enumerate(self._terms) if term.moving]
        self._solve(matrices, drive)

    def _solve(self, m: Matrices, drive: int | None) -> None:
        chosen = m.drive if drive is None else m.drive[:, drive : drive + 1]
        source = chosen.sum(axis=1, keepdims=True)
        size = (len(self._terms), len(m.row))
        left = np.reshape([term.u for term in self._terms], size)
        right = np.reshape([term.v for term in self._terms], size)
        reactive = m.reactive_left @ m.reactive_right.T
        scale = row_scale(m.conductance, reactive, np.abs(self.s))
        pencil = scale * m.conductance + (self.s[:, None, None] * scale) * reactive
        try:
            x = np.linalg.solve(pencil, scale * np.hstack([source, left.T]))
        except np.linalg.LinAlgError:
            raise CircuitError("the circuit has no solution at this setting") from None
        out = np.einsum("n,fnk->fk", m.row, x)
        across = right @ x
        #: H (F,); what the source puts on each term (F, T); what each term passes to
        #: the output (F, T): the adjoint solution; and each term on each (F, T, T)
        self.transfer: Complex = out[:, 0]
        self._seen: Complex = across[:, :, 0]
        self._passed: Complex = out[:, 1:]
        self._mutual: Complex = across[:, :, 1:]

    @cached_property
    def slopes(self) -> Complex:
        """The derivative of H by the logarithm of every value, shape (values, F)."""
        each = [
            -self._passed[:, k] * self._seen[:, k] * term.slope(self.s)
            for k, term in enumerate(self._terms)
        ]
        return self._summed(each)

    @cached_property
    def slopes_by_s(self) -> Complex:
        """The derivative of `slopes` by s, shape (values, F)."""
        passed, seen = self._turning
        each = []
        for k, term in enumerate(self._terms):
            product = self._passed[:, k] * self._seen[:, k]
            turning = passed[:, k] * self._seen[:, k] + self._passed[:, k] * seen[:, k]
            bend = term.power * term.share * term.moving
            each.append(-product * bend - turning * term.slope(self.s))
        return self._summed(each)

    @cached_property
    def _turning(self) -> tuple[Complex, Complex]:
        """The derivatives by s of what terms pass on, and of what is put on them."""
        r, passed = self._reactive, self._passed
        moving = np.array([self._terms[k].moving for k in r])
        by_s_passed = -np.einsum(
            "fr,fri->fi", passed[:, r] * moving, self._mutual[:, r]
        )
        by_s_seen = -np.einsum(
            "fir,fr->fi", self._mutual[:, :, r], moving * self._seen[:, r]
        )
        return by_s_passed, by_s_seen

    @cached_property
    def derivatives(self) -> tuple[Complex, Complex]:
        """The first and second derivative of H by s, each of shape (F,)."""
        r = self._reactive
        moving = np.array([self._terms[k].moving for k in r])
        _, turning = self._turning
        first = -np.sum(self._passed[:, r] * moving * self._seen[:, r], axis=1)
        second = -2 * np.sum(self._passed[:, r] * moving * turning[:, r], axis=1)
        return first, second

    def _summed(self, each: list[Complex]) -> Complex:
        rows = [np.sum([each[k] for k in at], axis=0) for at in self._of_value.values()]
        return np.reshape(rows, (len(rows), len(self.s)))

    def changed(self, value: Value, factor: float) -> Complex:
        """Return the response with one value multiplied, shape (F,)."""
        at = self._of_value[value]
        change = np.array([self._terms[k].change(self.s, factor) for k in at]).T
        return self._updated(at, change, np.ones_like(change))

    def without(self, ref: str, fate: Fate) -> Complex | None:
        """Return the response with a part opened or shorted, shape (F,).

        None where that leaves no solution (an op-amp without feedback), or where the
        part can't be had so (an op-amp; a switch, which has its own positions).
        """
        part = self._parts[ref]
        at = self._of_part.get(ref, [])
        if not at or isinstance(part, OpAmp):
            return None
        if isinstance(part, Inductor):
            at = at[-1:]  # its current's own row, with winding and inductance together
        if isinstance(part, Transconductor) and fate == "shorted":
            return None
        is_current = isinstance(part, Pot | VariableResistor | Inductor) or (
            self._terms[at[0]].power == 1 and isinstance(part, Resistor)
        )
        if is_current == (fate == "opened"):  # c goes beyond all bounds
            endless = np.ones((len(self.s), len(at)), complex)
            return self._solved(at, endless, np.zeros_like(endless))
        gone = np.array([-self._terms[k].coefficient(self.s) for k in at]).T
        if isinstance(part, Inductor):
            gone = (part.winding_ohm + self.s * part.inductance_henry)[:, None]
        return self._solved(at, gone, np.ones_like(gone))

    def _solved(self, at: list[int], change: Complex, unit: Complex) -> Complex | None:
        itself = np.abs(self._mutual[:, at, at])
        if np.all(np.abs(self._passed[:, at] * self._seen[:, at]) <= _IDLE * itself):
            return self.transfer
        try:
            found = self._updated(at, change, unit)
        except np.linalg.LinAlgError:
            return None
        return found if np.all(np.isfinite(found)) else None

    def _updated(self, at: list[int], change: Complex, unit: Complex) -> Complex:
        """Return H with c changed: (unit + change·W) λ = change·seen, H − passed·λ.

        A `unit` of 0 stands for a change without bounds.
        """
        mutual = self._mutual[:, at][:, :, at]
        system = change[:, :, None] * mutual
        diagonal = np.arange(len(at))
        size = np.abs(system).max(axis=(1, 2)) + np.abs(unit).max(axis=1)
        system[:, diagonal, diagonal] += unit
        if np.any(np.abs(np.linalg.det(system)) < _UNSOLVED * size ** len(at)):
            raise np.linalg.LinAlgError
        right = (change * self._seen[:, at])[:, :, None]
        current = np.linalg.solve(system, right)[:, :, 0]
        found: Complex = self.transfer - np.sum(self._passed[:, at] * current, axis=1)
        return found


def _values(
    network: Network, m: Matrices, setting: Settings
) -> Iterator[tuple[Value, _Term]]:
    """Yield every value with the terms that it has in the matrices."""
    size = len(m.row)
    index = network._index  # the same folder: where the unknowns of nodes stand
    rows = {part.ref: [row for row, _ in legs] for part, legs in network._legs}
    column = 0

    def unit(row: int) -> Real:
        vector = np.zeros(size)
        vector[row] = 1.0
        return vector

    def between(pair: Pair) -> Real:
        vector = np.zeros(size)
        for node, sign in zip(pair, (1.0, -1.0), strict=True):
            if node in index:
                vector[index[node]] += sign
        return vector

    for part in network.chain.parts:
        ref = part.ref
        if ref in rows:
            if not isinstance(part, Resistor | Pot | VariableResistor):
                continue
            value = Value(ref, "resistance", part.resistance_ohm)
            for row, ohm, share in zip(rows[ref], *_legs(part, setting), strict=True):
                if ohm is not None:
                    e = unit(row)
                    yield value, _Term(e, e, -ohm, 0.0, share=share)
            continue
        match part:
            case Resistor():
                ab = between(part.across)
                value = Value(ref, "resistance", part.resistance_ohm)
                yield value, _Term(ab, ab, 1 / part.resistance_ohm, 0.0, power=-1)
            case Transconductor():
                gm = part.transconductance_siemens
                term = _Term(between(part.into), between(part.control), gm, 0.0)
                yield Value(ref, "transconductance", gm), term
            case Capacitor() | Inductor() | OpAmp():
                if isinstance(part, OpAmp) and not math.isfinite(part.gbw_hz):
                    continue
                p, q = m.reactive_left[:, column], m.reactive_right[:, column]
                column += 1
                term = _Term(p, q, 0.0, 1.0)
                if isinstance(part, Capacitor):
                    yield Value(ref, "capacitance", part.capacitance_farad), term
                elif isinstance(part, OpAmp):
                    yield Value(ref, "gbw", part.gbw_hz), replace(term, power=-1)
                else:
                    yield Value(ref, "inductance", part.inductance_henry), term
                    e = unit(int(np.abs(p).argmax()))
                    winding = _Term(e, e, -part.winding_ohm, 0.0)
                    yield Value(ref, "winding", part.winding_ohm), winding


def _legs(
    part: Resistor | Pot | VariableResistor, setting: Settings
) -> tuple[list[float | None], list[float]]:
    """Return the ohms of a part's legs, and which share of them follows its value."""
    ohms = list(leg_ohms(part, setting))
    double = leg_ohms(replace(part, resistance_ohm=2 * part.resistance_ohm), setting)
    shares = [
        (twice - once) / once if once and twice is not None else 1.0
        for once, twice in zip(ohms, double, strict=True)
    ]
    return ohms, shares
