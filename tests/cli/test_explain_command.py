# SPDX-License-Identifier: GPL-3.0-or-later
"""What ``explain`` and ``nearest`` print, refuse, and hand to other programs."""

from pathlib import Path

import pytest
from commands import LOW_PASS, asked, drawn, refused, tonebench, unwrapped

Capsys = pytest.CaptureFixture[str]
DESK = ("--pickup", "sedge", "--cable", "700p", "--load", "10k")


def printed(capsys: Capsys, *words: object) -> str:
    capsys.readouterr()
    assert tonebench(*words) == 0
    return unwrapped(capsys.readouterr().out)


# explain


def test_the_house_question_is_answered_in_two_sentences(capsys: Capsys) -> None:
    told = printed(capsys, "explain", "plover", *DESK)
    assert (
        "the pickup's own peak is missing at every setting; it is R1 (47 kΩ at the "
        "input) on the pickup's inductance: behind a buffer it is back (3.69 kHz, "
        "+9.9 dB)"
    ) in told
    assert ": C6 (470 nF) against the load (10 kΩ); with C6 bridged it is gone" in told
    assert "without the load it is at 16" in told
    assert " sedge → 700 pF lead → plover → 10 kΩ at bass 5, " in told


def test_json_has_features_with_ranked_causes(capsys: Capsys) -> None:
    told = asked(capsys, "explain", "plover", *DESK)
    assert told["schema"] == 1
    assert told["chain"] == "sedge → 700 pF lead → plover → 10 kΩ"
    corner = next(f for f in told["features"] if f["kind"] == "high-pass")
    assert corner["always"] is True
    assert corner["range_hz"][0] < corner["frequency_hz"] < corner["range_hz"][1]
    first = corner["causes"][0]
    assert (first["part"], first["value"]) == ("C6", 470e-9)
    assert first["frequency_shift"] == pytest.approx(-1, abs=0.1)
    assert first["without"]["gone"] is True
    assert first["without"]["words"] == "with C6 bridged"
    (missing,) = told["missing"]
    assert (missing["cause"], missing["always"]) == ("R1", True)
    assert {left["how"] for left in corner["hookup"]} >= {"buffer", "no load"}


def test_a_changed_part_is_shown_before_and_after(capsys: Capsys) -> None:
    told = asked(capsys, "explain", "plover", *DESK, "--part", "R1=470k")
    assert told["missing"] == []
    assert [f["kind"] for f in told["before"]] == ["high-pass", "low-pass"]
    words = printed(capsys, "explain", "plover", *DESK, "--part", "R1=470k")
    assert "as drawn, before the change: high-pass at 49 Hz, low-pass at 4.3" in words


def test_why_b_differs_is_told_by_band(capsys: Capsys) -> None:
    told = printed(capsys, "explain", "tern", "--against", "plover", *DESK)
    assert "presence: B is 10.9 dB quieter at 3.8" in told
    assert "it is R1 (47 kΩ) of B" in told
    assert "with B behind a buffer nothing of it is left" in told
    assert "it is C6 (470 nF) of B" in told
    assert "common practice" in told
    values = asked(capsys, "explain", "tern", "--against", "plover", *DESK)
    assert values["differences"][0]["behind"][0]["part"] == "R1"


def test_another_pickup_on_b_is_behind_it(capsys: Capsys) -> None:
    words = ("explain", "tern", "--against", "tern", "--pickup", "sedge")
    told = printed(capsys, *words, "--pickup-b", "marram", "--cable", "700p")
    assert "with B's pickup on A nothing of it is left" in told


def test_ways_to_an_aim_have_values_that_are_sold(capsys: Capsys) -> None:
    told = printed(capsys, "explain", "plover", *DESK, "--aim", "high-pass=25")
    assert "high-pass at 25 Hz: now 49 Hz; any of these parts by itself does" in told
    assert "C6 (470 nF) → 1 µF (E12) reaches 24.3 Hz" in told
    values = asked(capsys, "explain", "plover", *DESK, "--aim", "high-pass=25")
    way = values["ways"][0]
    assert (way["part"], way["e12_code"], way["e24_code"]) == ("C6", "1u", "1u")


