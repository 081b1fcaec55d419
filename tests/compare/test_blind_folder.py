# SPDX-License-Identifier: GPL-3.0-or-later
"""The clips of a test are the manifest's, and at one level, or it doesn't begin."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from blind_folders import RATE, blind_folder, integers
from sounds import level_db, read_integers, write_24

from tonebench.compare.blind_folder import LevelGap, find_pair, measure_gap
from tonebench.errors import AudioError, CheckFailed, InputError, RequestError

PAIRS = (("flat", "walk.wav"), ("flat", "pick.wav"), ("dulled", "walk.wav"))


def test_a_pairing_is_found_by_its_name_and_its_take(tmp_path: Path) -> None:
    folder = blind_folder(tmp_path / "c", pairings=PAIRS)
    assert find_pair(folder, None).take == "walk.wav"
    assert find_pair(folder, "dulled").name == "dulled"
    found = find_pair(folder, "flat, pick")
    assert (found.name, found.take) == ("flat", "pick.wav")
    for name in ("flat", "sharp"):
        with pytest.raises(RequestError, match="there are 'flat, walk'; 'flat, pick'"):
            find_pair(folder, name)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (None, "holds no manifest"),
        ("{", "is not JSON"),
        ("[]", "is not of a blind test"),
        ("{}", "is not a comparison's manifest"),
        ('{"pairings": []}', "is not a comparison's manifest"),
        ('{"pairings": [{"name": "x"}]}', "is not a comparison's manifest"),
    ],
)
def test_a_folder_of_something_else_is_refused(
    tmp_path: Path, text: str | None, told: str
) -> None:
    if text is not None:
        (tmp_path / "manifest.json").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=told):
        find_pair(tmp_path, None)


def test_a_clip_that_was_changed_or_lost_is_refused(tmp_path: Path) -> None:
    folder = blind_folder(tmp_path / "c")
    write_24(folder / "0b.wav", integers(9, RATE), RATE)
    with pytest.raises(InputError, match=r"0b\.wav: is not the clip"):
        find_pair(folder, None)
    (folder / "0b.wav").unlink()
    with pytest.raises(InputError, match=r"0b\.wav: can't be read"):
        find_pair(folder, None)


def test_clips_of_two_lengths_are_refused(tmp_path: Path) -> None:
    folder = blind_folder(tmp_path / "c", pairings=PAIRS[:1])
    longer = blind_folder(tmp_path / "d", 2 * RATE, pairings=PAIRS[:1])
    values = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    other = json.loads((longer / "manifest.json").read_text(encoding="utf-8"))
    clip = other["pairings"][0]["clips"]["b"]
    values["pairings"][0]["clips"]["b"] = clip | {"file": "../d/0b.wav"}
    (folder / "manifest.json").write_text(json.dumps(values), encoding="utf-8")
    with pytest.raises(AudioError, match=r"differs from 0a\.wav in rate"):
        find_pair(folder, None)


def test_a_short_clip_is_measured_by_rms(tmp_path: Path) -> None:
    pair = find_pair(blind_folder(tmp_path / "c", RATE, b_db=-1.0), None)
    gap = measure_gap(pair)
    wanted = [level_db(read_integers(file) / 2**23) for file in pair.files]
    assert gap.by == "RMS"
    assert (gap.a_db, gap.b_db) == pytest.approx(wanted, abs=1e-9)
    assert gap.gap_db == pytest.approx(1.0, abs=1e-3)


def test_a_longer_clip_is_measured_by_loudness(tmp_path: Path) -> None:
    # the same noise 1 dB down reads 1 LU less (BS.1770: loudness is a level in dB)
    folder = blind_folder(tmp_path / "c", 4 * RATE)
    louder = integers(0, 4 * RATE)
    softer = np.round(louder * 10 ** (-1 / 20)).astype(np.int64)
    pair = find_pair(folder, None)
    write_24(pair.files[1], softer, RATE)
    gap = measure_gap(pair)
    assert gap.by == "loudness"
    assert gap.a_db - gap.b_db == pytest.approx(1.0, abs=1e-3)


@pytest.mark.parametrize("b_db", [-20.0, -20.0999, -19.9001])
def test_a_tenth_of_a_decibel_is_allowed(b_db: float) -> None:
    gap = LevelGap("loudness", -20.0, b_db)
    gap.refuse_if_apart()
    assert "0.1 dB allowed" in gap.words()


@pytest.mark.parametrize(
    ("gap", "told"),
    [
        (LevelGap("loudness", -20.0, -20.14), "A is 0.14 dB above B by loudness.*loud"),
        (LevelGap("RMS", -20.0, -17.0), "B is 3.00 dB above A by RMS.*--match rms"),
        (LevelGap("RMS", -math.inf, -17.0), "A is silent, so there is nothing"),
        (LevelGap("RMS", -math.inf, -math.inf), "A and B are silent"),
    ],
    ids=["just", "far", "one silent", "both silent"],
)
def test_more_is_refused_with_the_way_out(gap: LevelGap, told: str) -> None:
    with pytest.raises(CheckFailed, match=told):
        gap.refuse_if_apart()
