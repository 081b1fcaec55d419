# SPDX-License-Identifier: GPL-3.0-or-later
"""What can be said of a drawing by following its lines, before anything is solved.

Finds loose nodes, op-amps without feedback, outputs that nothing leads to and nodes
without a DC path, and says each node as a builder proves a build against paper. Knows
nothing of values, except that 0 ohm is a wire.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.node_names import (
    ground_name_faults,
    kept_node_meant,
    loose_node_faults,
    named_inputs,
    outer_nodes,
)
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
    resting_places,
)
from tonebench.circuit.wording import did_you_mean
from tonebench.errors import Fault


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
    touches = [
        (part.ref, node) for part in circuit.parts for _, node in terminals(part)
    ]
    ends = outer_nodes(circuit.inputs, circuit.output)
    faults += ground_name_faults((*touches, *ends))
    faults += loose_node_faults(touches, (node for _, node in ends))
    faults += _end_faults(circuit)
    if faults:
        return Remarks(tuple(faults))
    faults += [*_ground_faults(circuit), *_source_faults(circuit)]
    faults += [*_feedback_faults(circuit), *_output_faults(circuit)]
    if faults:
        return Remarks(tuple(faults))
    warnings, notes = _dc_remarks(circuit)
    return Remarks((), (*_rest_warnings(circuit), *warnings), notes)


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


# -- the whole drawing -----------------------------------------------------------------


def _end_faults(circuit: Circuit) -> Iterator[Fault]:
    """Yield inputs and outputs that are on ground, or joined to nothing."""
    touched = {node for part in circuit.parts for _, node in terminals(part)}
    ends = [(key, entry.node) for key, entry in named_inputs(circuit.inputs)]
    ends.append(("output", circuit.output))
    for key, node in ends:
        if node in RESERVED_NODES:
            message = f"can't be '{node}', which is a ground for signals"
            yield Fault(message, "name the node it is on", key)
    for key, entry in named_inputs(circuit.inputs):
        ends.append((key, entry.back))
        if entry.node == entry.back not in RESERVED_NODES:
            message = f"node and back are the same node '{entry.node}'"
            yield Fault(message, "leave back out for ground", key)
    joined = Counter(node for _, node in ends)
    for key, node in ends:
        if node in touched | {*RESERVED_NODES} or joined[node] > 1:
            continue
        if not kept_node_meant(node):  # told elsewhere
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
    for key, entry in named_inputs(circuit.inputs):
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


def _rest_warnings(circuit: Circuit) -> Iterator[Fault]:
    """Yield op-amps on a single supply whose plus input rests at its lower end."""
    if circuit.supply is None or circuit.supply.bias_volts == 0:
        return  # what is drawn as ground stands in the middle of the supply
    for op_amp in op_amps(circuit):
        if resting_places(circuit, op_amp.plus) == {GROUND}:
            message = "plus rests at 0 V, the supply's lower end"
            yield Fault(message, "meant 'bias'?", op_amp.ref)


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
