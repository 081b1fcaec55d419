# SPDX-License-Identifier: GPL-3.0-or-later
"""Every kind of part, with every key, becomes the value it describes."""

import math

import pytest

from tonebench.circuit.part_reader import GENERIC_OPAMP, read_part
from tonebench.circuit.parts import (
    Capacitor,
    Inductor,
    OpAmp,
    Part,
    Pot,
    Resistor,
    Switch,
    Transconductor,
    VariableResistor,
)
from tonebench.circuit.tables import Findings, Table
from tonebench.circuit.tapers import Taper, parse_taper
from tonebench.circuit.toml_lines import parse_toml
from tonebench.units import parse_value

GENERIC = {
    "gbw_hz": 3e6,
    "open_loop_gain": 1e5,
    "noise_v_per_rt_hz": 5e-9,
    "current_noise_a_per_rt_hz": 0.5e-12,
    "short_of_rail_v": 1.5,
}


def read(text: str) -> tuple[Part | None, list[str]]:
    """Return the part of a line, and its faults or warnings as texts."""
    findings = Findings(parse_toml(text))
    (table,) = Table(findings).each("parts")
    part = read_part(table)
    return part, [str(fault) for fault in (*findings.faults, *findings.warnings)]


@pytest.mark.parametrize(
    ("text", "part"),
    [
        (
            'R1 = { resistor = "12k", across = ["in", "a"], tolerance = "1%" }',
            Resistor("R1", ("in", "a"), 12e3, tolerance=0.01),
        ),
        (
            'R1 = { resistor = 4700, across = ["1", "2"] }',
            Resistor("R1", ("1", "2"), 4700.0),
        ),
        ('R1 = { resistor = 0, across = ["a", "b"] }', Resistor("R1", ("a", "b"), 0.0)),
        (
            'C1 = { capacitor = "39n", across = ["a", "b"], tolerance = 0.1 }',
            Capacitor("C1", ("a", "b"), 39e-9, tolerance=0.1),
        ),
        (
            'L1 = { inductor = "0.56H", across = ["b", "c"], winding = "38" }',
            Inductor("L1", ("b", "c"), 0.56, winding_ohm=38.0),
        ),
        (
            'L1 = { inductor = "2.2", across = ["b", "c"], tolerance = "10%" }',
            Inductor("L1", ("b", "c"), 2.2, tolerance=0.1),
        ),
        (
            'P1 = { pot = "100k", taper = "linear", knob = "bass", '
            'ends = ["c", "a"], wiper = "w" }',
            Pot("P1", 1e5, Taper("linear"), "bass", ("c", "a"), "w"),
        ),
        (
            'P1 = { pot = "100k", taper = "audio-10", knob = "bass", '
            'ends = ["c", "a"], wiper = "w", tap = "t", tap_at = 0.5, end = "10", '
            'open_at = 9.5, tolerance = "20%" }',
            Pot(
                "P1",
                1e5,
                parse_taper("audio-10"),
                "bass",
                ("c", "a"),
                "w",
                end_ohm=10.0,
                tap="t",
                tap_at=0.5,
                open_at=9.5,
                tolerance=0.2,
            ),
        ),
        (
            'P2 = { pot = "250k", taper = [[0, 0], [10, 1]], knob = "tone", '
            'across = ["w", "x"], end = 2, open_at = 10 }',
            VariableResistor(
                "P2", 250e3, Taper("table"), "tone", ("w", "x"), 2.0, 10.0
            ),
        ),
        (
            'U1 = { opamp = "generic", plus = "bias", minus = "m", out = "o" }',
            OpAmp("U1", "bias", "m", "o", **GENERIC),
        ),
        (
            'U1 = { opamp = "generic", plus = "bias", minus = "m", out = "o", '
            'gbw = "10MHz", open_loop_gain = "1M", noise = "18n", '
            'current_noise = "0.01p", short_of_rail = 0.05 }',
            OpAmp("U1", "bias", "m", "o", 10e6, 1e6, 18e-9, 1e-14, 0.05),
        ),
        (
            'U2 = { opamp = "ideal", plus = "x", minus = "out", out = "out" }',
            OpAmp("U2", "x", "out", "out"),
        ),
        (
            'U2 = { opamp = "ideal", plus = "x", minus = "out", out = "out", '
            'noise = "5n", current_noise = "1p", short_of_rail = "1V" }',
            OpAmp("U2", "x", "out", "out", math.inf, math.inf, 5e-9, 1e-12, 1.0),
        ),
        (
            'S1 = { switch = "range", common = "p", '
            'throws = { low = "q", high = ["q", "r"], mid = [] } }',
            Switch(
                "S1",
                "range",
                "p",
                (("low", ("q",)), ("high", ("q", "r")), ("mid", ())),
            ),
        ),
        (
            'G1 = { transconductor = "2m", control = ["g", "s"], into = ["d", "s"] }',
            Transconductor("G1", 2e-3, ("g", "s"), ("d", "s")),
        ),
        (
            'G1 = { transconductor = "-2mS", control = ["g", "s"], into = ["d", "s"] }',
            Transconductor("G1", -2e-3, ("g", "s"), ("d", "s")),
        ),
    ],
)
def test_a_line_becomes_the_part_it_describes(text: str, part: Part) -> None:
    assert read(f"[parts]\n{text}") == (part, [])


