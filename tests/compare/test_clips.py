# SPDX-License-Identifier: GPL-3.0-or-later
"""Clips at one level, against what can be worked out by hand for sines.

Signals are in the manner of EBU Tech 3341 v4, table 1. Loudness by hand: −0.691 dB plus
the sum of each sine's power, weighted (ITU-R BS.1770-5, equation 2); the weights at
single frequencies are computed apart from the code under test.
"""

import hashlib
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from commands import DIVIDER, LOW_PASS, LOW_PASS_HZ, MIXER, VOLUME, drawn, names_in
from sounds import (
    RATE,
    Real,
    level_db,
    noise,
    read_integers,
    sine,
    write_24,
    write_float,
)

from tonebench.audio.take import Take
from tonebench.circuit.circuit import STRAIGHT, Circuit
from tonebench.circuit.files import read_circuit
from tonebench.compare import written
from tonebench.compare.clips import write_clips
from tonebench.compare.manifest import manifest_of
from tonebench.compare.measured import measure
from tonebench.errors import AudioError
from tonebench.plan.comparison import Comparison, Match, Pairing, Side

HALF_DB = 20 * math.log10(2)
SINE_DB = 10 * math.log10(2)  # from a sine's peak to its RMS
#: K-weighting at 48 kHz (BS.1770-5, Annex 1), computed from its two filters
K_DB = {100: -1.133, 2000: 3.071}


def compared(
    folder: Path,
    take: Path,
    a: Circuit,
    b: Circuit,
    *pairings: Pairing,
    match: Match | None = None,
) -> dict[str, Any]:
    """Make the clips of a comparison in `folder`/out; return its manifest."""
    comparison = Comparison(
        "one against the other", (Take(take),), Side(a), Side(b),
        pairings or (Pairing("as drawn"),), match or Match(),
    )  # fmt: skip
    out = folder / "out"
    out.mkdir(exist_ok=True)
    return manifest_of(write_clips(measure(comparison), out))


@pytest.fixture
def divider(tmp_path: Path) -> Circuit:
    return read_circuit(drawn(tmp_path, "divider", DIVIDER))


@pytest.fixture
def low_pass(tmp_path: Path) -> Circuit:
    return read_circuit(drawn(tmp_path, "low-pass", LOW_PASS))


@pytest.fixture
def volume(tmp_path: Path) -> Circuit:
    return read_circuit(drawn(tmp_path, "volume", VOLUME))


def stereo(*steps: tuple[float, float]) -> Real:
    one = np.concatenate([sine(1000, seconds, level) for seconds, level in steps])
    return np.stack([one, one], axis=1)


@pytest.mark.parametrize(
    ("steps", "lufs"),
    [
        (((20, -23),), -23.0),  # case 1
        (((3, -36), (18, -23), (3, -36)), -23.0),  # as case 3, a third as long
    ],
)
def test_sines_of_known_loudness_are_brought_to_one_level(
    tmp_path: Path,
    divider: Circuit,
    steps: tuple[tuple[float, float], ...],
    lufs: float,
) -> None:
    take = write_float(tmp_path / "take.wav", stereo(*steps))
    manifest = compared(tmp_path, take, STRAIGHT, divider)
    (pairing,) = manifest["pairings"]
    a, b = pairing["clips"]["a"], pairing["clips"]["b"]
    assert a["before"]["loudness_lufs"] == pytest.approx(lufs, abs=0.1)
    assert b["before"]["loudness_lufs"] == pytest.approx(lufs - HALF_DB, abs=0.1)
    for mode in ("loudness", "rms", "frequency"):
        assert pairing["jump_db"][mode] == pytest.approx(-HALF_DB, abs=1e-6)
    assert a["gain_db"] == pytest.approx(-HALF_DB, abs=1e-6)
    assert b["gain_db"] == 0
    assert a["loudness_lufs"] == pytest.approx(b["loudness_lufs"], abs=1e-6)
    assert a["loudness_lufs"] == pytest.approx(lufs - HALF_DB, abs=0.1)


def two_tones() -> tuple[Real, dict[int, float]]:
    """Return 4 s of two sines, and the RMS of each in dB re full scale."""
    levels = {100: -20.0, 2000: -26.0}
    parts = [sine(hz, 4, level) for hz, level in levels.items()]
    return parts[0] + parts[1], {hz: x - SINE_DB for hz, x in levels.items()}


def low_pass_db(hz: float) -> float:
    """Return the gain of a first-order low-pass, the textbook formula."""
    return -10 * math.log10(1 + (hz / LOW_PASS_HZ) ** 2)


