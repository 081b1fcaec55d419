# SPDX-License-Identifier: GPL-3.0-or-later
"""Circuit and pickup files: what the format says is read, and every fault is told."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tonebench import shipped
from tonebench.circuit.circuit import STRAIGHT, Input, Supply
from tonebench.circuit.controls import Knob, SwitchControl
from tonebench.circuit.files import (
    inspect_circuit,
    inspect_text,
    read_chainable,
    read_circuit,
    read_pickup,
)
from tonebench.circuit.hookup import Pickup, Piezo
from tonebench.circuit.starter import STARTER
from tonebench.errors import FileFaults, InputError

BROKEN = sorted(Path(__file__).parents[1].glob("broken_circuits/*.toml"))

#: One of everything outside the parts.
WHOLE = """\
schema = 1
title = "Low shelf and swept bell"
about = "One paragraph for people."
place = "onboard"
output = "out"

[inputs.neck]
node = "1"
back = "2"
[inputs.bridge]
node = "2"

[supply]
volts = 9.0
bias = "4.2V"
draw = "1.2m"

[knobs.bass]
label = "Bass"
start = 7.5
detent = true
trim = true
stacked_on = "treble"
notes = "a trim pot"
[knobs.treble]

[switches.range]
label = "Range"
positions = ["low", "mid", "high"]
start = "mid"
pull_of = "treble"
notes = "pull for mid"

