# SPDX-License-Identifier: GPL-3.0-or-later
"""What stands around a circuit, and the two joined into one chain of plain parts.

Floor: pickup → before → lead → buffer → circuit → into → load.
Onboard: pickup → inner → before → buffer → circuit → lead → into → load.
What stands before and after is solved jointly with the circuit, so a chain is one flat
list of parts; nothing here solves it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from tonebench.circuit.circuit import Circuit, Input, Place
from tonebench.circuit.controls import (
    Control,
    Knob,
    Settings,
    complete_setting,
)
from tonebench.circuit.parts import (
    GROUND,
    RESERVED_NODES,
    Capacitor,
    Inductor,
    OpAmp,
    Part,
    Pot,
    Resistor,
    Switch,
    VariableResistor,
    rename_nodes,
    terminals,
)
from tonebench.errors import RequestError
from tonebench.units import format_value

INNER_ONBOARD_FARAD = 30e-12
#: What a buffer at an input loads its source with.
BUFFER_OHM = 1e6


@dataclass(frozen=True, slots=True)
class Pickup:
    """A coil: its own voltage in series with R and L, then C and losses across it."""

    name: str
    resistance_ohm: float
    inductance_henry: float
    capacitance_farad: float
    losses_ohm: float | None = None
    title: str = ""


@dataclass(frozen=True, slots=True)
class Piezo:
    """A piezo element: its own voltage in series with a capacitance."""

    name: str
    capacitance_farad: float
    title: str = ""


@dataclass(frozen=True, slots=True)
class Neighbour:
    """A further circuit in the chain, with the positions its controls start from."""

    circuit: Circuit
    settings: Settings = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Hookup:
    """Everything around a circuit. What is None, or left out, is not there.

    Without a pickup and with `source_ohm` 0 the source is ideal; without `load_ohm` the
    output is open. `place` None means where the circuit's file says. With `has_buffer`
    an ideal follower of 1 MΩ stands at every input of the circuit.
    """

    pickups: Mapping[str, Pickup | Piezo] = field(default_factory=dict)
    source_ohm: float = 0.0
    cable_farad: float = 0.0
    inner_farad: float | None = None
    load_ohm: float | None = None
    load_farad: float = 0.0
    place: Place | None = None
    has_buffer: bool = False
    before: tuple[Neighbour, ...] = ()
    into: tuple[Neighbour, ...] = ()

    def __post_init__(self) -> None:
        for name in ("source_ohm", "cable_farad", "load_farad", "inner_farad"):
            value = getattr(self, name)
            if value is not None and not value >= 0:
                word = name.rpartition("_")[0]
                raise RequestError(f"{word} must be 0 or more, got {value:g}")
        if self.load_ohm is not None and not self.load_ohm > 0:
            raise RequestError(f"load must be above 0 ohm, got {self.load_ohm:g}")


@dataclass(frozen=True, slots=True)
class Source:
    """The voltage that drives one input, between two nodes of a chain."""

    input: str
    node: str
    back: str


@dataclass(frozen=True, slots=True)
class Chain:
    """A circuit with everything around it, as one flat drawing ready to be solved.

    The circuit's own parts, nodes and controls keep their names; a neighbour's carry
    its name and a dot in front ("whimbrel.C1"). `line` says the chain in one line.
    """

    line: str
    circuit: Circuit
    parts: tuple[Part, ...]
    controls: tuple[Control, ...]
    sources: tuple[Source, ...]
    output: str

    def setting(self, changes: Settings) -> Settings:
        """Return the position of every control: where it starts, or as changed."""
        return complete_setting(self.controls, changes)


def join(circuit: Circuit, hookup: Hookup | None = None) -> Chain:
    """Join a circuit and its hook-up into one chain.

    Raises
    ------
    RequestError
        If the hook-up does not fit: a pickup for an input that isn't there, or a
        neighbour whose inputs can't be driven.
    """
    hookup = hookup or Hookup()
    builder = _Builder(circuit, hookup, hookup.place or circuit.place)
    builder.add_neighbours()
    builder.add_leads()
    sources = tuple(builder.source(entry) for entry in builder.entries)
    return Chain(
        line=builder.line(),
        circuit=circuit,
        parts=tuple(builder.parts),
        controls=tuple(builder.controls),
        sources=sources,
        output=builder.output,
    )


class _Builder:
    """Collects the parts of one chain; lives only inside `join`."""

    def __init__(self, circuit: Circuit, hookup: Hookup, place: Place) -> None:
        self.circuit, self.hookup, self.place = circuit, hookup, place
        self.parts: list[Part] = list(circuit.parts)
        self.controls: list[Control] = list(circuit.controls)
        self.heads = self._buffered() if hookup.has_buffer else circuit.inputs
        self.entries = self.heads
        self.output = circuit.output
        self.names = {circuit.name}

    def _buffered(self) -> tuple[Input, ...]:
        """Put a follower at every input; return where it is driven now."""
        heads = []
        for entry in self.circuit.inputs:
            if entry.back != GROUND:
                raise RequestError(
                    f"a buffer needs an input to ground, but {entry.name} of "
                    f"{self.circuit.name} is between {entry.node} and {entry.back}"
                )
            ref = f"buffer.{entry.name}"
            node = f"{ref}.in"
            self.parts += [
                Resistor(f"{ref}.resistance", (node, GROUND), BUFFER_OHM),
                OpAmp(ref, plus=node, minus=entry.node, out=entry.node),
            ]
            heads.append(Input(entry.name, node))
        return tuple(heads)

    def add_neighbours(self) -> None:
        for neighbour in reversed(self.hookup.before):
            if len(self.entries) != 1 or self.entries[0].back != GROUND:
                raise RequestError(
                    f"{neighbour.circuit.name} can't stand before "
                    f"{self.circuit.name}: there is more than one input to drive"
                )
            mapping = {neighbour.circuit.output: self.entries[0].node}
            self.entries, _ = self._add(neighbour, mapping)
        for neighbour in self.hookup.into:
            if len(neighbour.circuit.inputs) != 1:
                raise RequestError(
                    f"{self.circuit.name} can't feed into {neighbour.circuit.name}: "
                    f"it has {len(neighbour.circuit.inputs)} inputs"
                )
            mapping = {neighbour.circuit.inputs[0].node: self.output}
            _, self.output = self._add(neighbour, mapping)

    def _add(
        self, neighbour: Neighbour, mapping: dict[str, str]
    ) -> tuple[tuple[Input, ...], str]:
        """Add a neighbour's parts, its nodes renamed; return its inputs and output."""
        circuit = neighbour.circuit
        name, count = circuit.name, 2
        while name in self.names:
            name, count = f"{circuit.name}-{count}", count + 1
        self.names.add(name)
        table = {node: node for node in RESERVED_NODES} | mapping
        outer = [circuit.output, *(i.node for i in circuit.inputs)]
        outer += [i.back for i in circuit.inputs]
        inner = [node for part in circuit.parts for _, node in terminals(part)]
        for node in (*outer, *inner):
            table.setdefault(node, f"{name}.{node}")
        for part in circuit.parts:
            renamed = rename_nodes(part, table, f"{name}.{part.ref}")
            self.parts.append(_rename_control(renamed, name))
        positions = circuit.setting(neighbour.settings)
        for control in circuit.controls:
            self.controls.append(_start_at(control, name, positions[control.name]))
        entries = tuple(
            Input(i.name, table[i.node], table[i.back]) for i in circuit.inputs
        )
        return entries, table[circuit.output]

    def add_leads(self) -> None:
        hookup = self.hookup
        if hookup.pickups:
            for entry in self.entries:
                name = f"inner.{entry.name}"
                self._shunt(name, entry.node, entry.back, self._inner_farad)
        if self.place == "floor":
            for entry in self.heads:
                ref = "lead" if len(self.heads) == 1 else f"lead.{entry.name}"
                self._shunt(ref, entry.node, entry.back, hookup.cable_farad)
        else:
            self._shunt("lead", self.circuit.output, GROUND, hookup.cable_farad)
        self._shunt("load capacitance", self.output, GROUND, hookup.load_farad)
        if hookup.load_ohm is not None:
            load = Resistor("load", (self.output, GROUND), hookup.load_ohm)
            self.parts.append(load)

    @property
    def _inner_farad(self) -> float:
        if self.hookup.inner_farad is not None:
            return self.hookup.inner_farad
        before = self.hookup.before
        first_place = before[0].circuit.place if before else self.place
        return INNER_ONBOARD_FARAD if first_place == "onboard" else 0.0

    def _shunt(self, ref: str, node: str, back: str, farad: float) -> None:
        if farad > 0:
            self.parts.append(Capacitor(ref, (node, back), farad))

    def source(self, entry: Input) -> Source:
        """Add what drives one input; return where its own voltage stands."""
        pickups, names = self.hookup.pickups, {i.name for i in self.entries}
        unknown = set(pickups) - names - {""}
        if unknown:
            raise RequestError(
                f"{self.circuit.name} has no input '{min(unknown)}' to put a pickup "
                f"on; it has {', '.join(sorted(names))}"
            )
        pickup = pickups.get(entry.name, pickups.get(""))
        if "" in pickups and self.hookup.source_ohm > 0:
            raise RequestError(
                "source is the resistance of what drives an input without a pickup; "
                "give one of the two"
            )
        if pickup is None:
            ohm = self.hookup.source_ohm
            if ohm == 0:
                return Source(entry.name, entry.node, entry.back)
            emf = f"source.{entry.name}"
            self.parts.append(Resistor(f"source.{entry.name}", (emf, entry.node), ohm))
            return Source(entry.name, emf, entry.back)
        prefix = f"pickup.{entry.name}"
        emf, across = f"{prefix}.emf", (entry.node, entry.back)
        farad = pickup.capacitance_farad
        if isinstance(pickup, Piezo):
            self.parts.append(Capacitor(prefix, (emf, entry.node), farad))
            return Source(entry.name, emf, entry.back)
        self.parts.append(
            Inductor(
                prefix,
                (emf, entry.node),
                pickup.inductance_henry,
                winding_ohm=pickup.resistance_ohm,
            )
        )
        self._shunt(f"{prefix}.capacitance", *across, farad)
        if pickup.losses_ohm is not None:
            losses = Resistor(f"{prefix}.losses", across, pickup.losses_ohm)
            self.parts.append(losses)
        return Source(entry.name, emf, entry.back)

    def line(self) -> str:
        hookup = self.hookup
        lead = [f"{format_value(hookup.cable_farad, 'F')} lead"]
        lead = lead if hookup.cable_farad > 0 else []
        steps = [self._source_words()]
        if hookup.pickups and self._inner_farad > 0:
            steps.append(f"{format_value(self._inner_farad, 'F')} inner wire")
        steps += [neighbour.circuit.name for neighbour in hookup.before]
        steps += lead if self.place == "floor" else []
        steps += ["buffer"] if hookup.has_buffer else []
        steps += [self.circuit.name]
        steps += lead if self.place == "onboard" else []
        steps += [neighbour.circuit.name for neighbour in hookup.into]
        load = []
        if hookup.load_ohm is not None:
            load.append(format_value(hookup.load_ohm, "Ω"))
        if hookup.load_farad > 0:
            load.append(format_value(hookup.load_farad, "F"))
        steps.append(" with ".join(load) or "no load")
        return " → ".join(steps)

    def _source_words(self) -> str:
        hookup = self.hookup
        names = {
            entry.name: (hookup.pickups.get(entry.name) or hookup.pickups.get(""))
            for entry in self.entries
        }
        words = [
            pickup.name
            if pickup
            else (
                f"{format_value(hookup.source_ohm, 'Ω')} source"
                if hookup.source_ohm
                else "ideal source"
            )
            for pickup in names.values()
        ]
        if len(set(words)) == 1:
            return words[0]
        return " + ".join(
            f"{word} ({name})" for name, word in zip(names, words, strict=True)
        )


def _rename_control(part: Part, name: str) -> Part:
    match part:
        case Pot() | VariableResistor():
            return replace(part, knob=f"{name}.{part.knob}")
        case Switch():
            return replace(part, switch=f"{name}.{part.switch}")
    return part


def _start_at(control: Control, name: str, position: float | str) -> Control:
    named = f"{name}.{control.name}"
    if isinstance(control, Knob):
        return replace(control, name=named, start=control.position(position))
    return replace(control, name=named, start=control.position(position))