def power_db(*parts_db: float) -> float:
    return 10 * math.log10(sum(10 ** (part / 10) for part in parts_db))


@pytest.mark.parametrize("mode", ["loudness", "rms", "frequency", "none"])
def test_jump_and_gains_of_two_tones_are_those_worked_out_by_hand(
    tmp_path: Path, low_pass: Circuit, mode: str
) -> None:
    samples, rms = two_tones()
    take = write_float(tmp_path / "take.wav", samples)
    match = Match(mode, LOW_PASS_HZ)
    manifest = compared(tmp_path, take, STRAIGHT, low_pass, match=match)
    (pairing,) = manifest["pairings"]
    a, b = pairing["clips"]["a"], pairing["clips"]["b"]

    before = {
        "loudness": [
            -0.691 + power_db(*(level + K_DB[hz] for hz, level in rms.items())),
            -0.691
            + power_db(
                *(level + K_DB[hz] + low_pass_db(hz) for hz, level in rms.items())
            ),
        ],
        "rms": [
            power_db(*rms.values()),
            power_db(*(level + low_pass_db(hz) for hz, level in rms.items())),
        ],
        "frequency": [0.0, -10 * math.log10(2)],  # its corner
    }
    keys = ("loudness_lufs", "rms_dbfs", "gain_at_match_hz_db")
    for key, levels in zip(keys, before.values(), strict=True):
        got = [a["before"][key], b["before"][key]]
        assert got == pytest.approx(levels, abs=0.005)
    for name, (level_a, level_b) in before.items():
        jump = level_b - level_a
        assert pairing["jump_db"][name] == pytest.approx(jump, abs=0.005)
    # the three ways disagree here, so that each is told apart
    jumps = [level_b - level_a for level_a, level_b in before.values()]
    assert min(abs(np.subtract.outer(jumps, jumps)[np.triu_indices(3, 1)])) > 0.1

    wanted = 0.0 if mode == "none" else before[mode][1] - before[mode][0]
    assert [a["gain_db"], b["gain_db"]] == pytest.approx([wanted, 0], abs=0.005)
    assert pairing["is_matched"] is (mode != "none")


def test_clips_hold_what_their_gains_say_rounded_to_24_bits(
    tmp_path: Path, divider: Circuit
) -> None:
    values = np.random.default_rng(9).integers(-(2**22), 2**22, (RATE, 2))
    take = write_24(tmp_path / "take.wav", values)
    manifest = compared(tmp_path, take, STRAIGHT, divider)
    clips = manifest["pairings"][0]["clips"]
    for letter, gain in (("a", 1.0), ("b", 0.5)):
        clip = clips[letter]
        written = read_integers(tmp_path / "out" / clip["file"])
        wanted = values * gain * 10 ** (clip["gain_db"] / 20)
        assert np.abs(written - wanted).max() <= 0.51  # half a step, and rounding
    assert clips["a"]["gain_db"] == pytest.approx(-HALF_DB, abs=1e-6)
    assert clips["b"]["gain_db"] == 0


@pytest.mark.parametrize("mode", ["loudness", "rms", "frequency"])
def test_a_against_a_jumps_by_nothing_and_gives_one_clip_twice(
    tmp_path: Path, low_pass: Circuit, mode: str
) -> None:
    take = write_float(tmp_path / "take.wav", noise(2 * RATE, 2))
    match = Match(mode)
    manifest = compared(tmp_path, take, low_pass, low_pass, match=match)
    (pairing,) = manifest["pairings"]
    assert set(pairing["jump_db"].values()) == {0.0}
    a, b = pairing["clips"]["a"], pairing["clips"]["b"]
    assert (a["gain_db"], b["gain_db"]) == (0.0, 0.0)
    assert a["file"] != b["file"]
    assert a["sha256"] == b["sha256"]
    out = tmp_path / "out"
    assert (out / a["file"]).read_bytes() == (out / b["file"]).read_bytes()


