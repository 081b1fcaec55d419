# SPDX-License-Identifier: GPL-3.0-or-later
"""Take files: what they mean, and every slip told once, with its line."""

from pathlib import Path

import pytest
from commands import DIVIDER, asked, drawn, names_in, refused, tonebench
from loaded_pickup import LARGE, SMALL, write_take_file
from sounds import noise, write_float

from tonebench.audio.take import Take
from tonebench.circuit.files import read_pickup
from tonebench.circuit.hookup import Pickup
from tonebench.errors import FileFaults, InputError
from tonebench.plan.take_files import read_take_file
from tonebench.shipped import names

Capsys = pytest.CaptureFixture[str]
WHOLE = (
    'title = "Slow, with fingers"',
    'full_scale = "2.75V"',
    'instrument = "passive short-scale bass"',
    'tuning = "E1 A1 D2 G2"',
    "[recorded]",
    'pickup = "small.toml"',
    'cable = "520p"',
    'inner = "40p"',
    'load = "1M2"',
    'load_capacitance = "33p"',
    'before = { circuit = "box", settings = {} }',
)


@pytest.fixture
def audio(tmp_path: Path) -> Path:
    """Return a recording with a pickup, a circuit and another recording beside it."""
    SMALL.written(tmp_path)
    LARGE.written(tmp_path)
    drawn(tmp_path, "box", DIVIDER)
    write_float(tmp_path / "other.wav", noise(100))
    return write_float(tmp_path / "mine.wav", noise(100))


def faults_of(audio: Path, *lines: str, file: str = "mine.take.toml") -> list[str]:
    """Return the faults of a take file as they are shown, without the folder."""
    write_take_file(audio, *lines)
    with pytest.raises(FileFaults) as caught:
        read_take_file(audio.with_name(file))
    return [str(f).removeprefix(f"{audio.parent}/") for f in caught.value.faults]


# What a file means


def test_every_key_means_what_it_says(audio: Path) -> None:
    take = read_take_file(write_take_file(audio, *WHOLE))
    assert take.audio == audio
    assert take.name == "mine"
    assert take.title == "Slow, with fingers"
    assert take.full_scale_v == 2.75
    assert take.instrument == "passive short-scale bass"
    assert take.tuning == "E1 A1 D2 G2"
    recorded = take.recorded
    assert recorded is not None
    coil = recorded.pickups[""]
    assert isinstance(coil, Pickup)
    assert (coil.name, coil.resistance_ohm) == ("small", SMALL.ohm)
    assert recorded.cable_farad == pytest.approx(520e-12, rel=1e-15)
    assert recorded.inner_farad == pytest.approx(40e-12, rel=1e-15)
    assert recorded.load_ohm == 1.2e6
    assert recorded.load_farad == pytest.approx(33e-12, rel=1e-15)
    assert [n.circuit.name for n in recorded.before] == ["box"]


def test_a_file_is_found_from_its_recording_and_by_itself(audio: Path) -> None:
    file = write_take_file(audio, 'title = "One"')
    assert read_take_file(audio) == read_take_file(file) == read_take_file(str(audio))
    assert read_take_file(str(file)).title == "One"


def test_a_recording_without_a_file_is_a_take_of_which_nothing_is_known(
    audio: Path,
) -> None:
    assert read_take_file(audio) == Take(audio, title="mine")


def test_the_shortest_file_names_the_recording_alone(audio: Path) -> None:
    assert read_take_file(write_take_file(audio)) == Take(audio, title="mine")


def test_a_file_may_have_another_name_when_it_is_asked_for_itself(audio: Path) -> None:
    file = write_take_file(audio, 'title = "One"')
    kept = file.rename(audio.with_name("one-of-many.take.toml"))
    assert read_take_file(kept).title == "One"
    assert read_take_file(audio).title == "mine"  # whose name doesn't lead there


def test_every_pickup_of_several_is_kept_in_its_order(audio: Path) -> None:
    lines = ("[recorded.pickup]", 'neck = "large.toml"', 'bridge = "small"')
    take = read_take_file(write_take_file(audio, *lines))
    assert take.recorded is not None
    found = {name: coil.name for name, coil in take.recorded.pickups.items()}
    assert list(found.items()) == [("neck", "large"), ("bridge", "small")]
    assert len(take.loads) == 2


