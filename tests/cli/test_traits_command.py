# SPDX-License-Identifier: GPL-3.0-or-later
"""``traits`` as a person and as a program meet it."""

from pathlib import Path

import pytest
from commands import (
    DIVIDER,
    LOW_PASS,
    LOW_PASS_HZ,
    VOLUME,
    asked,
    drawn,
    refused,
    tonebench,
)

HOUSE = ("--pickup", "sedge", "--cable", "700p", "--load", "10k")
KINDS = {"cut", "boost", "both", "level", "frequency", "nothing"}
FEATURES = {"peak", "dip", "high-pass", "low-pass", "shelf"}


def _said(capsys: pytest.CaptureFixture[str], *words: object) -> str:
    capsys.readouterr()
    assert tonebench("traits", *words) == 0
    return " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize("name", ["tern", "plover", "dunlin", "whimbrel"])
def test_json_has_what_other_programs_build_on(
    capsys: pytest.CaptureFixture[str], name: str
) -> None:
    told = asked(capsys, "traits", name, *HOUSE)
    assert (told["schema"], told["circuit"]) == (1, name)
    assert told["knobs"]
    for knob in (*told["knobs"].values(), *told["switches"].values()):
        assert knob["kind"] in KINDS
        assert {"min_db", "max_db", "at_hz"} <= set(knob)
    assert told["features"]
    for feature in told["features"]:
        assert feature["kind"] in FEATURES
        assert isinstance(feature["always"], bool)
        low, high = feature["range_hz"]
        assert low <= feature["frequency_hz"] <= high
        assert feature["level_db"] is not None
    assert {"output_ohm", "inputs", "treble_lost"} <= set(told["card"])


def test_silence_is_null(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    told = asked(capsys, "traits", drawn(tmp_path, "volume", VOLUME))
    volume = told["knobs"]["volume"]
    assert (volume["kind"], volume["min_db"], volume["silences"]) == (
        "level",
        None,
        True,
    )
    assert volume["at_hz"] is None


def test_the_house_question_is_answered_in_words(
    capsys: pytest.CaptureFixture[str],
) -> None:
    said = _said(capsys, "plover", *HOUSE)
    for sentence in (
        "Centre: moves what Bell does",
        "By itself it does nothing.",
        "What stays, whatever you turn",
        "high-pass: the low end falls off below 49 Hz",
        "its own peak is damped away",
        "want 1:10 (common practice)",
    ):
        assert sentence in said
    kept = _said(capsys, "tern", *HOUSE)
    stays = kept.split("What stays")[1].split("What comes")[0]
    assert "peak of +9.9 dB at 3.69 kHz" in stays


def test_turning_a_knob_beforehand_moves_what_is_told(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The bell of plover is swept down to 265 Hz with its centre at 0."""
    told = asked(capsys, "traits", "plover", "--set", "centre=0")
    assert told["settings"]["centre"] == 0
    assert told["knobs"]["bell"]["at_hz"] == pytest.approx(265, rel=0.01)


def test_a_part_may_have_another_value(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Twice the capacitance, half the corner: 1/(2πRC)."""
    path = drawn(tmp_path, "low", LOW_PASS)
    for words, hz in (((), LOW_PASS_HZ), (("--part", "C1=20n"), LOW_PASS_HZ / 2)):
        (corner,) = asked(capsys, "traits", path, *words)["features"]
        assert corner["kind"] == "low-pass"
        assert corner["frequency_hz"] == pytest.approx(hz, rel=1e-3)


def test_nothing_to_turn_and_nothing_to_see_are_said_in_one_sentence_each(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    said = _said(capsys, drawn(tmp_path, "divider", DIVIDER))
    assert "There is nothing to turn or switch." in said
    assert "The curve has no peak, dip, roll-off or shelf from 10 Hz to 24 kHz." in said


def test_a_knob_that_does_nothing_is_named(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    text = (
        VOLUME.replace('wiper = "out"', 'wiper = "out2"')
        .replace('["gnd", "a"]', '["gnd", "out"]')
        .replace('["in", "a"]', '["in", "out"]')
    )
    text += '[parts.R3]\nresistor = "10M"\nacross = ["out2", "gnd"]\n'
    said = _said(capsys, drawn(tmp_path, "idle", text))
    assert "volume: does nothing, wherever the others stand." in said


def test_an_unknown_knob_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    line = refused(capsys, 2, "traits", "tern", "--set", "tilr=3")
    assert line == "there is no knob or switch 'tilr'; did you mean 'tilt'?"


def test_a_circuit_that_shorts_its_sources_says_how_to_go_on(
    capsys: pytest.CaptureFixture[str],
) -> None:
    line = refused(capsys, 3, "traits", "dunlin")
    assert line.endswith("give a pickup or a source resistance")