def test_one_trim_keeps_a_whole_set_under_full_scale(
    tmp_path: Path, volume: Circuit, divider: Circuit
) -> None:
    """The take's peak is 4, 12.04 dB over; 1 dB of room is common practice."""
    samples = sine(1000, 1, 20 * math.log10(4))
    take = write_float(tmp_path / "take.wav", samples)
    pairings = (Pairing("loud"), Pairing("soft", a={"volume": 2}))
    manifest = compared(tmp_path, take, volume, divider, *pairings)
    # the loudest after matching: both at the divider's 2, in the first pairing
    # by the true peak, whose meter may read 0.1 dB wide of a sine (BS.1770-5 Annex 2)
    assert manifest["trim_db"] == pytest.approx(-20 * math.log10(2) - 1, abs=0.05)
    for pairing, gain in zip(manifest["pairings"], (0.9, 0.18), strict=True):
        a, b = pairing["clips"]["a"], pairing["clips"]["b"]
        jump = 20 * math.log10(0.5 / gain)
        assert pairing["jump_db"]["loudness"] == pytest.approx(jump, abs=1e-6)
        wanted = min(0, jump), min(0, -jump)
        for clip, matched in zip((a, b), wanted, strict=True):
            turned = clip["gain_db"] - manifest["trim_db"]
            assert turned == pytest.approx(matched, abs=1e-6)
            written = read_integers(tmp_path / "out" / clip["file"]) / 2**23
            assert np.abs(written).max() <= 10 ** (-1 / 20) + 2**-23
            peak_db = 20 * math.log10(np.abs(written).max())
            assert clip["peak_dbfs"] == pytest.approx(peak_db, abs=1e-4)


def test_a_set_that_fits_is_not_trimmed(tmp_path: Path, divider: Circuit) -> None:
    take = write_float(tmp_path / "take.wav", sine(1000, 1, -2))
    assert compared(tmp_path, take, STRAIGHT, divider)["trim_db"] == 0


def test_a_silent_side_is_not_matched_and_said_to_be_silent(
    tmp_path: Path, volume: Circuit
) -> None:
    take = write_float(tmp_path / "take.wav", sine(1000, 1))
    pairing = Pairing("volume at nothing", b={"volume": 0})
    manifest = compared(tmp_path, take, STRAIGHT, volume, pairing)
    (told,) = manifest["pairings"]
    assert told["is_matched"] is False
    assert told["notices"] == ["not matched: B is silent"]
    assert told["jump_db"] == {"loudness": None, "rms": None, "frequency": None}
    a, b = told["clips"]["a"], told["clips"]["b"]
    assert (a["gain_db"], b["gain_db"]) == (0, 0)
    assert b["loudness_lufs"] is None
    assert b["peak_dbfs"] is None
    assert set(b["before"].values()) == {None}
    assert not read_integers(tmp_path / "out" / b["file"]).any()
    assert len(read_integers(tmp_path / "out" / b["file"])) == RATE


SHORT = "shorter than 3 s, too short to go by loudness"


@pytest.mark.parametrize(
    ("seconds", "peak_dbfs", "why"),
    [(0.2, -20, SHORT), (2.99, -20, SHORT), (3, -80, "too soft to go by loudness")],
)
def test_a_take_without_a_loudness_reading_is_matched_by_rms(
    tmp_path: Path, divider: Circuit, seconds: float, peak_dbfs: float, why: str
) -> None:
    """BS.1770-5 takes loudness over blocks of 400 ms, above −70 LUFS."""
    take = write_float(tmp_path / "take.wav", sine(1000, seconds, peak_dbfs))
    manifest = compared(tmp_path, take, STRAIGHT, divider)
    (pairing,) = manifest["pairings"]
    assert pairing["is_matched"] is True
    assert pairing["notices"] == [f"matched by RMS: {why}"]
    assert pairing["matched_by"] == "rms"
    has_reading = seconds >= 0.4 and peak_dbfs > -70
    assert (pairing["jump_db"]["loudness"] is not None) == has_reading
    assert pairing["jump_db"]["rms"] == pytest.approx(-HALF_DB, abs=1e-6)
    clips = pairing["clips"]
    assert clips["a"]["gain_db"] == pytest.approx(-HALF_DB, abs=1e-6)
    a, b = (read_integers(tmp_path / "out" / clips[x]["file"]) for x in "ab")
    assert level_db(a) == pytest.approx(level_db(b), abs=0.01)


def test_a_take_of_3_s_is_long_enough(tmp_path: Path, divider: Circuit) -> None:
    take = write_float(tmp_path / "take.wav", sine(1000, 3))
    (pairing,) = compared(tmp_path, take, STRAIGHT, divider)["pairings"]
    assert pairing["notices"] == []
    assert pairing["matched_by"] == "loudness"
    assert pairing["jump_db"]["loudness"] == pytest.approx(-HALF_DB, abs=1e-6)


