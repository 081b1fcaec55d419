# SPDX-License-Identifier: GPL-3.0-or-later
"""Circuit and pickup files: read whole, with all their faults reported together.

Physics is no part of it: a circuit that reads well may still be silent.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from tonebench.circuit.circuit import STRAIGHT, Circuit
from tonebench.circuit.circuit_reader import make_circuit, read_inputs
from tonebench.circuit.drawing import Remarks, look_over, wiring_faults
from tonebench.circuit.hookup import Pickup, Piezo
from tonebench.circuit.node_names import (
    ground_name_faults,
    loose_node_faults,
    outer_nodes,
)
from tonebench.circuit.part_reader import NODE_KEYS, read_part
from tonebench.circuit.parts import terminals
from tonebench.circuit.plausible import doubt
from tonebench.circuit.tables import Findings, Table, in_order, is_of_this_schema
from tonebench.circuit.toml_lines import TomlText, parse_toml, read_text
from tonebench.errors import Fault, FileFaults
from tonebench.shipped import find


@dataclass(frozen=True, slots=True)
class Inspection:
    """A circuit file as it was read; `circuit` is None if there are faults.

    Faults, warnings (likely a slip) and notes (worth knowing) are in order of lines.
    """

    circuit: Circuit | None
    faults: tuple[Fault, ...] = ()
    warnings: tuple[Fault, ...] = ()
    notes: tuple[Fault, ...] = ()


def read_circuit(name_or_path: str | Path) -> Circuit:
    """Read a circuit file.

    Parameters
    ----------
    name_or_path : str or Path
        A path, the name of a shipped circuit, or ``straight`` for the built-in one.

    Raises
    ------
    FileFaults
        With all faults of the file together.
    InputError
        If there is no such file, or nothing in it.
    """
    inspection = inspect_circuit(name_or_path)
    if inspection.circuit is None:
        raise FileFaults(inspection.faults)
    if not inspection.warnings:
        return inspection.circuit
    doubts = tuple(str(warning) for warning in inspection.warnings)
    return replace(inspection.circuit, doubts=doubts)


#: The same by another name, for what may stand in a chain: ``straight`` often does.
read_chainable = read_circuit


def inspect_circuit(name_or_path: str | Path) -> Inspection:
    """Read a circuit file with everything that is to be said about it.

    Raises
    ------
    InputError
        If there is no such file, or no text in it.
    """
    if name_or_path == STRAIGHT.name:
        return Inspection(STRAIGHT)
    path = find(name_or_path, "circuit")
    return inspect_text(read_text(path), str(path), path.stem)


def inspect_text(text: str, file: str = "", name: str = "circuit") -> Inspection:
    """Read a circuit from a text, as `inspect_circuit` does from a file.

    `file` is the name that faults carry, `name` what the circuit will be called.
    """
    try:
        source = parse_toml(text, file)
    except FileFaults as error:
        return Inspection(None, error.faults)
    findings = Findings(source)
    table = Table(findings)
    if not is_of_this_schema(table):
        return Inspection(None, tuple(findings.faults))
    circuit = table.build(lambda table: make_circuit(table, name))
    remarks = look_over(circuit) if circuit else _look_over_broken(source)
    faults = (*findings.faults, *_placed(remarks.faults, source))
    return Inspection(
        None if faults else circuit,
        in_order(faults),
        in_order((*findings.warnings, *_placed(remarks.warnings, source))),
        in_order(_placed(remarks.notes, source)),
    )


def _placed(faults: Iterable[Fault], source: TomlText) -> Iterator[Fault]:
    """Yield what was found in a drawing, with the line where it stands in the file."""
    for fault in faults:
        words = fault.part.split(".")
        keys = (("parts", fault.part), (*words,), (f"{words[0]}s",))
        lines = (source.lines.get(key) for key in keys)
        line = next((line for line in lines if line), None)
        yield replace(fault, line=line, file=source.file)


def _look_over_broken(source: TomlText) -> Remarks:
    """Return the faults in the drawing of a file that could not be read whole.

    Reads its parts again, and forgets what was wrong with them: that is noted already.
    Every text in a broken part counts as a node that it touches.
    """
    table = Table(Findings(source))
    ends = outer_nodes(read_inputs(table), table.node("output"))
    ends_are_known = table.is_sound
    faults: list[Fault] = []
    touches: list[tuple[str, str]] = []
    written: list[tuple[str, str]] = []
    known = {node for _, node in ends}
    for part_table in table.each("parts"):
        for key in NODE_KEYS:
            nodes = _texts(part_table.data.get(key))
            written += ((part_table.name, node) for node in nodes)
        if part := read_part(part_table):
            faults += wiring_faults(part)
            touches += ((part.ref, node) for _, node in terminals(part))
        else:
            known |= {*_texts(part_table.data)}
    faults += ground_name_faults((*written, *ends))
    if ends_are_known:
        faults += loose_node_faults(touches, known)
    return Remarks(tuple(faults))


def _texts(value: object) -> Iterator[str]:
    match value:
        case str() | int():  # a node written as a number is a fault, and noted
            yield str(value)
        case dict():
            yield from (text for inner in value.values() for text in _texts(inner))
        case list():
            yield from (text for inner in value for text in _texts(inner))


# -- pickups ---------------------------------------------------------------------------


def read_pickup(name_or_path: str | Path) -> Pickup | Piezo:
    """Read a pickup file.

    Parameters
    ----------
    name_or_path : str or Path
        A path, or the name of a shipped pickup.

    Raises
    ------
    FileFaults
        With all faults of the file together. A value that is hardly a pickup's is one.
    InputError
        If there is no such file, or nothing in it.
    """
    path = find(name_or_path, "pickup")
    findings = Findings(parse_toml(read_text(path), str(path)))
    table = Table(findings)
    pickup = None
    if is_of_this_schema(table):
        pickup = table.build(lambda table: _pickup(table, path.stem))
    if pickup is None:
        raise FileFaults(in_order(findings.faults))
    return pickup


def _pickup(table: Table, name: str) -> Pickup | Piezo | None:
    title = table.text("title", name)
    table.text("about", "")
    coil, piezo = table.inside("pickup"), table.inside("piezo")
    if coil and piezo:
        table.fault("pickup and piezo are both there", "keep one of them", "piezo")
    elif coil:
        return coil.build(lambda table: _coil(table, name, title))
    elif piezo:
        return piezo.build(
            lambda table: Piezo(name, _positive(table, "capacitance", "F"), title)
        )
    elif table.is_sound:
        table.fault("there is no pickup", "write its values under [pickup] or [piezo]")
    return None


def _coil(table: Table, name: str, title: str) -> Pickup:
    return Pickup(
        name,
        resistance_ohm=_positive(table, "resistance", "Ω"),
        inductance_henry=_positive(table, "inductance", "H"),
        capacitance_farad=_positive(table, "capacitance", "F"),
        losses_ohm=_positive(table, "losses", "Ω") if "losses" in table else None,
        title=title,
    )


_LIKE_PART = {"Ω": "resistor", "H": "inductor", "F": "capacitance"}


def _positive(table: Table, key: str, unit: str) -> float:
    value = table.quantity(key, unit)
    if value <= 0:
        table.fault(f"{key} must be above 0, got {value:g}", key=key)
    elif found := doubt(_LIKE_PART[unit], table.data.get(key, ""), value):
        table.fault(f"{key}: {found[0]}", found[1], key)
    return value
