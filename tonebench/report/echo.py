# SPDX-License-Identifier: GPL-3.0-or-later
"""The echo of a good circuit file, so that a builder can prove it against the paper."""

import math
from typing import Any

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.controls import Control, Knob
from tonebench.circuit.drawing import node_sentences
from tonebench.circuit.files import Inspection
from tonebench.circuit.parts import value_words
from tonebench.errors import Fault
from tonebench.study.notes import SILENT_DB, CircuitNotes, KnobEnd
from tonebench.units import format_db, format_position


def echo_words(inspection: Inspection, circuit: Circuit, notes: CircuitNotes) -> str:
    """Return the lines that ``check`` prints for a file without faults."""
    lines = [circuit.full_title]
    counts = f"{len(circuit.parts)} parts, order {notes.order}"
    lines += [f"{counts}, stands {_PLACE[circuit.place]}"]
    lines += ["", "Parts"]
    lines += [f"  {part.ref}: {value_words(part)}" for part in circuit.parts]
    lines += ["", "Nodes"]
    lines += [f"  {sentence}" for sentence in node_sentences(circuit)]
    if circuit.controls:
        lines += ["", "Controls"]
        lines += [f"  {_control_words(control)}" for control in circuit.controls]
    lines += ["", "Where the controls start"]
    for name in notes.dc_gain_db:
        head = f"  from {name}: " if len(notes.dc_gain_db) > 1 else "  "
        lines.append(f"{head}{_gain_words(notes, name)}")
    if circuit.knobs:
        flat = notes.flat_within_db
        lines.append(f"  all knobs at 5: flat within {flat:.2f} dB, 20 Hz to 20 kHz")
        lines += ["", "Each knob alone behind a usual coil, against where it starts"]
        lines += [f"  {knob}" for knob in notes.ranges]
    for head, remarks in (
        ("Warnings", (*inspection.warnings, *notes.warnings)),
        ("Notes", inspection.notes),
    ):
        if remarks:
            lines += ["", head, *(f"  {remark}" for remark in remarks)]
    return "\n".join(lines)


def _gain_words(notes: CircuitNotes, name: str) -> str:
    middle_db, dc_db = notes.middle_gain_db[name], notes.dc_gain_db[name]
    if middle_db <= SILENT_DB:
        return "silent; are the ends of a pot swapped?"
    dc = "blocked" if math.isinf(dc_db) else format_db(dc_db)
    turned = ", polarity turned" if notes.inverts[name] else ""
    return f"{format_db(middle_db)} at 500 Hz{turned}; at DC {dc}"


def _control_words(control: Control) -> str:
    if isinstance(control, Knob):
        return f"{control.name}: 0 to 10, starts at {format_position(control.start)}"
    return f"{control.name}: {' | '.join(control.positions)}, starts at {control.start}"


_PLACE = {"floor": "on the floor", "onboard": "inside the instrument"}


def echo_json(
    inspection: Inspection, circuit: Circuit, notes: CircuitNotes
) -> dict[str, Any]:
    """Return the values that ``check --json`` prints for a file without faults."""
    return {
        "schema": 1,
        "circuit": circuit.name,
        "title": circuit.title,
        "place": circuit.place,
        "parts": len(circuit.parts),
        "order": notes.order,
        "nodes": list(node_sentences(circuit)),
        "dc_gain_db": {k: _number(v) for k, v in notes.dc_gain_db.items()},
        "gain_db_at_500_hz": {k: _number(v) for k, v in notes.middle_gain_db.items()},
        "inverts": notes.inverts,
        "flat_within_db": _number(notes.flat_within_db),
        "knobs": {
            knob.knob: {"at_0": _ends(knob.at_0), "at_10": _ends(knob.at_10)}
            for knob in notes.ranges
        },
        "warnings": [_remark(r) for r in (*inspection.warnings, *notes.warnings)],
        "notes": [_remark(r) for r in inspection.notes],
    }


def _ends(ends: tuple[KnobEnd, ...]) -> dict[str, Any]:
    return {
        end.input: {"change_db": _number(end.change_db), "at_hz": end.at_hz}
        for end in ends
    }


def _number(value: float) -> float | None:
    return value if math.isfinite(value) and value > SILENT_DB else None


def _remark(fault: Fault) -> dict[str, Any]:
    return {
        "file": fault.file,
        "line": fault.line,
        "part": fault.part,
        "message": fault.message,
        "hint": fault.hint,
    }
