# SPDX-License-Identifier: GPL-3.0-or-later
"""A trim by hand, the common gain under −1 dBTP, and the levels told of every clip."""

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from commands import DIVIDER, asked, drawn, refused, tonebench
from scipy.signal import resample_poly
from sounds import level_db, read_clip, read_integers, sine, write_float

from tonebench.audio.bands import OCTAVE_NAMES
from tonebench.plan.files import read_comparison

Shell = pytest.CaptureFixture[str]
FILE = """
schema = 1
take = "take.wav"
{more}
[a]
circuit = "divider.toml"
[b]
circuit = "divider.toml"
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    drawn(tmp_path, "divider", DIVIDER)
    write_float(tmp_path / "take.wav", sine(1000, 4, -12))
    return tmp_path


def compared(capsys: Shell, folder: Path, more: str, *words: str) -> dict[str, Any]:
    (folder / "both.toml").write_text(FILE.format(more=more))
    out = str(folder / "out")
    return asked(capsys, "compare", "both.toml", "-o", out, "--force", *words)


@pytest.mark.parametrize("trim", [0.05, -0.05, 1.5, -6.0, 6.0])
@pytest.mark.parametrize("is_asked", [True, False])
def test_b_is_trimmed_by_as_much_as_its_clip_says(
    capsys: Shell, folder: Path, trim: float, is_asked: bool
) -> None:
    words = ("--trim-b", str(trim)) if is_asked else ()
    told = compared(capsys, folder, "" if is_asked else f"trim_b = {trim}", *words)
    assert told["match"]["trim_b_db"] == trim
    (pairing,) = told["pairings"]
    clips = [pairing["clips"][letter] for letter in "ab"]
    levels = [level_db(read_integers(folder / "out" / c["file"])) for c in clips]
    assert levels[1] - levels[0] == pytest.approx(trim, abs=1e-3)
    assert clips[1]["gain_db"] - clips[0]["gain_db"] == pytest.approx(trim, abs=1e-9)
    assert max(clip["gain_db"] for clip in clips) == 0
    sign = "+" if trim > 0 else "−"
    by = f"{sign}{abs(trim):.2f} dB"
    notice = f"B is trimmed by hand after matching, by {by}; the curves leave that out"
    assert pairing["verdict"][2] == "At one level the curves of A and B are the same."
    assert pairing["notices"] == [notice]
    assert notice in (folder / "out" / "index.html").read_text(
        encoding="utf-8"
    ).replace("\N{NO-BREAK SPACE}", " ")


def test_the_option_goes_before_the_key_of_the_file(
    capsys: Shell, folder: Path
) -> None:
    told = compared(capsys, folder, "trim_b = 2", "--trim-b", "0")
    assert told["match"]["trim_b_db"] == 0
    assert told["pairings"][0]["notices"] == []


@pytest.mark.parametrize("trim", ["0.03", "6.05", "-7", "nan"])
def test_a_trim_between_the_steps_or_beyond_the_ends_is_refused(
    capsys: Shell, folder: Path, trim: str
) -> None:
    told = refused(
        capsys, 2, "compare", "--a", "divider.toml", "--b", "divider.toml", "--take",
        "take.wav", "--trim-b", trim, "-o", "out",
    )  # fmt: skip
    got = f"{float(trim):g}"
    assert told == f"trim_b must be from -6 to 6 dB in steps of 0.05 dB, got {got}"
    assert not (folder / "out").exists()


def test_a_wrong_trim_in_a_file_is_a_fault_of_its_line(
    capsys: Shell, folder: Path
) -> None:
    (folder / "both.toml").write_text(FILE.format(more="trim_b = 0.51"))
    told = refused(capsys, 3, "compare", "both.toml", "-o", "out")
    assert "both.toml:4: trim_b must be from -6 to 6 dB" in told


def test_a_trim_is_read_as_the_step_that_is_meant(folder: Path) -> None:
    (folder / "both.toml").write_text(FILE.format(more="trim_b = 0.15"))
    assert read_comparison(folder / "both.toml").match.trim_b_db == 0.15


def test_one_gain_brings_the_true_peak_of_the_set_to_minus_1_dbtp(
    capsys: Shell, folder: Path
) -> None:
    # a sine of a quarter of the rate, sampled beside its crests: 3.01 dB between them;
    # the second method takes 16 values a sample
    n = np.arange(4 * 48_000)
    sound = 2.5 * np.sin(np.pi / 2 * n + np.pi / 4)
    sound *= np.minimum(1, np.minimum(n, n[::-1]) / 4800)
    write_float(folder / "take.wav", sound)
    told = compared(capsys, folder, "", "--trim-b", "3")
    assert told["ceiling_dbtp"] == -1
    assert told["trim_db"] < 0
    clips = told["pairings"][0]["clips"]
    assert max(clip["true_peak_dbtp"] for clip in clips.values()) == pytest.approx(
        -1, abs=1e-9
    )
    for clip in clips.values():
        _, samples = read_clip(folder / "out" / clip["file"])
        between = np.abs(resample_poly(samples, 16, 1, axis=0)).max()
        assert 20 * math.log10(between) <= -1 + 0.1


def test_every_clip_tells_its_levels_as_it_is_heard(
    capsys: Shell, folder: Path
) -> None:
    # closed forms for a sine of 1 kHz: RMS and crest 3.01 dB, one octave holds all;
    # loudness of one channel: peak − 3.00 LUFS (BS.1770-5)
    told = compared(capsys, folder, "", "--trim-b", "-6")
    for letter, peak in (("a", -12 - 6.0206), ("b", -12 - 6.0206 - 6)):
        clip = told["pairings"][0]["clips"][letter]
        for key in ("loudness_lufs", "momentary_max_lufs", "short_term_max_lufs"):
            assert clip[key] == pytest.approx(peak - 3.00, abs=0.02)
        assert clip["loudness_range_lu"] == pytest.approx(0, abs=0.01)
        assert clip["crest_db"] == pytest.approx(3.0103, abs=1e-3)
        assert clip["rms_dbfs"] == pytest.approx(peak - 3.0103, abs=1e-3)
        octaves = clip["octaves_dbfs"]
        assert list(octaves) == list(OCTAVE_NAMES)
        assert octaves["1k"] == pytest.approx(peak - 3.0103, abs=0.1)
        assert all(v < peak - 35 for k, v in octaves.items() if k not in ("1k", "2k"))


def test_a_short_clip_has_no_short_term_loudness_and_is_matched_by_rms(
    capsys: Shell, folder: Path
) -> None:
    write_float(folder / "take.wav", sine(1000, 0.2, -12))
    told = compared(capsys, folder, "")
    (pairing,) = told["pairings"]
    clip = pairing["clips"]["a"]
    assert pairing["matched_by"] == "rms"
    assert clip["short_term_max_lufs"] is None
    assert clip["momentary_max_lufs"] is None
    assert clip["loudness_range_lu"] is None
    assert clip["crest_db"] == pytest.approx(3.01, abs=0.01)


def test_the_words_tell_the_limit_where_the_set_was_turned(
    capsys: Shell, folder: Path
) -> None:
    write_float(folder / "take.wav", sine(1000, 4, 9))
    (folder / "both.toml").write_text(FILE.format(more=""))
    assert tonebench("compare", "both.toml", "-o", "out") == 0
    told = "all clips are turned by −4.0 dB to keep the set's true peak at −1 dBTP"
    assert told in capsys.readouterr().out
    page = (folder / "out" / "index.html").read_text(encoding="utf-8")
    assert (
        "All clips are turned by −4.0 dB to keep the set's true peak at −1 dBTP."
        in page
    )
    assert "loudest 3 s (short-term)" in page
