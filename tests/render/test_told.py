# SPDX-License-Identifier: GPL-3.0-or-later
"""What is said of a render when it is done."""

from pathlib import Path

import pytest
from commands import MIXER, VOLUME, drawn, tonebench
from sounds import noise, sine, write_float

Capsys = pytest.CaptureFixture[str]


def lines_of(capsys: Capsys, *words: object) -> list[str]:
    capsys.readouterr()
    assert tonebench("render", *words) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out.splitlines()


def test_a_render_tells_its_chain_and_what_was_written(
    tmp_path: Path, capsys: Capsys
) -> None:
    take = write_float(tmp_path / "take.wav", sine(1000, 1.5, -20))
    out = tmp_path / "clip.wav"
    words = ("--pickup", "sedge", "--cable", "700p", "--load", "1M")
    lines = lines_of(capsys, take, "tern", "-o", out, *words)
    assert lines[0].startswith("sedge → 700 pF lead → tern → 1 MΩ")
    assert "the pickup's own voltage" in lines[0]
    start = f"wrote {out}: 1.50 s, 1 channel at 48000 Hz, peak −"
    assert lines[1].startswith(start)
    assert len(lines) == 2


def test_without_a_pickup_a_take_counts_as_its_source(
    tmp_path: Path, capsys: Capsys
) -> None:
    take = write_float(tmp_path / "take.wav", noise(100, 2))
    lines = lines_of(capsys, take, "straight", "-o", tmp_path / "clip.wav")
    assert "pickup" not in lines[0]
    assert "2 channels at 48000 Hz" in lines[1]


def test_a_trim_a_notice_and_silence_are_told(tmp_path: Path, capsys: Capsys) -> None:
    take = write_float(tmp_path / "take.wav", sine(1000, 0.1, 6))
    words = ("straight", "-o", tmp_path / "a.wav", "--subtype", "pcm24", "--trim")
    assert any("−7.0 dB" in line for line in lines_of(capsys, take, *words))
    mixer = drawn(tmp_path, "mixer", MIXER)
    lines = lines_of(capsys, take, mixer, "-o", tmp_path / "b.wav")
    assert "one channel drives all inputs: left, right" in lines
    volume = drawn(tmp_path, "volume", VOLUME)
    silent = (volume, "-o", tmp_path / "c.wav", "--set", "volume=0")
    assert any("silent" in line for line in lines_of(capsys, take, *silent))
