# SPDX-License-Identifier: GPL-3.0-or-later
"""What can be said of a drawing by following its lines, before anything is solved.

Finds loose nodes, op-amps without feedback, outputs that nothing leads to and nodes
without a DC path, and says each node as a builder proves a build against paper. Knows
nothing of values, except that 0 ohm is a wire.
"""

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise

from tonebench.circuit.circuit import Circuit, Input
from tonebench.circuit.parts import (
    GROUND,
    RESERVED_NODES,
    Capacitor,
    OpAmp,
    Pair,
    Part,
    Pot,
    Resistor,
    Switch,
    Transconductor,
    terminals,
)
from tonebench.circuit.paths import (
    Groups,
    held_nodes,
    input_nodes,
    next_nodes,
    op_amps,
    reached_nodes,
)
from tonebench.circuit.wording import did_you_mean
from tonebench.errors import Fault

#: Names that someone gives to ground, the bias or the rail, and what they are here.
_LOOKALIKES = {node: node for node in RESERVED_NODES} | dict.fromkeys(
    ("0", "0v", "earth", "ground", "mass", "masse"), GROUND
)


@dataclass(frozen=True, slots=True)
class Remarks:
    """What was found in a drawing, without the lines of a file.

    The `part` of each is a designator, or the key of an input or of the output in a
    circuit file ("input", "inputs.neck", "output"), or empty.
    """

    faults: tuple[Fault, ...] = ()
    warnings: tuple[Fault, ...] = ()
    notes: tuple[Fault, ...] = ()


def look_over(circuit: Circuit) -> Remarks:
    """Return all that following the lines of a drawing brings up.

    Paths are followed only if every node is joined to something, since one wrong name
    cuts many of them.
    """
    faults = [fault for part in circuit.parts for fault in wiring_faults(part)]
    touches = (
        (part.ref, node) for part in circuit.parts for _, node in terminals(part)
    )
    faults += name_faults(touches, (*input_nodes(circuit), circuit.output))
    faults += _end_faults(circuit)
    if faults:
        return Remarks(tuple(faults))
    faults += [*_ground_faults(circuit), *_source_faults(circuit)]
    faults += [*_feedback_faults(circuit), *_output_faults(circuit)]
    if faults:
        return Remarks(tuple(faults))
    return Remarks((), *_dc_remarks(circuit))


def wiring_faults(part: Part) -> Iterator[Fault]:
    """Yield what is wrong with the nodes of one part, whatever is around it."""
    pairs: list[tuple[str, Pair]] = []
    match part:
        case OpAmp():
            pairs = [("plus and minus", (part.plus, part.minus))]
            if part.out in RESERVED_NODES:
                message = f"out can't be '{part.out}', which is a ground for signals"
                yield Fault(message, "give the output a node of its own", part.ref)
        case Switch():
            thrown = dict.fromkeys(node for _, nodes in part.throws for node in nodes)
            pairs = [("common and a throw", (part.common, node)) for node in thrown]
        case Transconductor():
            pairs = [("both of control", part.control), ("both of into", part.into)]
        case Pot():
            if part.wiper in part.ends:  # one end may be joined to the wiper, not both
                pairs = [("both ends and the wiper", part.ends)]
        case _:
            pairs = [("both ends", part.across)]
    for words, (one, other) in pairs:
        if one == other:
            yield Fault(f"{words} are joined to the same node '{one}'", "", part.ref)


def name_faults(
    touches: Iterable[tuple[str, str]], ends: Iterable[str]
) -> Iterator[Fault]:
    """Yield nodes that only one part touches, and those that look like ground.

    Parameters
    ----------
    touches : iterable of (str, str)
        Designator and node for each terminal.
    ends : iterable of str
        Nodes that something outside touches too: those of the inputs and the output.
    """
    parts_at: dict[str, list[str]] = {}
    for ref, node in touches:
        refs = parts_at.setdefault(node, [])
        if ref not in refs:
            refs.append(ref)
    known = {*ends, *RESERVED_NODES}
    for node, refs in parts_at.items():
        if node in known:
            continue
        if meant := _LOOKALIKES.get(node.casefold()):
            message = f"joins node '{node}', which is a node like any other"
            yield Fault(message, f"did you mean '{meant}'?", refs[0])
        elif len(refs) == 1:
            others = sorted((known | parts_at.keys()) - {node})
            hint = did_you_mean(node, others) or "a node joins two parts or more"
            message = f"joins node '{node}', which nothing else touches"
            yield Fault(message, hint, refs[0])


# -- the whole drawing -----------------------------------------------------------------


def _inputs(circuit: Circuit) -> list[tuple[str, Input]]:
    """Return the inputs, each with its key in a circuit file."""
    if len(circuit.inputs) == 1:
        return [("input", circuit.inputs[0])]
    return [(f"inputs.{entry.name}", entry) for entry in circuit.inputs]


def _end_faults(circuit: Circuit) -> Iterator[Fault]:
    """Yield inputs and outputs that are on ground, or joined to nothing."""
    touched = {node for part in circuit.parts for _, node in terminals(part)}
    ends = [(key, entry.node) for key, entry in _inputs(circuit)]
    ends.append(("output", circuit.output))
    for key, node in ends:
        if node in RESERVED_NODES:
            message = f"can't be '{node}', which is a ground for signals"
            yield Fault(message, "name the node it is on", key)
    for key, entry in _inputs(circuit):
        ends.append((key, entry.back))
        if entry.node == entry.back not in RESERVED_NODES:
            message = f"node and back are the same node '{entry.node}'"
            yield Fault(message, "leave back out for ground", key)
    joined = Counter(node for _, node in ends)
    for key, node in ends:
        if node not in touched | {*RESERVED_NODES} and joined[node] == 1:
            message = f"is at node '{node}', which no part touches"
            yield Fault(message, did_you_mean(node, sorted(touched)), key)


