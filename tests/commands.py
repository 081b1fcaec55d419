# SPDX-License-Identifier: GPL-3.0-or-later
"""Runs commands as a person would, and small circuits with known answers to run on."""

import json
from pathlib import Path
from typing import Any

import pytest

from tonebench.cli import run

#: Published circuits, as files.
REFERENCE = Path(__file__).parent / "reference_circuits"
#: Halves the voltage: −6.0206 dB at all frequencies, without a load.
DIVIDER = """
schema = 1
input = "in"
output = "out"
[parts]
R1 = { resistor = "10k", across = ["in", "out"] }
R2 = { resistor = "10k", across = ["out", "gnd"] }
"""
#: First-order low-pass with its corner at 1/(2π·RC) = 1591.549 Hz.
LOW_PASS = """
schema = 1
input = "in"
output = "out"
[parts]
R1 = { resistor = "10k", across = ["in", "out"] }
C1 = { capacitor = "10n", across = ["out", "gnd"] }
"""
LOW_PASS_HZ = 1591.5494309189535
#: A volume of 100 kΩ whose wiper is the output; linear, silent at 0.
VOLUME = """
schema = 1
input = "in"
output = "out"
[knobs.volume]
start = 10
[parts]
R1 = { resistor = "10k", across = ["in", "a"] }
[parts.P1]
pot = "90k"
taper = "linear"
knob = "volume"
ends = ["gnd", "a"]
wiper = "out"
"""
#: Two inputs of 10 kΩ each into 10 kΩ: (left + right) / 3.
MIXER = """
schema = 1
output = "out"
[inputs.left]
node = "l"
[inputs.right]
node = "r"
[parts]
R1 = { resistor = "10k", across = ["l", "out"] }
R2 = { resistor = "10k", across = ["r", "out"] }
R3 = { resistor = "10k", across = ["out", "gnd"] }
"""


def drawn(folder: Path, name: str, text: str) -> Path:
    """Write a circuit into a folder, and return its path."""
    path = folder / f"{name}.toml"
    path.write_text(text, encoding="utf-8")
    return path


def tonebench(*words: object) -> int:
    """Run a command; return its exit code."""
    return run([str(word) for word in words])


def asked(capsys: pytest.CaptureFixture[str], *words: object) -> dict[str, Any]:
    """Run a command with --json and return what it prints; nothing else may come."""
    capsys.readouterr()
    code = tonebench(*words, "--json")
    told = capsys.readouterr()
    assert (code, told.err) == (0, "")
    values = json.loads(told.out)
    assert isinstance(values, dict)
    return values


def refused(capsys: pytest.CaptureFixture[str], code: int, *words: object) -> str:
    """Run a command that must end with a code; return its one sentence on stderr."""
    capsys.readouterr()
    assert tonebench(*words) == code
    told = capsys.readouterr()
    assert told.out == ""
    (line,) = told.err.splitlines()
    assert line.startswith("tonebench: ")
    return line.removeprefix("tonebench: ")


def unwrapped(text: str) -> str:
    """Return a text without its line breaks, to look for a sentence in."""
    return " ".join(text.split())


def names_in(folder: Path) -> set[str]:
    """Return the names of everything in a folder, hidden files too."""
    return {path.name for path in folder.iterdir()}
