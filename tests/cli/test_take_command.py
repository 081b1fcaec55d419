# SPDX-License-Identifier: GPL-3.0-or-later
"""``tonebench take`` from outside: words, JSON, exit codes, and what it writes."""

import json
from pathlib import Path

import numpy as np
import pytest
from commands import asked, names_in, refused, tonebench
from sounds import RATE, sine, write_float

Shell = pytest.CaptureFixture[str]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def told(capsys: Shell, code: int, *words: str) -> str:
    capsys.readouterr()
    assert tonebench(*words) == code
    return capsys.readouterr().out


def test_what_to_mind_comes_before_the_figures(capsys: Shell, folder: Path) -> None:
    write_float(folder / "mine.wav", sine(110, 4, -12))
    lines = told(capsys, 0, "take", "mine.wav").splitlines()
    assert lines[0] == "mine: mine.wav"
    assert lines[2].startswith(
        "What it was recorded through isn't known. Unless it is the pickup's own "
        "voltage, the pickup may be counted twice: the top end is likely too dull; "
        "B − A is little affected."
    )
    assert lines[3] == "Nothing stands against it."
    assert "length         4.00 s, 1 channel at 48 kHz, WAV FLOAT" in lines
    assert "peak           −12.0 dBFS" in lines
    assert "RMS            −15.0 dBFS" in lines
    assert names_in(folder) == {"mine.wav"}


def test_what_a_take_was_recorded_through_is_told(capsys: Shell, folder: Path) -> None:
    write_float(folder / "mine.wav", sine(110, 4, -12))
    (folder / "mine.take.toml").write_text(
        'schema = 1\naudio = "mine.wav"\nfull_scale = "2V"\n[recorded]\n'
        'pickup = "sedge"\ncable = "700p"\nload = "1M"\n'
    )
    words = told(capsys, 0, "take", "mine.wav")
    chain = "sedge → 700 pF lead → straight → 1 MΩ"
    assert f"It was recorded through {chain}; that is taken out again." in words
    assert "isn't known" not in words
    # closed form: 2 V · 10^(−12/20)
    assert "volts          502 mV at the peak; full scale is 2 V" in words
    values = asked(capsys, "take", "mine.wav")
    assert values["recorded"] == [chain]
    assert values["full_scale_v"] == 2
    assert values["findings"] == []


@pytest.mark.parametrize(
    ("sound", "fault", "words"),
    [
        (np.zeros(RATE), "is silent", "It is silent: every sample is 0."),
        (np.clip(sine(100, 4, 3), -1, 1), "is clipped", "It is clipped: 800 places"),
        (
            np.where(np.arange(4 * RATE) // 100 == 77, 0, sine(1100, 4)),
            "has gaps",
            "The sound breaks off: 1 place, the first at 0.160 s",
        ),
    ],
)
def test_an_unfit_take_is_told_whole_and_ends_with_1(
    capsys: Shell, folder: Path, sound: np.ndarray, fault: str, words: str
) -> None:
    write_float(folder / "mine.wav", sound)
    assert tonebench("take", "mine.wav") == 1
    heard = capsys.readouterr()
    assert words in heard.out
    assert "digital silence" in heard.out
    assert heard.err == f"tonebench: mine.wav: {fault}; record it again\n"
    assert tonebench("take", "mine.wav", "--json") == 1
    heard = capsys.readouterr()
    assert json.loads(heard.out)["is_fit"] is False
    assert json.loads(heard.err)["code"] == 1


def test_json_holds_plain_numbers_and_null(capsys: Shell, folder: Path) -> None:
    write_float(folder / "mine.wav", sine(1000, 0.2, -12))
    capsys.readouterr()
    values = asked(capsys, "take", "mine.wav")
    assert values["peak_dbfs"] == pytest.approx(-12, abs=1e-3)
    assert values["crest_db"] == pytest.approx(3.01, abs=0.01)
    for key in ("loudness_lufs", "loudness_range_lu", "hum", "noise_floor_dbfs"):
        assert values[key] is None
    assert values["clipped"] == {"count": 0, "longest_frames": 0, "first_s": None}
    assert [finding["kind"] for finding in values["findings"]] == [
        "short",
        "load_unknown",
    ]


def test_a_tone_and_a_meter_tell_full_scale_and_write_it(
    capsys: Shell, folder: Path
) -> None:
    write_float(folder / "tone.wav", sine(400, 3, -12))
    write_float(folder / "mine.wav", sine(110, 1, -12))
    ask = ("take", "tone.wav", "--tone", "400", "--meter", "0dBu")
    words = told(capsys, 0, *ask)
    # closed form: 0 dBu at −12 dBFS makes +12 dBu, √1.2·10^0.6 V peak
    assert words.startswith(
        "Digital full scale is 4.361 V peak at the jack: the sine that just reaches it "
        "has +12.0 dBu."
    )
    assert 'In a take file:  full_scale = "4.361V"' in words
    assert "with the gain left as it is" in words
    assert names_in(folder) == {"tone.wav", "mine.wav"}
    words = told(capsys, 0, *ask, "--write", "mine.wav")
    assert words.endswith("wrote mine.take.toml\n")
    assert 'full_scale = "4.361V"' in (folder / "mine.take.toml").read_text()
    values = asked(capsys, *ask, "--write", "mine.wav")
    assert values["full_scale_v"] == pytest.approx(1.2**0.5 * 10**0.6, rel=1e-5)
    assert values["full_scale_dbu"] == pytest.approx(12, abs=1e-4)
    assert values["written"] == []
    other = refused(capsys, 6, *ask[:-1], "1V", "--write", "mine.wav")
    assert "says full_scale = 4.361 V already; --force replaces it" in other
    told(capsys, 0, *ask[:-1], "1V", "--write", "mine.wav", "--force")
    assert "5.63" in (folder / "mine.take.toml").read_text()


@pytest.mark.parametrize(
    ("code", "words", "sentence"),
    [
        (2, ["--tone", "400"], "--tone and --meter belong together"),
        (2, ["--meter", "1V"], "--tone and --meter belong together"),
        (2, ["--write", "tone.wav"], "--write and --force need --tone and --meter"),
        (1, ["--tone", "1k", "--meter", "1V"], "the tone is 400 Hz, not 1 kHz"),
        (3, ["--tone", "400", "--meter", "1V", "--write", "x.wav"], "no such file"),
    ],
)
def test_what_does_not_go_together_is_refused(
    capsys: Shell, folder: Path, code: int, words: list[str], sentence: str
) -> None:
    write_float(folder / "tone.wav", sine(400, 3, -12))
    assert sentence in refused(capsys, code, "take", "tone.wav", *words)
    assert names_in(folder) == {"tone.wav"}


def test_a_broken_recording_ends_with_3(capsys: Shell, folder: Path) -> None:
    (folder / "broken.wav").write_bytes(b"RIFF\0\0\0\0WAVE")
    write_float(folder / "nan.wav", np.array([0.1, np.nan, 0.1]))
    assert "broken.wav: can't be read" in refused(capsys, 3, "take", "broken.wav")
    assert "got nan at sample frame 1" in refused(capsys, 3, "take", "nan.wav")
    assert "no such file" in refused(capsys, 3, "take", "none.wav")
