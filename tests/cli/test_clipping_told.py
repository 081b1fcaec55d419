# SPDX-License-Identifier: GPL-3.0-or-later
"""Where a real unit would clip on a take and the clip doesn't, commands say so.

A follower on 9 V that stops 1.5 V short of each rail swings 3 V round its bias of 4.5 V
(subtraction); a take whose peak is full scale needs as many volts as its file tells.
"""

import json
from pathlib import Path

import pytest
from commands import drawn, tonebench
from sounds import sine, write_float

FOLLOWER = """
schema = 1
input = "in"
output = "out"
[supply]
volts = 9
[parts]
R1 = { resistor = "1M", across = ["in", "gnd"] }
U1 = { opamp = "generic", plus = "in", minus = "out", out = "out", short_of_rail = 1.5 }
"""
Capsys = pytest.CaptureFixture[str]


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    drawn(tmp_path, "follower", FOLLOWER)
    return tmp_path


def take(desk: Path, full_scale: str) -> None:
    """Write a sine that just reaches full scale, calibrated or not."""
    write_float(desk / "take.wav", sine(1000, 0.5, 0))
    lines = ["schema = 1", 'audio = "take.wav"']
    lines += [f'full_scale = "{full_scale}"'] if full_scale else []
    (desk / "take.take.toml").write_text("\n".join(lines), encoding="utf-8")


@pytest.mark.parametrize(
    ("full_scale", "is_told"), [("2.9V", False), ("3.2V", True), ("", False)]
)
def test_a_take_too_hot_for_the_unit_is_told_and_no_other(
    desk: Path, capsys: Capsys, full_scale: str, is_told: bool
) -> None:
    take(desk, full_scale)
    assert tonebench("render", "take.wav", "follower", "-o", "x.wav") == 0
    told = capsys.readouterr().out
    assert ("a real follower on 9 V would clip" in told) == is_told
    words = ("--a", "straight", "--b", "follower", "--take", "take.wav")
    assert tonebench("compare", *words, "-o", "out", "--json") == 0
    (pairing,) = json.loads(capsys.readouterr().out)["pairings"]
    found = [notice for notice in pairing["notices"] if "would clip" in notice]
    assert [notice[:3] for notice in found] == (["B: "] if is_told else [])
