# SPDX-License-Identifier: GPL-3.0-or-later
"""The shipped takes are what the script makes, and say what they are."""

import subprocess
import sys
import tomllib
from pathlib import Path

import make_takes
import numpy as np
import pytest
import soundfile
from listening import DEMO_AUDIO, NAMES, shipped, soundings
from noises import SAMPLE_RATE_HZ
from tunes import PERFORMANCES

STEP = 2.0**-23  # of 24 bits


def test_every_shipped_take_has_a_performance() -> None:
    assert tuple(sorted(path.stem for path in DEMO_AUDIO.glob("*.flac"))) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_the_script_makes_the_shipped_file(name: str) -> None:
    # within a step of 24 bits: on another processor sin and exp may differ in their
    # last bit, which now and then turns a rounding
    made = make_takes.samples_of(name, 1.6)
    assert np.abs(made - shipped(name)[: len(made)]).max() <= STEP


def test_the_command_writes_the_same_bytes_each_time(tmp_path: Path) -> None:
    script = Path(make_takes.__file__)
    for folder in ("one", "two"):
        command = [sys.executable, str(script), str(tmp_path / folder)]
        options = ["--only", "harbour-two", "--seconds", "0.4"]
        subprocess.run([*command, *options], check=True, capture_output=True)
    one, two = (tmp_path / folder / "harbour-two.flac" for folder in ("one", "two"))
    assert one.read_bytes() == two.read_bytes()
    assert soundfile.info(one).frames == round(0.4 * SAMPLE_RATE_HZ)


@pytest.mark.parametrize("name", NAMES)
def test_a_shipped_file_is_small_and_says_what_it_is(name: str) -> None:
    path = DEMO_AUDIO / f"{name}.flac"
    performance = PERFORMANCES[name]
    assert path.stat().st_size < 2_500_000
    with soundfile.SoundFile(path) as file:
        assert (file.samplerate, file.subtype) == (48_000, "PCM_24")
        assert file.channels == len(performance.pickups_m)
        assert 15.0 <= file.frames / file.samplerate <= 30.0
        assert (file.title, file.license) == (performance.title, "CC0-1.0")


@pytest.mark.parametrize("name", NAMES)
def test_the_file_beside_a_take_says_what_the_take_is(name: str) -> None:
    performance = PERFORMANCES[name]
    with (DEMO_AUDIO / f"{name}.take.toml").open("rb") as file:
        told = tomllib.load(file)
    instrument = told.pop("instrument")
    assert told == {
        "schema": 1,
        "audio": f"{name}.flac",
        "title": performance.title,
        "full_scale": f"{make_takes.FULL_SCALE_V:g}V",
        # key 12 is C0: the octave's number goes up at each C
        "tuning": " ".join(f"{s.name}{s.key // 12 - 1}" for s in performance.tuning),
    }
    assert ("five-string" in instrument) == (len(performance.tuning) == 5)
    assert ("channel 2" in instrument) == (len(performance.pickups_m) == 2)


@pytest.mark.parametrize("name", NAMES)
def test_notes_lie_in_order_and_within_the_take(name: str) -> None:
    length_s = len(shipped(name)) / SAMPLE_RATE_HZ
    onsets = make_takes.onsets_s(name)
    assert list(onsets) == sorted(onsets)
    assert onsets[0] > 0.1
    assert max(sounding.stop_s for sounding in soundings(name)) < length_s - 0.3


@pytest.mark.parametrize("name", NAMES)
def test_each_string_is_stopped_before_it_is_plucked_again(name: str) -> None:
    free_at = dict.fromkeys("BEADG", 0.0)
    for sounding in soundings(name):
        note = sounding.note
        arrival_s = sounding.onset_s - note.technique.pull_s[0] / 2
        assert free_at[note.string] < arrival_s, note
        free_at[note.string] = sounding.stop_s
