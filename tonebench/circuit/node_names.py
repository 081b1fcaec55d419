# SPDX-License-Identifier: GPL-3.0-or-later
"""What can be said of the names of nodes alone: loose ones, and other names for ground.

Works on designators and names, so that it serves drawings that could not be read whole;
knows nothing of what lies between two nodes.
"""

from collections.abc import Iterable, Iterator

from tonebench.circuit.circuit import Input
from tonebench.circuit.parts import GROUND, RESERVED_NODES
from tonebench.circuit.wording import did_you_mean
from tonebench.errors import Fault

#: What ground is called on drawings, some in other languages, and how it is mistyped.
_OTHER_GROUNDS = (
    *("0", "0v", "ground", "grd", "grnd", "gdn", "earth", "agnd", "sgnd", "pgnd"),
    *("vss", "vee", "mass", "masse", "massa", "masa", "erde", "terre", "terra", "jord"),
)
#: Names that look like a kept one, and what they are here; spelled without capitals.
_LOOKALIKES = {node: node for node in RESERVED_NODES} | dict.fromkeys(
    _OTHER_GROUNDS, GROUND
)


def kept_node_meant(node: str) -> str:
    """Return the kept node that a name looks like but is not, or nothing.

    Examples
    --------
    >>> kept_node_meant("GND"), kept_node_meant("gnd"), kept_node_meant("a")
    ('gnd', '', '')
    """
    return "" if node in RESERVED_NODES else _LOOKALIKES.get(node.casefold(), "")


def named_inputs(inputs: tuple[Input, ...]) -> list[tuple[str, Input]]:
    """Return inputs, each with its key in a circuit file."""
    if len(inputs) == 1:
        return [("input", inputs[0])]
    return [(f"inputs.{entry.name}", entry) for entry in inputs]


def outer_nodes(inputs: tuple[Input, ...], output: str) -> list[tuple[str, str]]:
    """Return key and node for each end of a circuit, as a circuit file names them."""
    ends = [
        (key, node)
        for key, entry in named_inputs(inputs)
        for node in (entry.node, entry.back)
    ]
    return [*ends, ("output", output)]


def ground_name_faults(touches: Iterable[tuple[str, str]]) -> Iterator[Fault]:
    """Yield each node that is called like ground, the bias or the rail, but is not it.

    Parameters
    ----------
    touches : iterable of (str, str)
        What joins a node (a designator, or the key of an input or the output), and the
        node. The first to join a node is told.
    """
    first: dict[str, str] = {}
    for ref, node in touches:
        first.setdefault(node, ref)
    for node, ref in first.items():
        if meant := kept_node_meant(node):
            message = f"joins node '{node}', which is a node like any other"
            yield Fault(message, f"did you mean '{meant}'?", ref)


def loose_node_faults(
    touches: Iterable[tuple[str, str]], ends: Iterable[str]
) -> Iterator[Fault]:
    """Yield nodes that only one part touches, unless they are called like ground.

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
        if len(refs) == 1 and node not in known and not kept_node_meant(node):
            others = sorted((known | parts_at.keys()) - {node})
            hint = did_you_mean(node, others) or "a node joins two parts or more"
            message = f"joins node '{node}', which nothing else touches"
            yield Fault(message, hint, refs[0])
