# SPDX-License-Identifier: GPL-3.0-or-later
"""The starter circuit reads without a remark, and explains itself."""

from tonebench.circuit.files import inspect_text
from tonebench.circuit.starter import STARTER


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
