# SPDX-License-Identifier: GPL-3.0-or-later
"""Ways along the lines of a drawing: which nodes are joined, held, or reached.

Knows which terminals conduct, nothing of values; a switch is closed at every position
at once unless it is said where it stands.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from itertools import pairwise

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.parts import (
    GROUND,
    RESERVED_NODES,
    Capacitor,
    OpAmp,
    Pair,
    Part,
    Pot,
    Switch,
    Transconductor,
    terminals,
)


class Groups:
    """Names that are joined into groups (union-find)."""

    def __init__(self) -> None:
        self._next: dict[str, str] = {}

    def root(self, name: str) -> str:
        """Return the name that stands for the whole group of `name`."""
        while (above := self._next.get(name, name)) != name:
            self._next[name] = self._next.get(above, above)  # halves the way
            name = above
        return name

    def join(self, one: str, other: str) -> bool:
        """Join two groups; return False if they were one already."""
        one, other = self.root(one), self.root(other)
        self._next[one] = other
        return one != other

    def are_joined(self, one: str, other: str) -> bool:
        """Return whether two names are in one group."""
        return self.root(one) == self.root(other)


def op_amps(circuit: Circuit) -> tuple[OpAmp, ...]:
    """Return the op-amps of a circuit."""
    return tuple(part for part in circuit.parts if isinstance(part, OpAmp))


def input_nodes(circuit: Circuit) -> tuple[str, ...]:
    """Return the nodes between which sources are connected, grounds left out."""
    nodes = (node for entry in circuit.inputs for node in (entry.node, entry.back))
    return tuple(node for node in nodes if node not in RESERVED_NODES)


def links(part: Part, thrown: Mapping[str, str] | None = None) -> Iterator[Pair]:
    """Yield the pairs of nodes between which a current can flow through a part.

    `thrown` says where switches stand; the others are closed at every position.
    """
    match part:
        case Pot():
            yield from ((part.wiper, end) for end in part.ends)
            if part.tap is not None:
                yield part.wiper, part.tap
        case Switch():
            for position, nodes in part.throws:
                if (thrown or {}).get(part.switch, position) == position:
                    yield from ((part.common, node) for node in nodes)
        case OpAmp() | Transconductor():
            pass
        case _:
            yield part.across


def held_nodes(circuit: Circuit, parts: Iterable[Part]) -> set[str]:
    """Return the nodes with a path through `parts` to ground, an input or an op-amp.

    A node counts if it has one at any position of any switch, the others closed.
    """
    turns: list[dict[str, str]] = [
        {switch.name: position}
        for switch in circuit.switches
        for position in switch.positions
    ]
    sources = [*pairwise(RESERVED_NODES)]
    sources += [(GROUND, op_amp.out) for op_amp in op_amps(circuit)]
    sources += [(entry.back, entry.node) for entry in circuit.inputs]
    nodes = {node for part in circuit.parts for _, node in terminals(part)}
    parts, held = tuple(parts), set()
    for thrown in turns or [{}]:
        groups = Groups()
        for pair in sources:
            groups.join(*pair)
        for part in parts:
            for pair in links(part, thrown):
                groups.join(*pair)
        held |= {node for node in nodes if groups.are_joined(node, GROUND)}
    return held


def next_nodes(circuit: Circuit, with_active: bool = True) -> dict[str, set[str]]:
    """Return where a signal gets to from each node in one step.

    Both ways through what conducts, one way through op-amps and transconductors; never
    into ground, nor from outside into an op-amp's output, since both hold their own.
    """
    fixed = {*RESERVED_NODES, *(op_amp.out for op_amp in op_amps(circuit))}
    steps: defaultdict[str, set[str]] = defaultdict(set)
    for part in circuit.parts:
        for one, other in links(part):
            steps[one] |= {other} - fixed
            steps[other] |= {one} - fixed
        match part:
            case OpAmp() if with_active:
                steps[part.plus].add(part.out)
                steps[part.minus].add(part.out)
            case Transconductor() if with_active:
                for node in part.control:
                    steps[node] |= {*part.into} - fixed
    return steps


def reached_nodes(steps: Mapping[str, set[str]], starts: Iterable[str]) -> set[str]:
    """Return all nodes that a signal gets to from `starts`, themselves included."""
    ahead = list(starts)
    reached = set(ahead)
    while ahead:
        new = steps.get(ahead.pop(), set()) - reached
        reached |= new
        ahead += new
    return reached


def resting_places(circuit: Circuit, node: str) -> set[str]:
    """Return the nodes that a node gets its resting voltage from, switches closed.

    They are grounds, outputs of op-amps, and nodes that a transconductor's current
    enters. What comes in at an input counts as having no direct current of its own.
    """
    fixed = {*RESERVED_NODES, *(op_amp.out for op_amp in op_amps(circuit))}
    for part in circuit.parts:
        if isinstance(part, Transconductor):
            fixed |= {*part.into}
    steps: defaultdict[str, set[str]] = defaultdict(set)
    for part in circuit.parts:
        if not isinstance(part, Capacitor):
            for one, other in links(part):
                steps[one].add(other)
                steps[other].add(one)
    for held in fixed:  # a path ends there
        steps.pop(held, None)
    return reached_nodes(steps, [node]) & fixed
