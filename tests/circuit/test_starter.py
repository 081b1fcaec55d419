# SPDX-License-Identifier: GPL-3.0-or-later
"""The starter circuit reads without a remark, and explains itself."""

import re

import pytest

from tonebench.circuit.circuit import Circuit, Input
from tonebench.circuit.files import inspect_text
from tonebench.circuit.part_reader import GENERIC_OPAMP
from tonebench.circuit.parts import Inductor, OpAmp, Switch, VariableResistor
from tonebench.circuit.starter import STARTER

#: A comment that is a line of the format, to be used by taking its "# " away.
MARKED = re.compile(r"# (\[[\w.]+\]|(\w+) = .*)")
MARKED_LINES = [line for line in STARTER.splitlines() if MARKED.fullmatch(line)]


def with_lines(*wanted: str) -> Circuit:
    """Return the starter with some marked lines in use, in place of those they replace.

    Each of `wanted` is the start of marked lines. [inputs] takes the place of input.
    """
    used = [line for line in MARKED_LINES if line[2:].startswith(wanted)]
    assert used
    names = {line[2:].split(" = ")[0] for line in used if line[2] != "["}
    if any(line.startswith("# [inputs.") for line in used):
        names.add("input")
    lines = []
    for line in STARTER.splitlines():
        if line in used:
            lines.append(line[2:])
        elif line.split(" = ")[0] not in names:
            lines.append(line)
    inspection = inspect_text("\n".join(lines))
    assert inspection.faults == inspection.warnings == inspection.notes == ()
    assert inspection.circuit
    return inspection.circuit


IN_TWO_WAYS = ('U1 = { opamp = "generic"', 'U1 = { opamp = "ideal"')
GROUPS = {
    "place": ("place",),
    "inductor": ("L1",),
    "taper": ("P1",),
    "generic op-amp": IN_TWO_WAYS[:1],
    "ideal op-amp": IN_TWO_WAYS[1:],
    "switch": ("S1", "[switches.dark]", "positions"),
    "inputs": ("C4", "[inputs.", "node"),
}


def test_the_starter_reads_without_a_remark() -> None:
    inspection = inspect_text(STARTER)
    assert inspection.circuit
    assert inspection.faults == inspection.warnings == inspection.notes == ()


def test_the_starter_has_two_knobs_and_an_op_amp_stage() -> None:
    circuit = inspect_text(STARTER, name="mine").circuit
    assert circuit
    assert circuit.name == "mine"
    assert [knob.name for knob in circuit.knobs] == ["treble", "level"]
    assert circuit.supply
    assert circuit.supply.bias_volts == 4.5


def test_the_starter_warns_of_mains_power_and_of_loud_sounds() -> None:
    comments = "\n".join(line for line in STARTER.split("\n") if line.startswith("#"))
    for caution in (
        "battery circuits only",
        "mains",
        "before you solder",
        "low volume",
    ):
        assert caution in comments.replace("\n# ", " ")


def test_every_key_and_part_of_the_starter_is_explained() -> None:
    explained = False
    for line in STARTER.splitlines():
        explained = line != "" and (explained or "#" in line or line[0] == "[")
        assert explained or line == "", line


def test_the_lines_of_the_starter_fit_a_narrow_window() -> None:
    assert max(map(len, STARTER.splitlines())) <= 88


# -- more parts ------------------------------------------------------------------------


@pytest.mark.parametrize("wanted", GROUPS.values(), ids=GROUPS)
def test_each_further_part_reads_without_a_remark(wanted: tuple[str, ...]) -> None:
    assert with_lines(*wanted) != inspect_text(STARTER).circuit


@pytest.mark.parametrize("op_amp", IN_TWO_WAYS)
def test_all_further_parts_together_read_without_a_remark(op_amp: str) -> None:
    others = (wanted for group in GROUPS.values() for wanted in group)
    circuit = with_lines(*(w for w in others if w not in IN_TWO_WAYS), op_amp)
    parts = {part.ref: part for part in circuit.parts}
    assert isinstance(parts["L1"], Inductor)
    assert isinstance(parts["S1"], Switch)
    assert isinstance(parts["P1"], VariableResistor)
    assert parts["P1"].taper.points == ((0, 0), (5, 1), (10, 1))
    assert isinstance(parts["U1"], OpAmp)
    assert parts["U1"].is_ideal == ("ideal" in op_amp)
    assert circuit.switches[0].positions == ("off", "on")
    assert circuit.inputs == (Input("neck", "in"), Input("bridge", "in2"))
    assert circuit.place == "onboard"


def test_every_marked_line_belongs_to_a_further_part() -> None:
    starts = tuple(wanted for group in GROUPS.values() for wanted in group)
    assert [line for line in MARKED_LINES if not line[2:].startswith(starts)] == []


def test_the_starter_says_what_a_generic_op_amp_is() -> None:
    for key, value in GENERIC_OPAMP.items():
        if key != "current_noise":
            assert re.search(rf'{key} = "?{re.escape(value)}"? ?[,(]', STARTER), key
