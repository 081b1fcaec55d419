# SPDX-License-Identifier: GPL-3.0-or-later
"""Pictures drawn in a second process: the same as here, and never left waiting."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from commands import names_in
from sounds import noise, write_float

from tonebench.audio.take import Take, open_strings_hz
from tonebench.circuit.circuit import STRAIGHT
from tonebench.circuit.files import read_circuit
from tonebench.compare.verdict import MatchedCurves
from tonebench.plan.comparison import Comparison, Pairing, Side
from tonebench.report.comparison import write_comparison
from tonebench.report.drawing import KINDS, SecondHand
from tonebench.report.plots import PairPicture, draw_pair

#: A process that is told to end has this long to do it.
SOON_S = 20


def picture(name: str = "plover") -> PairPicture:
    hz = np.geomspace(20, 20_000, 481)
    names = ("E", "A", "D", "G")
    return PairPicture(
        MatchedCurves(hz, np.zeros(481), -hz / 2000),
        ("A tern", f"B {name}"),
        "B is duller",
        ("as they start",),
        "dB, at one level",
        tuple(zip(names, open_strings_hz("E1 A1 D2 G2"), strict=True)),
    )


def has_ended(number: int) -> bool:
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return True
    return False


@pytest.fixture
def stand_in(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a file that the second process runs instead of the plotting library."""
    library = tmp_path / "path" / "matplotlib"
    library.mkdir(parents=True)
    monkeypatch.syspath_prepend(library.parent)
    return library / "__init__.py"


def test_pictures_are_the_bytes_that_are_drawn_here_in_the_order_asked_for() -> None:
    asked = [picture("plover"), picture("dunlin")]
    with SecondHand() as hand:
        hand.ask(asked)
        drawn = hand.pictures()
    here = [{key: draw_pair(one, *how) for key, how in KINDS.items()} for one in asked]
    assert drawn == here
    assert len({data for one in drawn for data in one.values()}) == 8


def test_how_a_process_hashes_texts_changes_no_byte(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    drawn = []
    for seed in ("0", "4711"):
        monkeypatch.setenv("PYTHONHASHSEED", seed)
        with SecondHand() as hand:
            hand.ask([picture()])
            drawn += hand.pictures()
    assert drawn[0] == drawn[1]


def test_a_picture_that_can_not_be_drawn_is_an_error_with_its_reason() -> None:
    broken = PairPicture(None, ("A", "B"), "x", (), "dB")  # type: ignore[arg-type]
    with SecondHand() as hand:
        hand.ask([broken])
        with pytest.raises(
            RuntimeError, match=r"drawing failed with code 1: (.|\n)*no"
        ):
            hand.pictures()


@pytest.mark.parametrize("many", [1, 200])
def test_a_second_process_that_dies_early_is_an_error_with_its_reason(
    stand_in: Path, many: int
) -> None:
    """Also when what it was to draw is more than a pipe holds."""
    stand_in.write_text("raise MemoryError('no ink')", encoding="utf-8")
    with SecondHand() as hand:
        hand._process.wait(SOON_S)
        hand.ask([picture() for _ in range(many)])
        with pytest.raises(RuntimeError, match=r"drawing failed (.|\n)*no ink$"):
            hand.pictures()


def test_a_second_process_that_is_killed_is_an_error(stand_in: Path) -> None:
    stand_in.write_text("import time; time.sleep(60)", encoding="utf-8")
    with SecondHand() as hand:
        hand.ask([picture()])
        hand._process.kill()
        with pytest.raises(RuntimeError, match="drawing failed with code -9"):
            hand.pictures()


def test_a_comparison_whose_pictures_fail_leaves_no_folder(
    tmp_path: Path, stand_in: Path
) -> None:
    stand_in.write_text("raise MemoryError('no ink')", encoding="utf-8")
    take = Take(write_float(tmp_path / "take.wav", noise(4800)))
    sides = Side(STRAIGHT), Side(read_circuit("tern"))
    comparison = Comparison("t", (take,), *sides, (Pairing("one"),))
    with pytest.raises(RuntimeError, match="no ink"):
        write_comparison(comparison, tmp_path / "out")
    assert names_in(tmp_path) == {"take.wav", "path"}


@pytest.mark.parametrize("has_asked", [False, True])
@pytest.mark.parametrize("error", [ValueError, KeyboardInterrupt])
def test_a_block_that_ends_early_ends_the_second_process(
    stand_in: Path, error: type[BaseException], has_asked: bool
) -> None:
    """It is waited for as well, so that nothing of it is left."""
    stand_in.write_text("import time; time.sleep(60)", encoding="utf-8")

    def break_off() -> None:
        with SecondHand() as hand:
            numbers.append(hand._process.pid)
            if has_asked:
                hand.ask([picture()])
            raise error("mine")

    numbers: list[int] = []
    start = time.monotonic()
    with pytest.raises(error, match=r"^mine$"):
        break_off()
    assert time.monotonic() - start < SOON_S
    assert has_ended(numbers[0])


def test_an_interruption_while_handing_over_is_not_hidden(
    stand_in: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The other process doesn't read, and there is more than a pipe holds."""

    def hand_over() -> None:
        with SecondHand() as hand:
            signal.setitimer(signal.ITIMER_REAL, 0.2)
            hand.ask([picture() for _ in range(200)])

    stand_in.write_text("import time; time.sleep(60)", encoding="utf-8")
    before = signal.signal(signal.SIGALRM, signal.default_int_handler)
    try:
        start = time.monotonic()
        with pytest.raises(KeyboardInterrupt):
            hand_over()
        assert time.monotonic() - start < SOON_S
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def test_a_second_process_ends_with_the_first(tmp_path: Path, stand_in: Path) -> None:
    """Killed, the first one has no time to tell: its end of the pipe is gone."""
    number = tmp_path / "number"
    stand_in.write_text(
        "import os, pathlib\n"
        f"pathlib.Path({str(number)!r}).write_text(str(os.getpid()))",
        encoding="utf-8",
    )
    (stand_in.parent / "figure.py").touch()
    code = (
        "import time\nfrom tonebench.report.drawing import SecondHand\n"
        "with SecondHand():\n    time.sleep(60)\n"
    )
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    first = subprocess.Popen([sys.executable, "-c", code], env=env)
    end = time.monotonic() + SOON_S
    while not (number.exists() and number.read_text(encoding="utf-8")):
        assert time.monotonic() < end
        time.sleep(0.01)
    first.send_signal(signal.SIGKILL)
    first.wait(SOON_S)
    second = int(number.read_text(encoding="utf-8"))
    while not has_ended(second):
        assert time.monotonic() < end
        time.sleep(0.01)
