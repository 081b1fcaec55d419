# SPDX-License-Identifier: GPL-3.0-or-later
"""From an empty folder to a comparison in hand, as a person goes."""

import json
from pathlib import Path

import numpy as np
import pytest
from commands import asked, names_in, tonebench
from sounds import RATE, level_db, noise, read_clip, read_integers, sine, write_float

Capsys = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_a_new_circuit_is_checked_drawn_heard_and_compared(
    desk: Path, capsys: Capsys
) -> None:
    write_float(desk / "take.wav", noise(RATE))

    assert tonebench("new", "mine.toml") == 0
    assert "next: tonebench check mine.toml" in capsys.readouterr().out

    assert tonebench("check", "mine.toml") == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert "Warnings" not in out
    assert "  in: input, C1" in out

    words = ("--pickup", "sedge", "--cable", "700p", "--load", "1M")
    curves = ("curves", "mine.toml", "--family", "treble", *words)
    assert tonebench(*curves) == 0
    assert "sedge → 700 pF lead → mine → 1 MΩ" in capsys.readouterr().out
    files = ("--csv", "mine.csv", "--plot", "mine.svg")
    assert tonebench(*curves, *files) == 0
    treble = [curve["gain_db"] for curve in asked(capsys, *curves)["curves"]]
    assert treble[0][-100] < treble[1][-100] < treble[2][-100]  # 0, 5 and 10

    render = ("render", "take.wav", "mine.toml", *words)
    assert tonebench(*render, "-o", "bright.wav") == 0
    assert tonebench(*render, "-o", "dull.wav", "--set", "treble=0") == 0
    bright, dull = read_clip(desk / "bright.wav")[1], read_clip(desk / "dull.wav")[1]
    assert bright.shape == dull.shape == (RATE, 1)
    assert level_db(np.diff(dull, axis=0)) < level_db(np.diff(bright, axis=0)) - 3

    compare = ("compare", "--a", "mine.toml", "--b", "tern", "--take", "take.wav")
    assert tonebench(*compare, *words, "-o", "heard") == 0
    out = capsys.readouterr().out
    assert "nly the circuit differs: mine against tern." in out
    assert "Without matching, switching to B: " in out
    assert out.splitlines()[-1] == "wrote heard"
    manifest = json.loads((desk / "heard" / "manifest.json").read_bytes())
    clips = manifest["pairings"][0]["clips"]
    for letter in ("a", "b"):
        samples = read_integers(desk / "heard" / clips[letter]["file"])
        assert samples.shape == (RATE, 1)
        peak_db = 20 * np.log10(np.abs(samples).max() / 2**23)
        assert clips[letter]["peak_dbfs"] == pytest.approx(peak_db, abs=0.01)
    loudness = [clips[letter]["loudness_lufs"] for letter in ("a", "b")]
    assert loudness[0] == pytest.approx(loudness[1], abs=0.001)

    made = {"mine.toml", "mine.csv", "mine.svg", "bright.wav", "dull.wav", "heard"}
    assert names_in(desk) == made | {"take.wav"}


def test_a_file_with_a_slip_is_mended_by_what_check_says(
    desk: Path, capsys: Capsys
) -> None:
    tonebench("new", "mine.toml")
    path = desk / "mine.toml"
    good = path.read_text(encoding="utf-8")
    wrong = 'across = ["d", "gnd"]'
    assert good.count(wrong) == 1
    path.write_text(good.replace(wrong, 'across = ["dd", "gnd"]'), encoding="utf-8")
    capsys.readouterr()
    assert tonebench("check", "mine.toml") == 3
    err = capsys.readouterr().err
    line = 1 + good[: good.index(wrong)].count("\n")
    assert f"mine.toml:{line}: " in err
    assert "'dd'" in err
    assert "'d'" in err
    path.write_text(good, encoding="utf-8")
    assert tonebench("check", "mine.toml") == 0


def test_a_comparison_runs_again_to_the_same_bytes_and_only_when_forced(
    desk: Path, capsys: Capsys
) -> None:
    write_float(desk / "take.wav", sine(110, 0.5))
    (desk / "two.toml").write_text(
        'schema = 1\ntake = "take.wav"\npickup = "marram"\n'
        'a.circuit = "tern"\nb.circuit = "tern"\n'
        '[[pairings]]\nname = "dark and bright"\na = { tilt = 2 }\nb = { tilt = 8 }\n',
        encoding="utf-8",
    )
    assert tonebench("compare", "two.toml", "-o", "out") == 0
    assert "nly the settings differ" in capsys.readouterr().out
    before = {path.name: path.read_bytes() for path in (desk / "out").iterdir()}
    assert tonebench("compare", "two.toml", "-o", "out") == 6
    assert tonebench("compare", "two.toml", "-o", "out", "--force") == 0
    after = {path.name: path.read_bytes() for path in (desk / "out").iterdir()}
    assert before == after


def test_a_clip_can_be_the_take_of_the_next_circuit(desk: Path) -> None:
    """Two renders behind one another are one chain with a buffer in between."""
    write_float(desk / "take.wav", noise(2000))
    first = ("render", "take.wav", "tern", "-o", "once.wav", "--load", "1M")
    assert tonebench(*first) == 0
    assert tonebench("render", "once.wav", "straight", "-o", "twice.wav") == 0
    once, twice = read_clip(desk / "once.wav"), read_clip(desk / "twice.wav")
    assert np.array_equal(once[1], twice[1])
    assert (desk / "once.wav").read_bytes() == (desk / "twice.wav").read_bytes()
