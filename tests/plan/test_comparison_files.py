# SPDX-License-Identifier: GPL-3.0-or-later
"""Comparison files: what they mean, and every slip told once, with its line."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from commands import DIVIDER, VOLUME, drawn
from sounds import noise, write_float

from tonebench.circuit.files import read_circuit, read_pickup
from tonebench.circuit.hookup import Piezo
from tonebench.errors import Fault, FileFaults, InputError
from tonebench.plan.comparison import Comparison, Match
from tonebench.plan.files import read_comparison
from tonebench.shipped import names

TOP = {
    "schema": "1",
    "title": '"Mine against tern"',
    "take": '"take.wav"',
    "pickup": '"sedge"',
    "cable": '"700p"',
    "inner": '"30p"',
    "load": '"1M"',
    "load_capacitance": '"1n"',
    "place": '"floor"',
    "before": '"whimbrel"',
    "into": '{ circuit = "tern", settings = { tilt = 3 } }',
    "match": '"frequency"',
    "match_hz": "200",
}
A = {"circuit": '"mine"', "parts": '{ R1 = "22k" }'}
B = {"circuit": '"tern"', "cable": '"300p"'}
CLIENT = {"by": '"the workshop by the sea"', "for": '"a player"', "note": '"why?"'}
PAIRING = {
    "name": '"one"',
    "both": "{ level = 4 }",
    "a": "{ volume = 9 }",
    "b": "{ tilt = 2.5 }",
}
TABLES = {"": TOP, "[a]": A, "[b]": B, "[client]": CLIENT, "[[pairings]]": PAIRING}


def written(tables: dict[str, dict[str, str]]) -> str:
    lines = []
    for head, keys in tables.items():
        lines += [head] if head else []
        lines += [f"{key} = {value}" for key, value in keys.items()]
    return "\n".join(lines) + "\n"


def changed(head: str, key: str, value: str | None) -> str:
    """Return the whole file with one key changed, or left out."""
    keys = {**TABLES[head], key: value}
    kept = {k: v for k, v in keys.items() if v is not None}
    return written({**TABLES, head: kept})


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder with a take and a circuit to compare."""
    write_float(tmp_path / "take.wav", noise(100))
    drawn(tmp_path, "mine", VOLUME)
    return tmp_path


def read(folder: Path, text: str) -> Comparison:
    path = folder / "comparison.toml"
    path.write_text(text, encoding="utf-8")
    return read_comparison(path)


def faults_of(folder: Path, text: str) -> list[str]:
    """Return the faults of a file as they are shown, without the folder."""
    with pytest.raises(FileFaults) as refused:
        read(folder, text)
    return [str(f).removeprefix(f"{folder}/") for f in refused.value.faults]


# What a file means


def test_every_key_means_what_it_says(folder: Path) -> None:
    made = read(folder, written(TABLES))
    assert made.title == "Mine against tern"
    assert [take.audio for take in made.takes] == [folder / "take.wav"]
    assert made.match == Match("frequency", 200)
    assert made.a.circuit.name == "mine"
    (r1,) = (part for part in made.a.circuit.parts if part.ref == "R1")
    assert getattr(r1, "resistance_ohm") == 22_000  # noqa: B009  # any kind of part
    (pairing,) = made.pairings
    assert pairing.name == "one"
    assert pairing.a == {"volume": 9}
    assert pairing.b == {"tilt": 2.5, "level": 4}
    assert made.client == {
        "by": "the workshop by the sea",
        "for": "a player",
        "note": "why?",
    }
    for side, cable in ((made.a, 700e-12), (made.b, 300e-12)):
        hookup = side.hookup
        assert hookup.pickups[""].name == "sedge"
        assert (hookup.load_ohm, hookup.load_farad) == (1e6, 1e-9)
        assert hookup.inner_farad == 30e-12
        assert hookup.cable_farad == cable  # the side's own, or else the top's
        assert [n.circuit.name for n in hookup.before] == ["whimbrel"]
        assert hookup.into[0].settings == {"tilt": 3}


def test_the_shortest_file_compares_by_loudness_as_both_start(folder: Path) -> None:
    text = 'schema = 1\ntake = "take.wav"\na.circuit = "tern"\nb.circuit = "plover"\n'
    made = read(folder, text)
    assert made.title == "comparison"
    assert made.match == Match("loudness", 500)
    (pairing,) = made.pairings
    assert (pairing.name, pairing.a, pairing.b) == ("as they start", {}, {})
    assert made.client == {}


