# SPDX-License-Identifier: GPL-3.0-or-later
"""Stopping a long run: nothing is left behind, and the code says what happened."""

import os
import signal
import subprocess
import sys
import time
import wave
from pathlib import Path

import pytest
from commands import names_in

#: Far longer than any machine needs to start, far shorter than the run would take.
PATIENCE_S = 60
MINUTES = 60


@pytest.fixture
def long_take(tmp_path: Path) -> Path:
    """Return an hour of silence, which takes no room on most disks."""
    path = tmp_path / "long.wav"
    with wave.open(str(path), "wb") as file:
        file.setparams((1, 2, 48_000, 0, "NONE", ""))
        file.setnframes(MINUTES * 60 * 48_000)
        file.writeframesraw(b"\0\0")
        file._datawritten = file._nframes * 2  # type: ignore[attr-defined]
    size = 44 + MINUTES * 60 * 48_000 * 2
    with path.open("r+b") as raw:
        raw.seek(4)
        raw.write((size - 8).to_bytes(4, "little"))
        raw.seek(40)
        raw.write((size - 44).to_bytes(4, "little"))
    os.truncate(path, size)
    return path


def started(folder: Path, *words: object) -> subprocess.Popen[str]:
    """Start a command, and wait until its first file has begun to grow."""
    process = subprocess.Popen(
        [sys.executable, "-m", "tonebench", *map(str, words)],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    end = time.monotonic() + PATIENCE_S
    while not any(".part-" in name for name in names_in(folder)):
        if process.poll() is not None or time.monotonic() > end:
            process.kill()
            pytest.fail(f"it did not begin: {process.communicate()}")
        time.sleep(0.01)
    return process


@pytest.mark.parametrize("sign", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.parametrize(
    "words",
    [
        ("render", "long.wav", "plover", "-o", "out.wav"),
        ("compare", "--a", "tern", "--b", "plover", "--take", "long.wav", "-o", "out"),
    ],
    ids=["render", "compare"],
)
def test_an_interrupted_run_leaves_nothing_and_ends_with_130(
    tmp_path: Path, long_take: Path, words: tuple[str, ...], sign: signal.Signals
) -> None:
    process = started(tmp_path, *words)
    process.send_signal(sign)
    out, err = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 130
    assert out == ""
    assert err.split() == ["interrupted"]
    assert names_in(tmp_path) == {long_take.name}
