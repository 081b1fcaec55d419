# SPDX-License-Identifier: GPL-3.0-or-later
"""What is slow to import is imported by what needs it alone.

Each case runs in a Python of its own, since this one has imported everything already.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest

HEAVY = ("numpy", "scipy", "soundfile", "soxr", "pedalboard", "matplotlib")
HELP = """
import sys
import tonebench.cli
sys.argv = ["tonebench", "--help"]
try:
    tonebench.cli.main()
except SystemExit as end:
    assert not end.code, end.code
"""


def imported_by(code: str) -> set[str]:
    """Run code in a new Python; return the top names of all modules it imported."""
    report = "\nimport sys\nprint(*sorted(sys.modules), file=sys.stderr)"
    ran = subprocess.run(
        [sys.executable, "-c", code + report],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )
    return {name.partition(".")[0] for name in ran.stderr.split()}


@pytest.mark.parametrize("code", ["import tonebench.cli", HELP], ids=["import", "help"])
def test_command_line_says_its_help_without_heavy_libraries(code: str) -> None:
    assert imported_by(code).isdisjoint(HEAVY)


def test_design_of_a_filter_needs_no_scipy() -> None:
    # scipy takes a second to import: the way from a circuit to a filter goes without
    code = """
from tonebench.circuit.circuit import STRAIGHT
from tonebench.circuit.hookup import Hookup, Pickup, join
from tonebench.digital.cascade import design
from tonebench.network.nodal import Network
from tonebench.network.roots import find_roots
coil = Pickup("coil", 6100.0, 2.2, 120e-12)
chain = join(STRAIGHT, Hookup({"": coil}, cable_farad=700e-12, load_ohm=1e6))
design(find_roots(Network(chain), {})[0], 48000)
"""
    assert imported_by(code).isdisjoint({"scipy", "soundfile", "matplotlib"})


def test_circuits_are_read_without_heavy_libraries() -> None:
    code = "from tonebench.circuit.files import read_circuit; read_circuit('tern')"
    assert imported_by(code).isdisjoint(HEAVY)


def test_a_heavy_import_would_be_seen() -> None:
    assert "numpy" in imported_by("import numpy")


COMMANDS = """
import wave
from tonebench.cli import run
from tonebench.digital.kernel.engine import Engine, chosen
with wave.open("take.wav", "wb") as take:
    take.setnchannels(1)
    take.setsampwidth(2)
    take.setframerate(44100)
    take.writeframes(bytes(range(256)) * 200)
hookup = ["--pickup", "sedge", "--cable", "700p", "--load", "1M"]
assert run(["curves", "plover", "--rate", "44100", *hookup]) == 0
assert run(["render", "take.wav", "plover", "-o", "out.wav", *hookup]) == 0
sides = ["--a", "tern", "--b", "plover", "--take", "take.wav"]
assert run(["compare", *sides, "-o", "heard", *hookup]) == 0
assert ("scipy" in sys.modules) == (chosen() is Engine.SCIPY)
"""


def test_curves_render_and_compare_need_no_scipy_beside_the_kernel(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert "soundfile" in imported_by("import sys" + COMMANDS)
