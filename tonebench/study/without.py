# SPDX-License-Identifier: GPL-3.0-or-later
"""Counterfactuals: a chain without one thing, and which features are left of its curve.

A part opened or bridged, the pickup behind a buffer or replaced by an ideal source, the
lead or the load taken away. Each is drawn anew and solved; nothing is guessed. It
doesn't know why one asks.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain, join
from tonebench.circuit.parts import (
    Capacitor,
    Inductor,
    Part,
    Pot,
    Resistor,
    Transconductor,
    VariableResistor,
)
from tonebench.errors import CircuitError, RequestError
from tonebench.network.nodal import Network
from tonebench.network.roots import Roots, find_roots
from tonebench.plan.comparison import Side
from tonebench.study.features import Feature, find_features

How = Literal["opened", "bridged", "ideal source", "buffer", "no cable", "no load"]
#: What is done to the hook-up as a whole.
AROUND: tuple[How, ...] = ("ideal source", "buffer", "no cable", "no load")


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """A chain at one setting, driven at one input: its roots and features.

    `input` None: all inputs driven together.
    """

    chain: Chain
    setting: Settings
    roots: Roots
    features: tuple[Feature, ...]
    input: str | None = None

    @property
    def drive(self) -> int | None:
        """The number of the input that is driven."""
        names = [source.input for source in self.chain.sources]
        return None if self.input is None else names.index(self.input)


def solved(chain: Chain, setting: Settings, driven: str | None = None) -> Solved:
    """Return a chain at a setting with its features, one input driven, or all.

    Raises
    ------
    CircuitError
        If the setting has no solution.
    """
    network = Network(chain)
    if driven is None:
        (roots,) = find_roots(network, setting, "together")
    else:
        roots = find_roots(network, setting)[network.inputs.index(driven)]
    return Solved(chain, setting, roots, find_features(roots), driven)


def side_without(side: Side, how: How) -> Side | None:
    """Return a side whose hook-up lacks one thing; None if it lacked it before."""
    hookup = side.hookup
    changed = {
        "ideal source": replace(hookup, pickups={}, source_ohm=0.0),
        "buffer": replace(hookup, has_buffer=True),
        "no cable": replace(hookup, cable_farad=0.0),
        "no load": replace(hookup, load_ohm=None, load_farad=0.0),
    }.get(how)
    if changed is None or changed == hookup:
        return None
    if how == "buffer" and not (hookup.pickups or hookup.source_ohm):
        return None  # nothing there that could be loaded
    return replace(side, hookup=changed)


def chain_without(side: Side, how: How) -> Chain | None:
    """Return the chain of `side_without`; None where there is no such chain."""
    try:
        other = side_without(side, how)
        return None if other is None else other.chain
    except RequestError:  # a buffer before an input that floats
        return None


def circuit_without(circuit: Circuit, ref: str, how: How) -> Circuit | None:
    """Return a circuit with one part opened or bridged; None where that is no way."""
    kept = tuple(p for p in circuit.parts if p.ref != ref)
    if len(kept) == len(circuit.parts):
        return None
    part = circuit.part(ref)
    if how == "opened" and isinstance(part, Transconductor):
        return replace(circuit, parts=kept)
    pairs = _pairs(part)
    if how == "opened" and pairs:
        return replace(circuit, parts=kept)
    if how == "bridged" and pairs:
        wires = tuple(
            Resistor(f"{ref}.wire.{k}", pair, 0.0) for k, pair in enumerate(pairs)
        )
        return replace(circuit, parts=kept + wires)
    return None


def _pairs(part: Part) -> tuple[tuple[str, str], ...]:
    match part:
        case Resistor() | Capacitor() | Inductor() | VariableResistor():
            return (part.across,)
        case Pot():
            return ((part.ends[0], part.wiper), (part.wiper, part.ends[1]))
    return ()


class Counterfactuals:
    """A side at one setting without this or that; each is solved once."""

    def __init__(
        self, side: Side, setting: Settings, driven: str | None = None
    ) -> None:
        self.side = side
        self.here = solved(side.chain, setting, driven)
        self._found: dict[tuple[str, How], Solved | None] = {}

    def part(self, ref: str, how: How) -> Solved | None:
        """Return what is left with a part of the circuit opened or bridged."""
        key = (ref, how)
        if key not in self._found:
            circuit = circuit_without(self.side.circuit, ref, how)
            chain = None if circuit is None else join(circuit, self.side.hookup)
            self._found[key] = self._solved(chain)
        return self._found[key]

    def around(self, how: How) -> Solved | None:
        """Return what is left with another hook-up."""
        key = ("", how)
        if key not in self._found:
            self._found[key] = self._solved(chain_without(self.side, how))
        return self._found[key]

    def _solved(self, chain: Chain | None) -> Solved | None:
        if chain is None:
            return None
        names = {control.name for control in chain.controls}
        kept = {k: at for k, at in self.here.setting.items() if k in names}
        try:
            found = solved(chain, kept, self.here.input)
        except CircuitError:
            return None
        return found if found.roots.is_stable and not found.roots.is_silent else None

    def all_around(self) -> Iterator[tuple[How, Solved]]:
        """Yield every other hook-up that there is, with what is left."""
        for how in AROUND:
            if (found := self.around(how)) is not None:
                yield how, found
