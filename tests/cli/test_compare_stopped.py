# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison stopped at several moments: no folder, no temporary, no process left."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from commands import names_in
from sounds import RATE, noise, write_float

#: Far longer than any machine needs.
PATIENCE_S = 60
WORDS = ("compare", "--a", "tern", "--b", "plover", "--take", "take.wav", "-o", "out")
#: Stands in for the plotting library in the second process: tells its number, and
#: sleeps, so that the first one waits for the pictures for as long as a test likes.
LIBRARY = """
import os, pathlib, time
part = pathlib.Path(__file__).with_name("part")
part.write_text(str(os.getpid()))
part.rename(part.with_name("number"))
time.sleep(60)
"""


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    """Return a folder with a take of some minutes."""
    folder = tmp_path / "desk"
    folder.mkdir()
    write_float(folder / "take.wav", noise(150 * RATE))
    library = tmp_path / "path" / "matplotlib"
    library.mkdir(parents=True)
    (library / "__init__.py").write_text(LIBRARY, encoding="utf-8")
    return folder


def wait_for(is_so: Callable[[], bool]) -> None:
    end = time.monotonic() + PATIENCE_S
    while not is_so():
        assert time.monotonic() < end, "it took too long"
        time.sleep(0.002)


def started(desk: Path, *words: str) -> tuple[subprocess.Popen[str], int]:
    """Start a comparison; return it, and the number of its second process."""
    path = os.pathsep.join([str(desk.parent / "path"), *sys.path])
    process = subprocess.Popen(
        [sys.executable, "-m", "tonebench", *WORDS, *words],
        cwd=desk,
        env={**os.environ, "PYTHONPATH": path},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    number = desk.parent / "path" / "matplotlib" / "number"
    wait_for(lambda: number.exists() or process.poll() is not None)
    second = int(number.read_text(encoding="utf-8"))
    number.unlink()
    return process, second


def has_ended(number: int) -> bool:
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return True
    return False


def holds(desk: Path, pattern: str) -> bool:
    return any(desk.glob(f".out.part-*/{pattern}"))


#: The second process runs already at the first: the two passes, the clips, the last
#: file before what it hands over is needed.
#: A shell shows 130 for both: CPython ends by the signal itself when it came while a
#: text was executed, as for every dataclass that is imported, caught or not.
INTERRUPTED = (130, -signal.SIGINT)
MOMENTS = {
    "while it measures": "",
    "while clips are growing": ".*.wav.part-*",
    "while it waits for the pictures": "manifest.json",
}


def started_until(
    desk: Path, moment: str, *words: str
) -> tuple[subprocess.Popen[str], int]:
    """Start a comparison and wait for a moment; again if a busy machine slept past."""
    pattern = MOMENTS[moment]
    for _ in range(20):
        process, second = started(desk, *words)
        wait_for(lambda: holds(desk, pattern) or holds(desk, "manifest.json"))
        if holds(desk, pattern):
            return process, second
        process.kill()
        process.communicate(timeout=PATIENCE_S)
        os.kill(second, signal.SIGKILL)
    raise AssertionError(f"never met {moment}")


@pytest.mark.parametrize("sign", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.parametrize("moment", MOMENTS)
def test_an_interruption_leaves_nothing_half_written(
    desk: Path, moment: str, sign: signal.Signals
) -> None:
    process, second = started_until(desk, moment)
    process.send_signal(sign)
    out, err = process.communicate(timeout=PATIENCE_S)
    assert process.returncode in INTERRUPTED
    assert (out, err.split()) == ("", ["interrupted"])
    assert names_in(desk) == {"take.wav"}
    assert has_ended(second)


def test_an_interruption_from_the_keyboard_reaches_the_first_process_alone(
    desk: Path,
) -> None:
    """A terminal sends it to the whole group, and the second one isn't in it."""
    process, second = started(desk)
    assert os.getpgid(second) != os.getpgid(process.pid)
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=PATIENCE_S)
    assert has_ended(second)


@pytest.mark.parametrize("moment", MOMENTS)
def test_an_interrupted_force_leaves_the_earlier_folder_as_it_was(
    desk: Path, moment: str
) -> None:
    (desk / "out").mkdir()
    (desk / "out" / "manifest.json").write_text("an older one", encoding="utf-8")
    process, _ = started_until(desk, moment, "--force")
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=PATIENCE_S)
    assert process.returncode in INTERRUPTED
    assert names_in(desk) == {"take.wav", "out"}
    assert names_in(desk / "out") == {"manifest.json"}
    old = (desk / "out" / "manifest.json").read_text(encoding="utf-8")
    assert old == "an older one"


def test_a_failing_second_process_ends_the_run_with_its_reason(desk: Path) -> None:
    library = desk.parent / "path" / "matplotlib" / "__init__.py"
    library.write_text("raise MemoryError('no ink')", encoding="utf-8")
    path = os.pathsep.join([str(library.parents[1]), *sys.path])
    done = subprocess.run(
        [sys.executable, "-m", "tonebench", *WORDS],
        cwd=desk,
        env={**os.environ, "PYTHONPATH": path},
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
    )
    assert done.returncode == 70
    assert done.stdout == ""
    assert "no ink" in done.stderr
    assert names_in(desk) == {"take.wav"}


def test_after_a_killed_run_the_next_one_starts_clean(desk: Path) -> None:
    """Killed while it waits, with all but the pictures written."""
    process, second = started(desk)
    wait_for(lambda: holds(desk, "manifest.json"))
    process.kill()
    process.communicate(timeout=PATIENCE_S)
    left = f".out.part-{process.pid}"
    assert names_in(desk) == {"take.wav", left}
    os.kill(second, signal.SIGKILL)  # it sleeps, here; drawing, it would end by itself
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    again = [sys.executable, "-m", "tonebench", *WORDS]
    subprocess.run(again, cwd=desk, env=env, check=True, capture_output=True)
    assert names_in(desk) == {"take.wav", "out"}
    assert len(names_in(desk / "out")) == 11  # two clips stand beside the page
