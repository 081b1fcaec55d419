# SPDX-License-Identifier: GPL-3.0-or-later
"""The echo of a file: each part, node and control of it, and its first figures."""

import json
from typing import Any

from commands import LOW_PASS, MIXER, VOLUME

from tonebench.circuit.files import inspect_circuit, inspect_text
from tonebench.report.echo import echo_json, echo_words
from tonebench.study.notes import circuit_notes


def words(text: str) -> list[str]:
    inspection = inspect_text(text, name="mine")
    assert inspection.circuit
    notes = circuit_notes(inspection.circuit)
    return echo_words(inspection, inspection.circuit, notes).splitlines()


def values(text: str) -> dict[str, Any]:
    inspection = inspect_text(text, name="mine")
    assert inspection.circuit
    made = echo_json(inspection, inspection.circuit, circuit_notes(inspection.circuit))
    back = json.loads(json.dumps(made, allow_nan=False))
    assert isinstance(back, dict)
    return back


def test_every_node_is_said_with_what_it_joins() -> None:
    lines = words(VOLUME)
    for line in ("in: input, R1", "a: R1, P1 end at 10", "out: output, P1 wiper"):
        assert f"  {line}" in lines
    assert "  gnd: P1 end at 0" in lines
    assert lines[0] == "mine (mine)"
    assert "stands on the floor" in lines[1]


def test_the_first_figures_are_those_of_the_formula() -> None:
    """A low-pass at 1591.5 Hz: −0.4 dB at 500 Hz, and DC passes."""
    assert "  −0.4 dB at 500 Hz; at DC 0.0 dB" in words(LOW_PASS)
    told = values(LOW_PASS)
    assert abs(told["gain_db_at_500_hz"]["in"] + 0.409) < 0.001
    assert abs(told["dc_gain_db"]["in"]) < 0.001
    assert told["order"] == 1
    assert told["parts"] == 2
    assert told["inverts"] == {"in": False}


def test_inputs_are_told_one_by_one() -> None:
    lines = words(MIXER)
    assert any(line.startswith("  from left: −9.5 dB at 500 Hz") for line in lines)
    assert any(line.startswith("  from right: −9.5 dB at 500 Hz") for line in lines)


def test_blocked_and_silent_are_null_for_programs_and_words_for_people() -> None:
    blocked = LOW_PASS.replace('C1 = { capacitor = "10n", across = ["out", "gnd"] }',
        'C1 = { capacitor = "10n", across = ["out", "o"] }\n'
        'R2 = { resistor = "1M", across = ["o", "gnd"] }').replace(
        'output = "out"', 'output = "o"')  # fmt: skip
    assert values(blocked)["dc_gain_db"] == {"in": None}
    assert any(line.endswith("at DC blocked") for line in words(blocked))
    silent = VOLUME.replace("start = 10", "start = 0")
    assert values(silent)["gain_db_at_500_hz"] == {"in": None}
    assert any("silent" in line for line in words(silent))


def test_warnings_and_notes_are_told_with_their_lines() -> None:
    doubtful = LOW_PASS.replace('"10n"', '".047"')
    (warning,) = values(doubtful)["warnings"]
    assert warning["part"] == "C1"
    assert warning["line"] == 7
    lines = words(doubtful)
    assert "Warnings" in lines
    assert any("C1" in x for x in lines[lines.index("Warnings") :])


def test_shipped_circuits_are_echoed_whole() -> None:
    inspection = inspect_circuit("plover")
    assert inspection.circuit
    text = echo_words(inspection, inspection.circuit, circuit_notes(inspection.circuit))
    for part in inspection.circuit.parts:
        assert f"{part.ref}" in text
    for control in inspection.circuit.controls:
        assert f"  {control.name}" in text