def test_a_circuit_without_features_says_so(capsys: Capsys) -> None:
    told = printed(capsys, "explain", "straight")
    assert "nothing stands out" in told


@pytest.mark.parametrize(
    ("code", "words", "told"),
    [
        (2, ("plover", "--against", "tern", "--aim", "flat"), "are two questions"),
        (2, ("plover", "--set-b", "bass=5"), "belong to --against"),
        (2, ("plover", "--aim", "hi=3"), "there is no feature or knob to aim at 'hi'"),
        (2, ("plover", "--set", "level=0"), "plover is silent at this setting"),
        (2, ("plover", "--set", "bas=1"), "did you mean 'bass'?"),
        (2, ("plover", "--part", "R99=1k"), "there is no part 'R99'"),
        (3, ("nobody",), "nobody"),
    ],
)
def test_what_makes_no_sense_is_refused_in_one_sentence(
    code: int, words: tuple[str, ...], told: str, capsys: Capsys
) -> None:
    assert told in refused(capsys, code, "explain", *words)


# nearest


def test_nearest_setting_and_what_stays_different(capsys: Capsys) -> None:
    told = asked(capsys, "nearest", "--a", "tern", "--b", "plover", *DESK)
    assert set(told["settings"]) == {"bass", "bell", "centre", "level"}
    assert told["worst"]["frequency_hz"] == pytest.approx(3700, rel=0.05)
    assert told["worst"]["difference_db"] < -6
    assert told["residual_db_rms"] < told["start_db_rms"]
    first = told["misfits"][0]
    assert (first["side"], first["feature"]["kind"]) == ("a", "peak")
    words = printed(capsys, "nearest", "--a", "tern", "--b", "plover", *DESK)
    assert "B stays 8." in words
    assert "A has a peak at 3.69 kHz, +9.9 dB, B has not" in words


def test_a_circuit_is_nearest_to_itself_where_it_stands(
    tmp_path: Path, capsys: Capsys
) -> None:
    told = asked(capsys, "nearest", "--a", "tern", "--set-a", "tilt=7", "--b", "tern")
    assert told["settings"]["tilt"] == pytest.approx(7, abs=0.1)
    assert told["gain_db"] == pytest.approx(0, abs=0.02)
    path = drawn(tmp_path, "low-pass", LOW_PASS)
    told = asked(capsys, "nearest", "--a", path, "--b", path)
    assert (told["settings"], told["residual_db_rms"]) == ({}, 0)
    words = printed(capsys, "nearest", "--a", path, "--b", path)
    assert "(nothing to set)" in words
    assert "nothing to speak of stays different" in words


def test_several_settings_of_a_are_met_at_once(capsys: Capsys) -> None:
    words = ("nearest", "--a", "tern", "--set-a", "tilt=3,7", "--b", "tern")
    told = asked(capsys, *words)
    assert told["settings"]["tilt"] == pytest.approx(5, abs=0.1)
    assert len(told["gains_db"]) == 2
    assert " for tilt 3, " in printed(capsys, *words)


@pytest.mark.parametrize(
    ("code", "words", "told"),
    [
        (2, ("--a", "plover", "--set-a", "level=0", "--b", "tern"), "silent"),
        (2, ("--a", "tern", "--b", "plover", "--set-b", "bas=1"), "did you mean"),
        (2, ("--a", "tern", "--set-a", "tilt=3,x", "--b", "tern"), "tilt: position"),
        (2, ("--a", "tern", "--set-a", "tilt", "--b", "tern"), "cannot read 'tilt'"),
    ],
)
def test_nearest_refuses_in_one_sentence(
    code: int, words: tuple[str, ...], told: str, capsys: Capsys
) -> None:
    assert told in refused(capsys, code, "nearest", *words)
