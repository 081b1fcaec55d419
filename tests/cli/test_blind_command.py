# SPDX-License-Identifier: GPL-3.0-or-later
"""``tonebench blind`` as people and programs use it."""

import contextlib
import io
import json
import os
import pty
import select
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from blind_folders import Recorder, blind_folder
from commands import names_in, refused, tonebench

from tonebench.compare.blind_session import read_session

Capsys = pytest.CaptureFixture[str]
PATIENCE_S = 30


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return blind_folder(tmp_path / "c")


def answers(monkeypatch: pytest.MonkeyPatch, keys: str) -> None:
    """Pipe keys in."""
    monkeypatch.setattr(sys, "stdin", io.StringIO(keys))


def test_a_test_by_files_runs_from_piped_answers_to_its_sentence(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capsys
) -> None:
    answers(monkeypatch, "1\n" * 16)
    assert tonebench("blind", folder, "--files", tmp_path / "trials") == 0
    told = capsys.readouterr()
    assert "of 16 right. 12 were asked for before" in told.out
    assert "Seal: " in told.err
    assert told.out.splitlines()[-1].startswith(f"wrote {folder}")
    assert len(names_in(tmp_path / "trials")) == 18


def test_with_json_the_result_alone_is_on_stdout(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capsys
) -> None:
    answers(monkeypatch, "12" * 3)
    words = ("--kind", "prefer", "--trials", "6", "--listener", "Ada", "--json")
    assert tonebench("blind", folder, "--files", tmp_path / "t", *words) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["plan"]["listener"] == "Ada"
    assert told["result"]["trials"] == 6
    (path,) = folder.glob("blind-Ada-*.json")
    assert json.loads(path.read_text(encoding="utf-8")) == told


def test_a_test_that_isn_t_finished_ends_with_1_and_says_how_to_go_on(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capsys
) -> None:
    words = ("blind", folder, "--listener", "Ada B", "--files", tmp_path / "t")
    answers(monkeypatch, "112")
    assert tonebench(*words) == 1
    line = capsys.readouterr().err.splitlines()[-1]
    go_on = f"tonebench blind {folder} --listener 'Ada B' --files {tmp_path / 't'}"
    assert line == (
        f"tonebench: 3 of 16 trials are answered and kept; go on with: {go_on}"
    )
    answers(monkeypatch, "1" * 13)
    assert tonebench(*words) == 0


def test_results_are_pooled(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capsys
) -> None:
    for name in ("Ada", "Ben"):
        answers(monkeypatch, "1" * 16)
        words = ("--listener", name, "--files", tmp_path / name)
        assert tonebench("blind", folder, *words) == 0
    results = sorted(folder.glob("blind-*.json"))
    capsys.readouterr()
    assert tonebench("blind", "--pool", *results) == 0
    assert "of 32 right by 2 listeners" in capsys.readouterr().out
    assert tonebench("blind", "--pool", *results, "--json") == 0
    assert json.loads(capsys.readouterr().out)["trials"] == 32


def test_the_sound_card_is_opened_as_asked_for(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capsys
) -> None:
    card = Recorder()
    asked: list[Any] = []

    def opener(fill: Any, rate: int, channels: int, device: str | None) -> Any:
        asked.append(device)
        return card.opener(fill, rate, channels)

    monkeypatch.setattr("tonebench.audio.devices.open_output", opener)
    monkeypatch.setattr(
        "tonebench.cli.keys._piped", card.keys(lambda _: "2"), raising=True
    )
    assert tonebench("blind", folder, "--trials", 5, "--device", "built in") == 0
    assert asked == ["built in"]
    assert "of 5 right" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("code", "words", "told"),
    [
        (2, ("--trials", "3"), "trials must be from 5 to 100, got 3"),
        (2, ("--trials", "0"), "trials must be from 5 to 100, got 0"),
        (2, ("--kind", "prefer", "--trials", "9"), "must be even for a preference"),
        (2, ("--pairing", "x"), "no one pairing is called 'x'"),
        (2, ("--from", "5"), "the part must be inside the take"),
        (2, ("--listener", "a\tb"), "listener must be a name"),
    ],
)
def test_what_makes_no_sense_is_refused_before_anything_is_written(
    folder: Path, capsys: Capsys, code: int, words: tuple[str, ...], told: str
) -> None:
    before = names_in(folder)
    files = folder.parent / "t"
    assert told in refused(capsys, code, "blind", folder, "--files", files, *words)
    assert names_in(folder) == before
    assert not files.exists()


def test_other_things_than_one_folder_are_refused(
    folder: Path, tmp_path: Path, capsys: Capsys
) -> None:
    assert "give one folder" in refused(capsys, 2, "blind", folder, folder)
    assert "holds no manifest.json" in refused(capsys, 3, "blind", tmp_path)
    assert "results alone" in refused(capsys, 2, "blind", "--pool", "x", "--trials", 5)
    assert "can't be read" in refused(capsys, 3, "blind", "--pool", tmp_path / "x")
    louder = blind_folder(tmp_path / "louder", b_db=1.0)
    assert "B is 1.00 dB above A" in refused(capsys, 1, "blind", louder)


@contextlib.contextmanager
def started(
    folder: Path, *words: object
) -> Iterator[tuple[subprocess.Popen[bytes], int]]:
    """Start a test in a terminal of its own; yield it, and the terminal's far end."""
    far, near = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "tonebench", "blind", *map(str, (folder, *words))],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        stdin=near,
        stdout=near,
        stderr=near,
        start_new_session=True,
        preexec_fn=_take_terminal,
    )
    os.close(near)
    try:
        yield process, far
    finally:
        process.kill()
        process.wait(PATIENCE_S)
        os.close(far)


def _take_terminal() -> None:
    import fcntl
    import termios

    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


def wait_for(far: int, words: str) -> str:
    """Read a terminal until it shows words; return all it showed."""
    shown, end = b"", time.monotonic() + PATIENCE_S
    while words.encode() not in shown:
        assert time.monotonic() < end, shown
        if select.select([far], [], [], 0.1)[0]:
            shown += os.read(far, 65536)
    return shown.decode()


@pytest.mark.parametrize("end", ["Ctrl-C", "SIGTERM", "SIGKILL"])
def test_an_interrupted_test_in_a_terminal_keeps_every_answer(
    folder: Path, tmp_path: Path, end: str
) -> None:
    words = ("--files", tmp_path / "t", "--listener", "Ada")
    with started(folder, *words) as (process, far):
        wait_for(far, "Trial 1 of 16.")
        os.write(far, b"12\x1b[A21")  # no Enter behind them, and an arrow among them
        told = wait_for(far, "Trial 5 of 16.")
        assert told.count("No such key.") == 1
        if end == "Ctrl-C":
            os.write(far, b"\x03")
        else:
            process.send_signal(getattr(signal, end))
        if end != "SIGKILL":
            told = wait_for(far, "interrupted")
            assert f"go on with: tonebench blind {folder} --listener 'Ada'" in told
        code = process.wait(PATIENCE_S)
    assert code == (-signal.SIGKILL if end == "SIGKILL" else 130)
    session = read_session(folder / "blind-Ada.session.json")
    assert session.answers == (1, 2, 2, 1)
    assert not [name for name in names_in(folder) if ".part-" in name]
