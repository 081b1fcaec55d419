# SPDX-License-Identifier: GPL-3.0-or-later
"""``tonebench notes`` as a player runs it: notes, tunings, takes, A against B."""

from pathlib import Path

import numpy as np
import pytest
from commands import (
    LOW_PASS,
    LOW_PASS_HZ,
    asked,
    drawn,
    names_in,
    refused,
    tonebench,
    unwrapped,
)

HOOKUP = ("--pickup", "sedge", "--cable", "700p", "--load", "10k")


def test_a_note_through_a_low_pass_is_its_closed_form(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """1/√(1 + (f/f₀)²) of each harmonic, 55 Hz apart."""
    circuit = drawn(tmp_path, "dull", LOW_PASS)
    values = asked(
        capsys, "notes", "straight", "--against", circuit, "--note", "A1",
        "--stiffness", "0",
    )  # fmt: skip
    (note,) = values["notes"]
    hz = np.array(note["frequency_hz"])
    np.testing.assert_allclose(hz, 55 * np.arange(1, len(hz) + 1), rtol=1e-12)
    wanted = -10 * np.log10(1 + (hz / LOW_PASS_HZ) ** 2)
    np.testing.assert_allclose(note["b_db"], wanted, atol=1e-9)
    np.testing.assert_allclose(note["a_db"], 0, atol=1e-9)
    assert values["b"]["circuit"] == "dull"
    assert values["take"] is None


def test_the_house_question_is_answered_on_a_low_b(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """At the desk plover's output capacitor and 10 kΩ are a high-pass: −4 dB and more.

    C6 = 470 nF into 25 kΩ ∥ 10 kΩ falls by 3 dB at 1/(2π·RC) = 47 Hz, and at 31 Hz by
    10·lg(1 + (47/31)²) = 5.2 dB (textbook).
    """
    words = ("notes", "tern", "--against", "plover", *HOOKUP, "--note", "B0")
    (note,) = asked(capsys, *words)["notes"]
    loss = note["b_db"][0] - note["b_db"][9]
    assert loss == pytest.approx(-5.2, abs=0.3)
    assert abs(note["a_db"][0] - note["a_db"][9]) < 0.2
    assert "the fundamental has −" in note["sentence"]
    assert tonebench(*words) == 0
    told = capsys.readouterr().out
    assert note["sentence"] in unwrapped(told)
    assert "A  Tilt, 1 MΩ input (tern): sedge → 700 pF lead → tern → 10 kΩ" in told


def test_a_tuning_is_told_string_by_string(capsys: pytest.CaptureFixture[str]) -> None:
    values = asked(capsys, "notes", "tern", "--tuning", "B0 E1 A1 D2 G2")
    pitches = [note["fundamental_hz"] for note in values["notes"]]
    # ISO 16, A4 = 440 Hz
    wanted = (30.8677, 41.2034, 55.0, 73.4162, 97.9989)
    assert pitches == pytest.approx(wanted, abs=1e-4)


def test_a_take_says_where_on_this_playing_the_difference_lies(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    words = ("notes", "tern", "--against", "plover", *HOOKUP, "--take", "harbour-low")
    take = asked(capsys, *words)["take"]
    assert len(take["centre_hz"]) == 29
    difference = np.array(take["b_db"]) - np.array(take["a_db"]) - take["offset_db"]
    at = dict(zip(np.round(take["centre_hz"]).astype(int), difference, strict=True))
    assert at[32] < -2  # the low B itself
    assert at[3981] < -5  # the pickup's missing peak
    assert "31.5 Hz" in take["sentence"]
    plot = tmp_path / "take.png"
    assert tonebench(*words, "--plot", plot, "--dark") == 0
    told = capsys.readouterr()
    assert told.err == f"wrote {plot}\n"
    assert take["sentence"] in unwrapped(told.out)
    assert plot.read_bytes().startswith(b"\x89PNG")


def test_one_circuit_alone_is_told_too(capsys: pytest.CaptureFixture[str]) -> None:
    words = ("notes", "whimbrel", "--set", "corner=75", "--note", "E1")
    assert tonebench(*words, "--take", "harbour-walk") == 0
    told = capsys.readouterr().out
    assert "E1 (41.2 Hz): the fundamental comes out at −" in told
    assert "Harbour walk, fingers: most of what comes out lies from" in told
    assert "B − A" not in told


def test_each_side_has_knobs_of_its_own(capsys: pytest.CaptureFixture[str]) -> None:
    """tern's level at 5 is unity; P2 in the feedback of U3 at 10 is 100k/20k = 5."""
    words = ("notes", "tern", "--against", "tern", "--note", "E1")
    (note,) = asked(capsys, *words, "--set-b", "level=10")["notes"]
    gain = np.array(note["b_db"]) - np.array(note["a_db"])
    np.testing.assert_allclose(gain, 20 * np.log10(5), atol=0.05)


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        ((), 2, "say what is played: --note B0, --tuning or --take"),
        (("--note", "H0"), 2, "'H0' is no note; write it like B0, F#1 or Eb2"),
        (("--note", "B0", "--set-b", "x=1"), 2, "--set-b and --part-b are of B"),
        (("--note", "B0", "--stiffness", "2"), 2, "stiffness must be from 0 to 0.1"),
        (("--note", "B0", "--set", "bass=2"), 2, "there is no knob or switch 'bass'"),
        (("--note", "B0", "--against", "nobody"), 3, "nobody"),
        (
            ("--note", "B0", "--note", "E1", "--plot", "notes.svg"),
            2,
            "a picture shows one note, or one take",
        ),
        (("--note", "B0", "--set", "level=0"), 2, "nothing comes out of tern here"),
    ],
)
def test_what_can_not_be_is_told_in_one_sentence(
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    words: tuple[str, ...],
    code: int,
    told: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert told in refused(capsys, code, "notes", "tern", *words)
    assert names_in(tmp_path) == set()