def test_a_part_may_have_a_table_of_its_own() -> None:
    text = '[parts.R1]\nresistor = "12k"\nacross = ["in", "a"]'
    assert read(text) == (Resistor("R1", ("in", "a"), 12e3), [])


def test_a_generic_op_amp_is_what_the_format_says() -> None:
    # The defaults that the file format documents.
    documented = {
        "gbw": "3M",
        "open_loop_gain": "100k",
        "noise": "5n",
        "current_noise": "0.5p",
        "short_of_rail": "1.5",
    }
    assert {key: parse_value(text) for key, text in GENERIC_OPAMP.items()} == {
        key: parse_value(text) for key, text in documented.items()
    }


def test_all_that_is_wrong_with_a_part_is_told_at_once() -> None:
    part, said = read(
        '[parts]\nP1 = { pot = "A5k", taper = "C", ends = ["a", 5], tap = "t", x = 1 }'
    )
    assert part is None
    assert [text.partition("P1: ")[2].partition(";")[0] for text in said] == [
        "pot: cannot read 'A5k' as a component value",
        "taper 'C' is not known",
        "knob is missing",
        "ends: a node is a name in quotes, got 5",
        "wiper is missing",
        "unknown key 'x'",
    ]


def test_a_wrong_key_does_not_bring_up_its_stand_in() -> None:
    part, said = read('[parts]\nR1 = { resistor = "k", across = ["a", "b"] }')
    assert part is None
    assert len(said) == 1


def test_a_code_as_printed_on_a_capacitor_is_read_with_a_warning() -> None:
    part, said = read('[parts]\nC1 = { capacitor = 333, across = ["a", "b"] }')
    assert part == Capacitor("C1", ("a", "b"), 333.0)
    assert said == [":2: C1: 333 is 333 F; meant 33n, as the code 333 on a part says?"]


def test_a_doubtful_value_is_read_with_a_warning() -> None:
    part, said = read('[parts]\nC1 = { capacitor = ".047", across = ["a", "b"] }')
    assert part == Capacitor("C1", ("a", "b"), 0.047)
    assert said == [":2: C1: .047 is 0.047 F; meant 47n?"]


# -- what is called otherwise in the trade ---------------------------------------------


def fault_of(line: str) -> str:
    part, (said,) = read(f"[parts]\n{line}")
    assert part is None
    return said.partition(": ")[2].partition(": ")[2]


@pytest.mark.parametrize(
    ("written", "hint"),
    # Common practice, no source.
    [
        ("log", "write audio, the taper for volume"),
        ("Logarithmic", "write audio, the taper for volume"),
        ("lin", "write linear, the taper of even steps"),
        ("LIN", "write linear, the taper of even steps"),
        ("antilog", "write reverse-audio, the audio taper turned round"),
        ("anti-log", "write reverse-audio, the audio taper turned round"),
        ("reverse-log", "write reverse-audio, the audio taper turned round"),
        ("reverse log", "write reverse-audio, the audio taper turned round"),
        ("Audio", "did you mean 'audio'?"),
        ("reverse_audio", "did you mean 'reverse-audio'?"),
        *(
            (
                letter,
                f"letters differ by region, though {letter[-1]} is often {usual}; "
                "write linear, audio or reverse-audio",
            )
            for letter, usual in (
                ("A", "audio"),
                ("B", "linear"),
                ("C", "reverse-audio"),
                ("15A", "audio"),
            )
        ),
        ("W", "letters differ by region; write linear, audio or reverse-audio"),
    ],
)
def test_a_taper_by_another_name_is_told_by_ours(written: str, hint: str) -> None:
    said = fault_of(
        f'P1 = {{ pot = "1k", taper = "{written}", knob = "k", across = ["a", "b"] }}'
    )
    assert said == f"taper '{written}' is not known; {hint}"


def test_a_taper_unlike_any_is_told_with_all_there_are() -> None:
    said = fault_of(
        'P1 = { pot = "1k", taper = "square", knob = "k", across = ["a", "b"] }'
    )
    assert "write linear, audio, audio-10, reverse-audio-15, blend" in said


@pytest.mark.parametrize(
    ("written", "hint"),
    [
        ("resister", "did you mean 'resistor'?"),
        ("Capacitor", "did you mean 'capacitor'?"),
        ("op-amp", "did you mean 'opamp'?"),
        ("cap", "write capacitor"),
        ("choke", "write inductor"),
        ("Trimmer", "write pot"),
    ],
)
def test_a_kind_that_is_not_known_is_told_as_it_was_written(
    written: str, hint: str
) -> None:
    said = fault_of(f'X1 = {{ across = ["a", "b"], {written} = "10k", value = 3 }}')
    assert said == f"'{written}' is no kind of part; {hint}"


def test_a_part_of_node_names_alone_says_no_kind() -> None:
    assert fault_of('X1 = { across = ["a", "b"] }').startswith(
        "it says no kind of part; it needs one of resistor, capacitor, inductor"
    )
