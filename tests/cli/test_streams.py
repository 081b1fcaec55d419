# SPDX-License-Identifier: GPL-3.0-or-later
"""Commands at the end of a pipe, on a full disk, under an old code page."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from commands import DIVIDER, drawn

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