def test_names_are_looked_up_beside_the_file_and_then_among_the_shipped(
    folder: Path,
) -> None:
    drawn(folder, "tern", DIVIDER)
    write_float(folder / "harbour-walk.wav", noise(10))
    (folder / "sedge.toml").write_text(
        "schema = 1\npiezo.capacitance = '1n'\n", encoding="utf-8"
    )
    text = """
        schema = 1
        take = "harbour-walk.wav"
        pickup = "sedge"
        a.circuit = "tern"
        b.circuit = "plover"
        b.pickup = "marram"
    """
    made = read(folder, text)
    assert made.takes[0].audio.parent == folder
    assert len(made.a.circuit.parts) == 2
    assert isinstance(made.a.hookup.pickups[""], Piezo)
    assert made.b.circuit == read_circuit("plover")
    assert made.b.hookup.pickups[""] == read_pickup("marram")


@pytest.mark.parametrize("name", names("comparison"))
def test_shipped_comparisons_are_read_without_a_fault(name: str) -> None:
    made = read_comparison(name)
    assert made.takes[0].audio.is_file()
    assert made.pairings


# What is refused


@pytest.mark.parametrize(
    ("head", "key", "value", "told"),
    [
        ("", "schema", "2", "schema must be 1"),
        ("", "titel", '"x"', "unknown key 'titel'; did you mean 'title'?"),
        ("", "take", '"nowhere.wav"', "nowhere.wav: no such file"),
        ("", "take", '"harbor-walk"', "did you mean 'harbour-walk'?"),
        ("", "take", "3", "take must be a text in quotes, got 3"),
        ("", "pickup", '"segde"', "there is no pickup 'segde'"),
        ("", "pickup", '{ neck = "sedge" }', "there is no input 'neck'"),
        ("", "cable", '"700q"', "cable: cannot read '700q'"),
        ("", "load", "0", "load must be above 0 ohm, got 0"),
        ("", "source", '"50"', "source is the resistance of what drives an input"),
        ("", "place", '"ceiling"', "place must be floor or onboard"),
        ("", "into", '"dunlin"', "it has 2 inputs"),
        ("", "match", '"loud"', "match 'loud' is not known; did you mean 'loudness'?"),
        ("", "match_hz", '"x"', "match_hz: cannot read 'x'"),
        ("", "match_hz", "0.5", "match_hz must be from 1 to 100000 Hz, got 0.5"),
        ("[a]", "circuit", '"mien"', "[a]: there is no circuit 'mien'"),
        ("[a]", "circuit", None, "[a]: circuit is missing"),
        ("[a]", "parts", '{ R9 = "1k" }', "[a]: there is no part 'R9'"),
        ("[a]", "parts", '{ R1 = "x" }', "[a]: R1: cannot read 'x'"),
        ("[a]", "parts", "3", "[a]: parts must be a table"),
        ("[a]", "knobs", "{}", "[a]: unknown key 'knobs'"),
        ("[b]", "cable", '"-1p"', "[b]: cable must be 0 or more"),
        ("[b]", "load", '"0"', "[b]: load must be above 0 ohm"),
        ("[client]", "form", '"x"', "client: unknown key 'form'"),
        ("[client]", "by", "3", "client: by must be a text"),
        ("[[pairings]]", "name", None, "pairing 1: name is missing"),
        ("[[pairings]]", "name", '""', "name is empty"),
        ("[[pairings]]", "both", "3", "pairing 1: both must be a table"),
        (
            "[[pairings]]",
            "both",
            "{ tone = 4 }",
            "pairing 1: there is no knob or switch 'tone'; there are level",
        ),
        (
            "[[pairings]]",
            "a",
            "{ tilt = 3 }",
            "pairing 1: there is no knob or switch 'tilt'",
        ),
        (
            "[[pairings]]",
            "b",
            "{ tilt = 11 }",
            "pairing 1: tilt: position must be from 0 to 10, got 11",
        ),
        ("[[pairings]]", "c", "{}", "pairing 1: unknown key 'c'"),
    ],
)
def test_a_slip_is_told_once_with_its_line(
    folder: Path, head: str, key: str, value: str | None, told: str
) -> None:
    text = changed(head, key, value)
    fault, *more = faults_of(folder, text)
    if "input" in told:  # what fits neither side is told at each
        assert len(more) == 1
        return
    assert more == []
    place, _, message = fault.partition(": ")
    assert told in message
    number = int(place.removeprefix("comparison.toml:"))
    line = text.splitlines()[number - 1]
    table = head or "["
    assert line.startswith((f"{key} =", table))


def test_all_faults_are_told_together_in_order_of_their_lines(folder: Path) -> None:
    text = written(
        {
            "": {**TOP, "cable": '"x"', "titel": '"y"', "match": '"z"', "load": "0"},
            "[a]": {"circuit": '"nobody"', "parts": "3"},
            "[b]": {**B, "colour": '"blue"'},
            "[client]": {"to": '"x"'},
            "[[pairings]]": {"nam": '"one"'},
        }
    )
    told = faults_of(folder, text)
    numbers = [int(fault.split(":")[1]) for fault in told]
    assert numbers == sorted(numbers)
    for piece in ("'x'", "titel", "'z'", "load must", "nobody", "parts must", "colour"):
        assert sum(piece in fault for fault in told) == 1
    assert sum("unknown key" in fault for fault in told) == 4
    assert len(told) == 10


