# SPDX-License-Identifier: GPL-3.0-or-later
"""What is played of a take, and a test's trials as files."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from blind_folders import PLAN, RATE, blind_folder, integers
from commands import names_in
from sounds import read_integers, write_24

from tonebench.compare.blind_clips import Heard, read_part, trial_files
from tonebench.compare.blind_folder import BlindPair, find_pair
from tonebench.compare.blind_session import Session
from tonebench.errors import OutputError, RequestError

SESSION = Session(PLAN, "00112233445566778899aabbccddeeff")


def pair_of(folder: Path, frames: int, loud: slice | None = None) -> BlindPair:
    pair = find_pair(blind_folder(folder, frames), None)
    if loud:
        for seed, file in enumerate(pair.files):
            sound = integers(seed, frames) // 64
            sound[loud] *= 8
            write_24(file, sound, RATE)
    return pair


def test_a_short_take_is_played_whole_and_to_the_last_bit(tmp_path: Path) -> None:
    pair = pair_of(tmp_path / "c", 2 * RATE)
    heard = read_part(pair, None, None)
    assert (heard.start_s, heard.words) == (0.0, "0.0 to 2.0 s")
    for clip, file in zip((heard.a, heard.b), pair.files, strict=True):
        np.testing.assert_array_equal(clip * 2.0**23, read_integers(file))


def test_of_a_long_take_the_ten_seconds_with_most_sound_are_played(
    tmp_path: Path,
) -> None:
    loud = slice(12 * RATE, 21 * RATE)
    heard = read_part(pair_of(tmp_path / "c", 25 * RATE, loud), None, None)
    assert len(heard.a) == 10 * RATE
    assert 11 <= heard.start_s <= 12


def test_a_part_is_met_to_the_frame(tmp_path: Path) -> None:
    pair = pair_of(tmp_path / "c", 3 * RATE)
    heard = read_part(pair, 0.7, 2.2)
    wanted = read_integers(pair.files[1])[round(0.7 * RATE) : round(2.2 * RATE)]
    np.testing.assert_array_equal(heard.b * 2.0**23, wanted)
    assert heard.words == "0.7 to 2.2 s"


@pytest.mark.parametrize(
    ("start", "end"),
    [(-0.1, 1.0), (0.0, 3.1), (1.0, 1.2), (2.0, 1.0), (float("nan"), 1.0), (None, 0.1)],
)
def test_a_part_outside_the_take_or_too_short_is_refused(
    tmp_path: Path, start: float | None, end: float
) -> None:
    with pytest.raises(RequestError, match=r"inside the take, 0 to 3\.0 s"):
        read_part(pair_of(tmp_path / "c", 3 * RATE), start, end)


def test_a_take_shorter_than_the_shortest_part_is_played_whole(tmp_path: Path) -> None:
    assert len(read_part(pair_of(tmp_path / "c", RATE // 5), None, None).a) == 1600


@pytest.mark.parametrize("kind", ["which", "prefer"])
def test_trial_files_hold_the_clips_in_the_order_drawn(
    tmp_path: Path, kind: str
) -> None:
    heard = read_part(pair_of(tmp_path / "c", RATE), None, None)
    session = replace(SESSION, plan=replace(PLAN, kind=kind))
    out = tmp_path / "out"
    names = trial_files(out, session, heard)
    assert names_in(out) == set(names)
    clips = {1: heard.a, 2: heard.b}
    first = "x" if kind == "which" else "first"
    for number, drawn in enumerate(session.order, start=1):
        found = read_integers(out / f"trial-{number:02d}-{first}.wav")
        np.testing.assert_array_equal(found, clips[drawn] * 2.0**23)
        if kind == "prefer":
            found = read_integers(out / f"trial-{number:02d}-second.wav")
            np.testing.assert_array_equal(found, clips[3 - drawn] * 2.0**23)
    if kind == "which":
        np.testing.assert_array_equal(read_integers(out / "a.wav"), heard.a * 2.0**23)
        assert len(names) == 2 + 16


def test_files_that_are_there_are_kept_and_anything_else_is_not_touched(
    tmp_path: Path,
) -> None:
    heard = read_part(pair_of(tmp_path / "c", RATE), None, None)
    out = tmp_path / "out"
    names = trial_files(out, SESSION, heard)
    before = {name: (out / name).stat().st_mtime_ns for name in names}
    assert trial_files(out, SESSION, heard) == names
    assert before == {name: (out / name).stat().st_mtime_ns for name in names}
    other = Heard(heard.b, heard.a, RATE, 0.0)
    with pytest.raises(OutputError, match="exists already"):
        trial_files(out, SESSION, other)
    (out / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="exists already"):
        trial_files(out, SESSION, heard)


def test_neither_size_nor_time_of_a_trial_file_tells_what_it_holds(
    tmp_path: Path,
) -> None:
    heard = read_part(pair_of(tmp_path / "c", RATE), None, None)
    trial_files(tmp_path / "out", SESSION, heard)
    sizes = {path.stat().st_size for path in (tmp_path / "out").iterdir()}
    assert len(sizes) == 1
