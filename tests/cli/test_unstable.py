# SPDX-License-Identifier: GPL-3.0-or-later
"""A circuit that oscillates is refused by every command that would explain it."""

from pathlib import Path

import pytest
from commands import drawn, refused, tonebench

Capsys = pytest.CaptureFixture[str]
#: A Sallen-Key low-pass whose gain of 4.3 is above 3: its Q, 1/(3 − K), is negative, so
#: its poles stand right of the axis (textbook), and R3 and R4 set K.
HOWLER = """
schema = 1
title = "Howler"
input = "in"
output = "out"
[parts]
R1 = { resistor = "10k", across = ["in", "a"] }
R2 = { resistor = "10k", across = ["a", "b"] }
C1 = { capacitor = "10n", across = ["a", "o"] }
C2 = { capacitor = "10n", across = ["b", "gnd"] }
R3 = { resistor = "10k", across = ["m", "gnd"] }
R4 = { resistor = "33k", across = ["m", "o"] }
U1 = { opamp = "generic", plus = "b", minus = "m", out = "o" }
R5 = { resistor = "100", across = ["o", "out"] }
"""


@pytest.mark.parametrize(
    "words",
    [
        ("traits", "IT"),
        ("explain", "IT"),
        ("explain", "IT", "--against", "tern"),
        ("explain", "tern", "--against", "IT"),
        ("explain", "IT", "--aim", "low-pass=1k"),
        ("nearest", "--a", "IT", "--b", "tern"),
        ("nearest", "--a", "tern", "--b", "IT"),
        ("notes", "IT", "--note", "E1"),
        ("notes", "tern", "--against", "IT", "--note", "E1"),
        ("build", "IT"),
    ],
    ids=" ".join,
)
def test_it_is_refused_with_its_pole_and_what_drives_it(
    tmp_path: Path, capsys: Capsys, words: tuple[str, ...]
) -> None:
    path = drawn(tmp_path, "howler", HOWLER)
    told = refused(capsys, 3, *(path if word == "IT" else word for word in words))
    assert told.startswith("howler oscillates near 1.")
    assert "right of the axis" in told
    assert "R3 moves it most" in told or "R4 moves it most" in told


def test_its_curve_is_drawn_with_a_warning(tmp_path: Path, capsys: Capsys) -> None:
    path = drawn(tmp_path, "howler", HOWLER)
    assert tonebench("curves", path, "--at", "100") == 0
    told = capsys.readouterr()
    assert told.err.startswith("warning: nobody will hear this curve: howler oscillat")
