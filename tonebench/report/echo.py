# SPDX-License-Identifier: GPL-3.0-or-later
"""The echo of a good circuit file, so that a builder can prove it against the paper."""

import math
from typing import Any

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.drawing import node_sentences
from tonebench.circuit.files import Inspection
from tonebench.errors import Fault
from tonebench.study.notes import CircuitNotes
from tonebench.units import format_db


def echo_words(inspection: Inspection, circuit: Circuit, notes: CircuitNotes) -> str:
    """Return the lines that ``check`` prints for a file without faults."""
    lines = [circuit.full_title]
    counts = f"{len(circuit.parts)} parts, order {notes.order}"
    lines += [f"{counts}, stands {_PLACE[circuit.place]}", "", "Nodes"]
    lines += [f"  {sentence}" for sentence in node_sentences(circuit)]
    lines += ["", "Where the controls start"]
    for name in notes.dc_gain_db:
        head = f"  from {name}: " if len(notes.dc_gain_db) > 1 else "  "
        dc_db = notes.dc_gain_db[name]
        dc = "blocked" if math.isinf(dc_db) else format_db(dc_db)
        turned = ", polarity turned" if notes.inverts[name] else ""
        middle = format_db(notes.middle_gain_db[name])
        lines.append(f"{head}{middle} at 500 Hz{turned}; at DC {dc}")
    if circuit.knobs:
        flat = notes.flat_within_db
        lines.append(f"  all knobs at 5: flat within {flat:.2f} dB, 20 Hz to 20 kHz")
        lines += ["", "Each knob alone, against where it starts"]
        lines += [f"  {knob}" for knob in notes.ranges]
    for head, remarks in (
        ("Warnings", (*inspection.warnings, *notes.warnings)),
        ("Notes", inspection.notes),
    ):
        if remarks:
            lines += ["", head, *(f"  {remark}" for remark in remarks)]
    return "\n".join(lines)


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
            knob.knob: {
                "least_db": _number(knob.least_db),
                "least_hz": knob.least_hz,
                "most_db": _number(knob.most_db),
                "most_hz": knob.most_hz,
            }
            for knob in notes.ranges
        },
        "warnings": [_remark(r) for r in (*inspection.warnings, *notes.warnings)],
        "notes": [_remark(r) for r in inspection.notes],
    }


def _number(value: float) -> float | None:
    return value if math.isfinite(value) and value > -200 else None


def _remark(fault: Fault) -> dict[str, Any]:
    return {
        "file": fault.file,
        "line": fault.line,
        "part": fault.part,
        "message": fault.message,
        "hint": fault.hint,
    }
