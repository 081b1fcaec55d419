# SPDX-License-Identifier: GPL-3.0-or-later
"""Commands at the end of a pipe, on a full disk, under an old code page."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from commands import DIVIDER, drawn, tonebench
from sounds import noise, write_float

COMMAND = [sys.executable, "-m", "tonebench"]


def environment(**more: str) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), **more}


def test_a_reader_who_hangs_up_has_seen_enough() -> None:
    words = [*COMMAND, "curves", "tern", "--family", "tilt,level", "--json"]
    with subprocess.Popen(
        words, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stdout
        assert process.stderr
        process.stdout.close()
        err = process.stderr.read()
        assert process.wait(60) == 0
    assert err == b""


@pytest.mark.parametrize("words", [["list"], ["curves", "tern", "--json"]])
def test_an_output_that_takes_nothing_is_told(words: list[str]) -> None:
    """Opened to be read, it refuses every byte, as a full disk does."""
    with Path(os.devnull).open("rb") as out:
        ran = subprocess.run(
            [*COMMAND, *words],
            env=environment(),
            stdout=out,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert ran.returncode == 6
    (line,) = ran.stderr.splitlines()
    assert line.startswith("tonebench: can't write the output (")


def test_an_old_code_page_stops_nothing(tmp_path: Path) -> None:
    """Latin-1 has ö and lacks Ω and −: people see "?", programs get JSON in ASCII."""
    text = DIVIDER.replace("10k", "4k7")
    path = drawn(tmp_path, "größe", text)

    def run(*words: str) -> bytes:
        return subprocess.run(
            [*COMMAND, *words],
            env=environment(PYTHONIOENCODING="latin-1"),
            capture_output=True,
            check=True,
        ).stdout

    told = run("check", str(path)).decode("latin-1")
    assert told.startswith("größe (größe)")
    assert "?6.0 dB at 500 Hz" in told
    assert json.loads(run("check", str(path), "--json").decode("ascii"))["parts"] == 2


def test_likely_slips_of_a_circuit_file_are_told_wherever_it_is_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """22 farads: meant 22 nanofarads, and never said without a word."""
    monkeypatch.chdir(tmp_path)
    drawn(
        tmp_path, "odd", DIVIDER + 'C1 = { capacitor = 22, across = ["out", "gnd"] }\n'
    )
    write_float(tmp_path / "take.wav", noise(100))
    sides = '[a]\ncircuit = "odd"\n[b]\ncircuit = "straight"\n'
    drawn(tmp_path, "file", f'schema = 1\ntake = "take.wav"\n{sides}')
    for words in (
        ("curves", "odd"),
        ("render", "take.wav", "odd", "-o", "clip.wav"),
        ("compare", "file.toml", "-o", "out"),
    ):
        assert tonebench(*words) == 0
        err = capsys.readouterr().err
        assert err.count("warning: odd.toml") == 1
        assert "C1" in err