def test_two_pairings_may_not_have_one_name(folder: Path) -> None:
    text = written(TABLES) + "[[pairings]]\n" + 'name = "one"\n'
    (told,) = faults_of(folder, text)
    assert "there are two pairings named 'one'" in told
    assert told.startswith(f"comparison.toml:{text.count(chr(10))}: ")


def test_faults_of_a_circuit_file_are_told_under_that_files_name(folder: Path) -> None:
    drawn(folder, "mine", DIVIDER.replace('"10k"', '"10kk"'))
    told = faults_of(folder, written(TABLES))
    assert len(told) == 2
    assert all(fault.startswith("mine.toml:") for fault in told)
    assert {fault.split(": ")[1] for fault in told} == {"R1", "R2"}


@pytest.mark.parametrize("letter", ["[a]", "[b]"])
def test_a_side_that_is_not_there_is_missed(folder: Path, letter: str) -> None:
    tables = {head: keys for head, keys in TABLES.items() if head != letter}
    told = faults_of(folder, written(tables))
    assert any(f"{letter} is missing; write circuit" in fault for fault in told)


def test_a_file_that_is_not_there_is_a_missing_input(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there is no file"):
        read_comparison(tmp_path / "nowhere.toml")
    with pytest.raises(InputError, match="no comparison 'stage-or-desk'"):
        read_comparison("stage-or-desk")


def nonsense() -> Iterator[tuple[str, str, str]]:
    values = (
        "3", "1e400", "true", '""', '"x"', "[1]", "{}", "{ x = 1 }", "{ R1 = [1] }",
        '{ circuit = "tern", settings = 3 }', "1979-05-27",
    )  # fmt: skip
    for head, keys in TABLES.items():
        yield from ((head, key, value) for key in keys for value in values)


def test_no_value_of_any_type_is_taken_for_a_fault_of_ours(folder: Path) -> None:
    """Every key with a value of every type: read, or refused with one line."""
    for head, key, value in nonsense():
        faults: tuple[Fault, ...] = ()
        try:
            read(folder, changed(head, key, value))
        except FileFaults as refused:
            faults = refused.faults
        assert len(faults) <= 1, (head, key, value)
        assert all(fault.line for fault in faults), (head, key, value)


# Several takes, a dry clip, a follower


def test_takes_are_kept_in_their_order_with_what_is_known_of_them(folder: Path) -> None:
    write_float(folder / "other.wav", noise(100))
    (folder / "other.take.toml").write_text(
        'schema = 1\naudio = "other.wav"\n[recorded]\npickup = "marram"\n',
        encoding="utf-8",
    )
    text = written(TABLES).replace(
        'take = "take.wav"', 'takes = ["other.wav", "take.wav"]'
    )
    other, take = read(folder, text).takes
    assert (other.name, take.name) == ("other", "take")
    assert other.recorded is not None
    assert take.recorded is None


def test_a_side_without_a_pickup_stands_behind_the_recorded_one(folder: Path) -> None:
    (folder / "take.take.toml").write_text(
        'schema = 1\naudio = "take.wav"\n[recorded]\npickup = "marram"\n',
        encoding="utf-8",
    )
    text = 'schema = 1\ntake = "take.wav"\na.circuit = "tern"\n[b]\ncircuit = "tern"\n'
    made = read(folder, text + 'pickup = "sedge"\n')
    (take,) = made.takes
    assert made.a.behind(take).chain.line.startswith("marram → ")
    assert made.b.behind(take).chain.line.startswith("sedge → ")
    resistor = read(folder, text + 'source = "1k"\n').b
    assert resistor.behind(take) == resistor  # a source that is named is one


def test_faults_of_a_take_file_are_told_under_that_files_name(folder: Path) -> None:
    (folder / "take.take.toml").write_text(
        'schema = 1\naudio = "take.wav"\ntuning = "H1"\n', encoding="utf-8"
    )
    (told,) = faults_of(folder, written(TABLES))
    assert told.startswith("take.take.toml:3: tuning: 'H1' is no note")


@pytest.mark.parametrize("value", [None, "true", "false"])
def test_a_dry_clip_is_made_when_it_is_asked_for(
    folder: Path, value: str | None
) -> None:
    text = written({**TABLES, "": {**TOP, **({"dry": value} if value else {})}})
    assert read(folder, text).has_dry == (value == "true")


def test_a_follower_stands_where_it_was_put_and_nowhere_else(folder: Path) -> None:
    made = read(folder, written({**TABLES, "[a]": {**A, "buffer": '"input"'}}))
    assert (made.a.hookup.has_buffer, made.b.hookup.has_buffer) == (True, False)
    made = read(folder, written({**TABLES, "": {**TOP, "buffer": '"input"'}}))
    assert (made.a.hookup.has_buffer, made.b.hookup.has_buffer) == (True, True)