def test_a_side_of_two_inputs_is_driven_by_a_mono_take_and_says_so(
    tmp_path: Path, divider: Circuit
) -> None:
    """(1 + 1)/3 against 1/2: B is louder by 2.4988 dB."""
    mixer = read_circuit(drawn(tmp_path, "mixer", MIXER))
    take = write_float(tmp_path / "take.wav", sine(500, 3))
    (pairing,) = compared(tmp_path, take, divider, mixer)["pairings"]
    assert pairing["notices"] == ["B: one channel drives all inputs: left, right"]
    for mode in ("loudness", "rms", "frequency"):
        wanted = 20 * math.log10(4 / 3)
        assert pairing["jump_db"][mode] == pytest.approx(wanted, abs=1e-6)


def test_channels_that_do_not_fit_are_refused(tmp_path: Path, divider: Circuit) -> None:
    mixer = read_circuit(drawn(tmp_path, "mixer", MIXER))
    take = write_float(tmp_path / "take.wav", noise(100, 3))
    with pytest.raises(AudioError, match=r"3 channels, but mixer has 2 inputs"):
        compared(tmp_path, take, divider, mixer)
    assert names_in(tmp_path / "out") == set()


@pytest.mark.parametrize(
    "names",
    [
        ("bass +3", "bass −3"),
        ("Flat", "flat", "flat!"),
        ("ぺ", "ö", "…"),
        ("x" * 100 + "1", "x" * 100 + "2"),
        ("a-a-b", "a"),
    ],
)
def test_pairings_of_names_that_differ_have_files_that_differ(
    tmp_path: Path, divider: Circuit, names: tuple[str, ...]
) -> None:
    take = write_float(tmp_path / "take.wav", noise(100))
    pairings = [Pairing(name) for name in names]
    manifest = compared(tmp_path, take, STRAIGHT, divider, *pairings)
    files = [p["clips"][x]["file"] for p in manifest["pairings"] for x in "ab"]
    assert len({file.casefold() for file in files}) == 2 * len(names)
    assert names_in(tmp_path / "out") == set(files)
    for file in files:
        assert set(file) <= set("abcdefghijklmnopqrstuvwxyz0123456789-.")
        assert not file.startswith("-")
        assert len(file) < 120
    assert [p["name"] for p in manifest["pairings"]] == list(names)


def test_sums_in_the_manifest_are_those_of_the_files(
    tmp_path: Path, divider: Circuit
) -> None:
    take = write_float(tmp_path / "take.wav", noise(1000))
    manifest = compared(tmp_path, take, STRAIGHT, divider)
    assert (
        manifest["takes"][0]["sha256"] == hashlib.sha256(take.read_bytes()).hexdigest()
    )
    for clip in manifest["pairings"][0]["clips"].values():
        data = (tmp_path / "out" / clip["file"]).read_bytes()
        assert clip["sha256"] == hashlib.sha256(data).hexdigest()


def test_progress_of_both_passes_rises_to_all_of_it(
    tmp_path: Path, divider: Circuit
) -> None:
    told: list[float] = []
    take = write_float(tmp_path / "take.wav", noise(140_000))
    sides = Side(STRAIGHT), Side(divider)
    comparison = Comparison("t", (Take(take),), *sides, (Pairing("one"),))
    measured = measure(comparison, told.append)
    write_clips(measured, tmp_path, progress=lambda share: told.append(1 + share))
    assert told == sorted(told)
    assert len(told) == 6  # three blocks of 65,536 frames, twice
    assert (told[2], told[5]) == (1, 2)


@pytest.mark.parametrize("is_short", [True, False])
def test_voices_are_packed_too_unless_the_take_is_too_long_for_a_page(
    tmp_path: Path,
    divider: Circuit,
    volume: Circuit,
    monkeypatch: pytest.MonkeyPatch,
    is_short: bool,
) -> None:
    monkeypatch.setattr(written, "MOST_PLAYED_SAMPLES", RATE if is_short else RATE - 1)
    take = Take(write_float(tmp_path / "take.wav", noise(RATE)))
    sides = Side(divider), Side(volume)
    asked = Comparison("one", (take,), *sides, (Pairing("as drawn"),))
    for name in ("out", "packed"):
        (tmp_path / name).mkdir()
    write_clips(measure(asked), tmp_path / "out", packed=tmp_path / "packed")
    wanted = {"as-drawn-a-divider.flac", "as-drawn-b-volume.flac"}
    assert names_in(tmp_path / "packed") == (wanted if is_short else set())