def test_a_pickup_beside_the_file_is_meant_before_a_shipped_one(audio: Path) -> None:
    small = (audio.parent / "small.toml").read_bytes()
    (audio.parent / "sedge.toml").write_bytes(small)
    take = read_take_file(write_take_file(audio, "[recorded]", 'pickup = "sedge"'))
    assert take.recorded is not None
    assert take.recorded.pickups[""] != read_pickup("sedge")


@pytest.mark.parametrize("name", names("take"))
def test_shipped_takes_are_found_by_name_with_what_is_known_of_them(name: str) -> None:
    take = read_take_file(name)
    assert take.audio.is_file()
    assert take.name == name
    assert take.title != name
    assert take.instrument
    assert take.tuning
    assert take.full_scale_v is not None


def test_the_level_of_a_render_is_told_in_volts(audio: Path, capsys: Capsys) -> None:
    """A sample of 0.1 at 2 V full scale is 0.2 V."""
    samples = noise(100)
    samples[7] = 0.125
    write_float(audio, samples)
    write_take_file(audio, 'full_scale = "2V"')
    out = audio.with_name("clip.wav")
    told = asked(capsys, "render", audio, "straight", "-o", out)
    assert told["peak_v"] == pytest.approx(0.25, rel=1e-12)
    assert tonebench("render", audio, "straight", "-o", out, "--force") == 0
    assert "250 mV" in capsys.readouterr().out


# What is refused

R = "[recorded]"
P = 'pickup = "small.toml"'
SLIPS = [
    (("titel = 'x'",), 3, "unknown key 'titel'; did you mean 'title'?"),
    (("title = 3",), 3, "title must be a text in quotes, got 3"),
    (("instrument = []",), 3, "instrument must be a text in quotes"),
    (("full_scale = 2.75",), 3, "full_scale must be a text in quotes, got 2.75"),
    (("full_scale = ''",), 3, "full_scale: cannot read '' as a level; write it like"),
    (("full_scale = 'hot'",), 3, "full_scale: cannot read 'hot' as a level"),
    (("full_scale = '0V'",), 3, "full_scale must be from 1 mV to 100 V, got '0V'"),
    (("tuning = 'E1 H1'",), 3, "tuning: 'H1' is no note; write it like"),
    (("tuning = 3",), 3, "tuning must be a text in quotes, got 3"),
    (("recorded = 3",), 3, "recorded must be a table, got 3"),
    ((R,), 3, "recorded: pickup is missing; write what the take was played with"),
    ((R, "cable = '1n'"), 3, "recorded: pickup is missing; write what"),
    ((R, "pickup = {}"), 3, "recorded: pickup is missing"),
    ((R, "pickup = 'segde'"), 4, "recorded: there is no pickup 'segde'"),
    ((R, "pickup = 3"), 4, "recorded: pickup must be a name, a file, or one per"),
    ((R, P, "cabel = '1n'"), 5, "recorded: unknown key 'cabel'; did you mean 'cable'?"),
    ((R, P, "cable = '1x'"), 5, "recorded: cable: cannot read '1x'"),
    ((R, P, "load = '0'"), 5, "recorded: load must be above 0 ohm, got 0"),
    ((R, P, "source = '50'"), 5, "recorded: unknown key 'source'; known here: pickup,"),
    ((R, P, "into = 'box'"), 5, "recorded: unknown key 'into'"),
    ((R, P, "buffer = 'input'"), 5, "recorded: unknown key 'buffer'"),
    ((R, P, "place = 'floor'"), 5, "recorded: unknown key 'place'"),
    ((R, P, "before = 'bocks'"), 5, "recorded: there is no circuit 'bocks'"),
    (
        (R, P, "before = { circuit = 'whimbrel', settings = { bel = 3 } }"),
        5,
        "recorded: before: there is no knob or switch 'bel'; did you mean 'bell'?",
    ),
    (
        (R, P, "before = { circuit = 'whimbrel', settings = { bell = 11 } }"),
        5,
        "recorded: before: bell: position must be from 0 to 10, got 11",
    ),
    (
        (R, P, "before = { circuit = 'box', before = 'box' }"),
        5,
        "recorded: before: a neighbour is written { circuit = …",
    ),
    (
        ("tuning = 'E1'", R, "pickup = { middle = 'small' }", "before = 'dunlin'"),
        4,
        "recorded: straight has no input 'middle' to put a pickup on",
    ),
    (
        (R, P, "before = ['box', 'dunlin']"),
        3,
        "recorded: box can't stand before straight",
    ),
]