def _ground_faults(circuit: Circuit) -> Iterator[Fault]:
    """Yield nodes that hang in the air, and a drawing without any ground."""
    nodes = [(part, node) for part in circuit.parts for _, node in terminals(part)]
    if nodes and not {node for _, node in nodes} & {*RESERVED_NODES}:
        yield Fault("no part touches ground", f"ground is always '{GROUND}'")
    steps, told = next_nodes(circuit), held_nodes(circuit, circuit.parts)
    for part, node in nodes:
        if node not in told:
            told |= reached_nodes(steps, [node])
            message = f"no path leads from node '{node}' to ground or an input"
            yield Fault(message, "", part.ref)


def _source_faults(circuit: Circuit) -> Iterator[Fault]:
    """Yield inputs and op-amp outputs that a wire ties to what holds its own."""
    wires = Groups()
    for pair in pairwise(RESERVED_NODES):
        wires.join(*pair)
    for part in circuit.parts:
        if isinstance(part, Resistor) and part.resistance_ohm == 0:
            wires.join(*part.across)
    holders = [(GROUND, "ground")]
    for key, entry in _inputs(circuit):
        holders.append((entry.node, f"the input at '{entry.node}'"))
        if wires.are_joined(entry.node, entry.back):
            yield Fault("a part of 0 ohm shorts it", "", key)
    for op_amp in op_amps(circuit):
        for node, word in holders:
            if wires.are_joined(node, op_amp.out):
                message = f"its output at '{op_amp.out}' is tied to {word}"
                yield Fault(message, "two sources can't hold one node", op_amp.ref)
        holders.append((op_amp.out, f"the output of {op_amp.ref}"))


def _feedback_faults(circuit: Circuit) -> Iterator[Fault]:
    """Yield op-amps whose output doesn't lead back to their minus input."""
    passive, every = next_nodes(circuit, with_active=False), next_nodes(circuit)
    for node in input_nodes(circuit):  # an input holds its own: feedback ends there
        passive.pop(node, None)
        every.pop(node, None)
    for op_amp in op_amps(circuit):
        near = reached_nodes(passive, [op_amp.out])
        far = reached_nodes(every, [op_amp.out])
        if op_amp.minus in far:
            continue
        if op_amp.plus in near:
            message = "its output leads back to plus and not to minus"
            yield Fault(message, "are its inputs swapped?", op_amp.ref)
        elif op_amp.plus not in far:  # another op-amp on the way may turn the sign
            message = "it has no feedback: nothing leads from its output to minus"
            yield Fault(message, "its output would stick at a rail", op_amp.ref)


def _output_faults(circuit: Circuit) -> Iterator[Fault]:
    if circuit.output not in reached_nodes(next_nodes(circuit), input_nodes(circuit)):
        message = f"nothing leads from an input to node '{circuit.output}'"
        yield Fault(message, "", "output")


def _dc_remarks(circuit: Circuit) -> tuple[tuple[Fault, ...], tuple[Fault, ...]]:
    """Return warnings and notes about nodes without a path for direct current."""
    conducting = [part for part in circuit.parts if not isinstance(part, Capacitor)]
    told = held_nodes(circuit, conducting)
    warnings, notes = [], []
    for op_amp in op_amps(circuit):
        for word, node in (("plus", op_amp.plus), ("minus", op_amp.minus)):
            if node not in told:
                told.add(node)
                message = f"{word}, at node '{node}', has no path for its bias current"
                hint = "join it to bias through a resistor"
                warnings.append(Fault(message, hint, op_amp.ref))
    for part in circuit.parts:
        for _, node in terminals(part):
            if node not in told:
                told.add(node)
                message = f"node '{node}' has no path for direct current"
                notes.append(Fault(message, "", part.ref))
    return tuple(warnings), tuple(notes)


# -- words -----------------------------------------------------------------------------


def node_sentences(circuit: Circuit) -> tuple[str, ...]:
    """Return a sentence for each node: what is joined there.

    Inputs come first, then nodes in the order of the drawing, and grounds last.

    Examples
    --------
    >>> from tonebench.circuit.circuit import Input
    >>> parts = (Resistor("R1", ("in", "b"), 1e3), Capacitor("C1", ("b", "gnd"), 1e-9))
    >>> node_sentences(Circuit("rc", "Low-pass", (Input("in", "in"),), "b", parts))
    ('in: input, R1', 'b: output, R1, C1', 'gnd: C1')
    """
    ends: dict[str, list[str]] = {}
    for entry in circuit.inputs:
        word = "input" if len(circuit.inputs) == 1 else f"input {entry.name}"
        ends.setdefault(entry.node, []).append(word)
        if entry.back != GROUND:
            ends.setdefault(entry.back, []).append(f"back of {word}")
    joined: dict[str, list[str]] = {node: [] for node in ends}
    for part in circuit.parts:
        for word, node in terminals(part):
            joined.setdefault(node, []).append(f"{part.ref} {word}".rstrip())
    ends.setdefault(circuit.output, []).append("output")
    joined.setdefault(circuit.output, [])
    order = sorted(joined, key=lambda node: node in RESERVED_NODES)  # keeps the rest
    return tuple(
        f"{node}: {', '.join([*ends.get(node, []), *joined[node]])}" for node in order
    )