[parts]
P1 = { pot = "100k", taper = "linear", knob = "bass", across = ["1", "out"] }
P2 = { pot = "100k", taper = "audio", knob = "treble", across = ["2", "out"] }
S1 = { switch = "range", common = "out", throws = { low = "gnd" } }
"""


# -- what is read ----------------------------------------------------------------------


def test_everything_outside_the_parts_is_read() -> None:
    inspection = inspect_text(WHOLE, name="plover")
    assert inspection.faults == inspection.warnings == ()
    circuit = inspection.circuit
    assert circuit
    assert circuit.name == "plover"
    assert circuit.title == "Low shelf and swept bell"
    assert circuit.about == "One paragraph for people."
    assert circuit.place == "onboard"
    assert circuit.inputs == (Input("neck", "1", "2"), Input("bridge", "2", "gnd"))
    assert circuit.output == "out"
    assert circuit.supply == Supply(9.0, 4.2, 1.2e-3)
    assert circuit.knobs == (
        Knob("bass", "Bass", 7.5, True, True, "treble", "a trim pot"),
        Knob("treble"),
    )
    assert circuit.switches == (
        SwitchControl(
            "range", ("low", "mid", "high"), "Range", "mid", "treble", "pull for mid"
        ),
    )
    assert [part.ref for part in circuit.parts] == ["P1", "P2", "S1"]


def test_what_is_left_out_has_the_defaults_of_the_format() -> None:
    circuit = inspect_text(
        'schema = 1\ninput = "7"\noutput = "8"\nsupply = { volts = 18 }\n'
        '[switches.deep]\npositions = ["on", "off"]\n'
        '[parts]\nR1 = { resistor = "4k7", across = ["7", "8"] }\n'
        'S1 = { switch = "deep", common = "8", throws = { on = "gnd" } }\n',
        name="whimbrel",
    ).circuit
    assert circuit
    assert circuit.title == "whimbrel"
    assert circuit.place == "floor"
    assert circuit.inputs == (Input("7", "7"),)
    assert circuit.supply == Supply(18.0, 9.0, None)
    assert circuit.switches[0].start == "on"
    assert circuit.setting({}) == {"deep": "on"}


@pytest.mark.parametrize("name", shipped.names("circuit"))
def test_every_shipped_circuit_reads_without_a_fault_or_warning(name: str) -> None:
    inspection = inspect_circuit(name)
    assert inspection.faults == inspection.warnings == ()
    assert inspection.circuit
    assert inspection.circuit.name == name


@pytest.mark.parametrize("name", shipped.names("pickup"))
def test_every_shipped_pickup_reads(name: str) -> None:
    assert read_pickup(name).name == name


def test_a_file_gives_the_circuit_its_name(tmp_path: Path) -> None:
    path = tmp_path / "my.first.toml"
    path.write_text(STARTER, encoding="utf-8")
    assert read_circuit(path).name == "my.first"
    assert read_circuit(str(path)) == read_circuit(path)


def test_straight_is_built_in() -> None:
    assert read_circuit("straight") is STRAIGHT
    assert read_chainable("straight") is STRAIGHT
    assert inspect_circuit("straight").circuit is STRAIGHT


# -- warnings --------------------------------------------------------------------------


def test_doubts_are_warnings_in_the_order_of_lines() -> None:
    text = STARTER.replace('"22n"', '".022"').replace('"4k7", across', '"4.7", across')
    text = text.replace("[knobs.level]", "[knobs.spare]\n\n[knobs.level]")
    inspection = inspect_text(text, "mine.toml")
    assert inspection.circuit
    assert inspection.faults == ()
    lines = text.split("\n")
    for warning, (start, words) in zip(
        inspection.warnings,
        [
            ("[knobs.spare]", 'no part has knob = "spare"; it would do nothing'),
            ("C1", ".022 is 0.022 F; meant 22n?"),
            ("R4", "4.7 is 4.7 Ω; meant 4k7? otherwise write 4R7"),
        ],
        strict=True,
    ):
        assert warning.line
        assert lines[warning.line - 1].startswith(start)
        assert str(warning).endswith(words)
        assert warning.file == "mine.toml"


def test_notes_have_lines_too() -> None:
    text = STARTER.replace('["gnd","e"]', '["f","e"]')
    text += 'C4 = { capacitor = "1u", across = ["f", "gnd"] }\n'
    inspection = inspect_text(text, "mine.toml")
    assert inspection.circuit
    line = next(n for n, s in enumerate(text.split("\n"), 1) if s.startswith("C3"))
    assert [str(note) for note in inspection.notes] == [
        f"mine.toml:{line}: C3: node 'e' has no path for direct current",
        f"mine.toml:{line + 1}: P2: node 'f' has no path for direct current",
        f"mine.toml:{line + 1}: P2: node 'out' has no path for direct current",
    ]


# -- faults ----------------------------------------------------------------------------


@pytest.mark.parametrize("path", BROKEN, ids=[path.stem for path in BROKEN])
def test_each_way_of_being_wrong_is_told_with_its_line(path: Path) -> None:
    # The first lines of each file say what is to be told: "# line | words".
    lines = path.read_text(encoding="utf-8").split("\n")
    heads = [line[2:].split(" | ", 1) for line in lines if line.startswith("# ")]
    expected = [
        f"{path}: {words}" if line == "-" else f"{path}:{line}: {words}"
        for line, words in heads
    ]
    with pytest.raises(FileFaults) as caught:
        read_circuit(path)
    assert [str(fault) for fault in caught.value.faults] == expected
    for fault in caught.value.faults:
        if fault.line and lines[fault.line - 1].endswith("}"):  # a part's own line
            assert fault.part in ("", "parts", lines[fault.line - 1].split(" ")[0])


def test_there_is_a_broken_file_for_many_ways_of_being_wrong() -> None:
    assert len(BROKEN) > 70


def test_a_broken_part_still_touches_its_nodes() -> None:
    text = STARTER.replace('R1 = { resistor = "1M"', 'R1 = { resistor = "1,1M"')
    text = text.replace('across = ["d", "gnd"]', 'acros = ["d", "gnd"]')
    faults = inspect_text(text).faults
    assert [fault.part for fault in faults] == ["R1", "C2", "C2"]
    assert [fault.message.partition(":")[0] for fault in faults] == [
        "resistor",
        "across is missing",
        "unknown key 'acros'",
    ]


@pytest.mark.parametrize("name", ["nothing-of-that-name", "missing.toml"])
def test_a_circuit_that_is_not_there_is_an_input_error(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError, match=f"there is no .*'{name}'"):
        read_circuit(name)


TEXTS = [
    STARTER,
    WHOLE,
    *(path.read_text(encoding="utf-8") for path in BROKEN),
]
SCRAPS = st.text(max_size=5) | st.sampled_from(
    [
        *"\"'[]{}=,.#\n\\\0\x1c",
        *(
            '"""',
            "nan",
            "-1",
            "9" * 30,
            "true",
            "[[parts]]",
            '["a", "b"]',
            "gnd",
            "4k7",
        ),
    ]
)
EDITS = st.lists(
    st.tuples(st.integers(0, 2000), st.integers(0, 30), SCRAPS), min_size=1, max_size=4
)