@pytest.mark.parametrize(
    ("lines", "line", "told"), SLIPS, ids=[" ".join(slip[0]) for slip in SLIPS]
)
def test_a_slip_is_told_once_with_its_line(
    audio: Path, capsys: Capsys, lines: tuple[str, ...], line: int, told: str
) -> None:
    (fault,) = faults_of(audio, *lines)
    assert fault.startswith(f"mine.take.toml:{line}: {told}")
    assert not fault.endswith(".")
    before = names_in(audio.parent)
    words = ("render", audio, "straight", "-o", audio.with_name("clip.wav"))
    assert refused(capsys, 3, *words).endswith(fault)
    assert names_in(audio.parent) == before


@pytest.mark.parametrize(
    ("value", "told"),
    [
        ('"nowhere.wav"', "audio: there is no file 'nowhere.wav' beside it"),
        ('""', "audio: there is no file '' beside it"),
        ('"."', "audio: there is no file '.' beside it"),
        ("3", "audio must be a text in quotes, got 3"),
        (
            '"other.wav"',
            "audio is 'other.wav', not mine.wav; write audio = \"mine.wav\", or rename "
            "this file",
        ),
    ],
)
def test_a_file_must_be_of_the_recording_it_stands_beside(
    audio: Path, capsys: Capsys, value: str, told: str
) -> None:
    file = audio.with_name("mine.take.toml")
    file.write_text(f"schema = 1\naudio = {value}\n", encoding="utf-8")
    words = ("render", audio, "straight", "-o", audio.with_name("clip.wav"))
    assert refused(capsys, 3, *words) == f"{file}:2: {told}"
    assert "clip.wav" not in names_in(audio.parent)


def test_a_file_says_which_recording_it_is_of(audio: Path) -> None:
    file = audio.with_name("mine.take.toml")
    file.write_text("schema = 1\n", encoding="utf-8")
    with pytest.raises(FileFaults, match="audio is missing; write audio = "):
        read_take_file(file)
    file.write_text('audio = "mine.wav"\n', encoding="utf-8")
    with pytest.raises(FileFaults, match="schema is missing; write schema = 1"):
        read_take_file(file)
    file.write_text('schema = 2\naudio = "mine.wav"\n', encoding="utf-8")
    with pytest.raises(FileFaults, match="schema must be 1, got 2"):
        read_take_file(file)


def test_all_faults_are_told_together_in_order_of_their_lines(audio: Path) -> None:
    lines = (
        "tuning = 'H1'", "full_scale = 'hot'", "titel = 'x'", R, "cable = '1x'",
        "pickp = 'small'",
    )  # fmt: skip
    told = faults_of(audio, *lines)
    assert [int(fault.split(":")[1]) for fault in told] == [3, 4, 5, 7, 8]
    for piece, fault in zip(("H1", "hot", "titel", "1x", "pickp"), told, strict=True):
        assert piece in fault


def test_faults_of_a_pickup_file_are_told_under_that_files_name(audio: Path) -> None:
    (audio.parent / "small.toml").write_text(
        'schema = 1\n[pickup]\nresistance = "-5k"\ninductance = "2H"\n'
        'capacitance = "100p"\n',
        encoding="utf-8",
    )
    (fault,) = faults_of(audio, R, P)
    assert fault.startswith("small.toml:3: ")


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("nowhere.wav", "nowhere.wav: no such file; check its name and its folder"),
        ("nowhere.take.toml", "there is no file 'nowhere.take.toml'"),
        ("harbour-wolk", "did you mean 'harbour-walk'?"),
    ],
)
def test_a_take_that_is_not_there_is_a_missing_input(name: str, told: str) -> None:
    with pytest.raises(InputError) as caught:
        read_take_file(name)
    assert told in str(caught.value)


def test_no_value_of_any_type_is_taken_for_a_fault_of_ours(audio: Path) -> None:
    """Every key with a value of every type: read, or refused with one line."""
    values = ("3", "1e400", "true", '""', '"x"', "[1]", "{}", "{ x = 1 }", "1979-05-27")
    for number, line in enumerate(WHOLE):
        if line.startswith("["):
            continue
        key = line.partition(" ")[0]
        for value in values:
            lines = list(WHOLE)
            lines[number] = f"{key} = {value}"
            file = write_take_file(audio, *lines)
            try:
                read_take_file(file)
            except FileFaults as caught:
                faults = caught.faults
                assert len(faults) == 1, (key, value)  # or none at all
                assert faults[0].line, (key, value)