@given(st.sampled_from(TEXTS), EDITS)
@settings(deadline=None, max_examples=150)
def test_a_mutated_text_gives_a_circuit_or_faults_and_nothing_else(
    text: str, edits: list[tuple[int, int, str]]
) -> None:
    for start, length, scrap in edits:
        text = text[:start] + scrap + text[start + length :]
    inspection = inspect_text(text)
    assert (inspection.circuit is None) == (inspection.faults != ())
    for fault in inspection.faults:
        assert fault.message
        assert fault.line is None or 1 <= fault.line <= text.count("\n") + 1


@given(st.binary(max_size=40))
@settings(deadline=None, max_examples=50)
def test_a_file_of_anything_is_an_input_error_and_nothing_else(
    tmp_path_factory: pytest.TempPathFactory, content: bytes
) -> None:
    path = tmp_path_factory.getbasetemp() / "anything.toml"
    path.write_bytes(content)
    for read in (read_circuit, read_pickup):
        with pytest.raises(InputError):
            read(path)


# -- pickups ---------------------------------------------------------------------------


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "brent.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_coil_is_read(tmp_path: Path) -> None:
    path = written(
        tmp_path,
        'schema = 1\ntitle = "Neck coil"\nabout = "Ours."\n[pickup]\n'
        'resistance = "6.1k"\ninductance = "2.2H"\ncapacitance = "120p"\n'
        'losses = "330k"\n',
    )
    assert read_pickup(path) == Pickup(
        "brent", 6100.0, 2.2, 120e-12, losses_ohm=330e3, title="Neck coil"
    )


def test_a_coil_may_have_no_losses_and_no_title(tmp_path: Path) -> None:
    path = written(
        tmp_path,
        "schema = 1\n[pickup]\n"
        'resistance = 6100\ninductance = 2.2\ncapacitance = "120p"\n',
    )
    assert read_pickup(path) == Pickup("brent", 6100.0, 2.2, 120e-12, title="brent")


def test_a_piezo_is_read(tmp_path: Path) -> None:
    path = written(tmp_path, 'schema = 1\n[piezo]\ncapacitance = "500p"\n')
    assert read_pickup(path) == Piezo("brent", 500e-12, title="brent")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", ["there is no pickup; write its values under [pickup] or [piezo]"]),
        ("pickup = 5", ["pickup must be a table, got 5"]),
        (
            '[pickup]\nresistance = "6k1"\nindutance = "2H"\ncapacitance = "120p"',
            [
                'pickup: inductance is missing; write inductance = "0.56H"',
                "pickup: unknown key 'indutance'; did you mean 'inductance'?",
            ],
        ),
        (
            '[pickup]\nresistance = "6.1"\ninductance = "-2H"\ncapacitance = 120',
            [
                "pickup: resistance: 6.1 is 6.1 Ω; meant 6k1? otherwise write 6R1",
                "pickup: inductance must be above 0, got -2",
                "pickup: capacitance: 120 is 120 F; meant 120p?",
            ],
        ),
        (
            '[piezo]\ncapacitance = "500p"\nresistance = "6k1"',
            ["piezo: unknown key 'resistance'; known here: capacitance"],
        ),
        (
            '[pickup]\nresistance = "6k1"\n[piezo]\ncapacitance = "500p"',
            ["pickup and piezo are both there; keep one of them"],
        ),
    ],
)
def test_the_faults_of_a_pickup_are_told_together(
    tmp_path: Path, text: str, said: list[str]
) -> None:
    path = written(tmp_path, f"schema = 1\n{text}\n")
    with pytest.raises(FileFaults) as caught:
        read_pickup(path)
    assert [str(fault).partition(": ")[2] for fault in caught.value.faults] == said


def test_a_pickup_of_another_schema_is_refused(tmp_path: Path) -> None:
    path = written(tmp_path, 'schema = "1"\n[piezo]\ncapacitance = "500p"\n')
    with pytest.raises(FileFaults, match="schema must be 1, got '1'"):
        read_pickup(path)
