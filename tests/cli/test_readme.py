# SPDX-License-Identifier: GPL-3.0-or-later
"""The README keeps its word: its walk runs as it stands, its examples read clean."""

import doctest
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from commands import drawn, names_in
from sounds import impulse, write_float

from tonebench.circuit.files import inspect_text
from tonebench.plan.files import read_comparison
from tonebench.plan.take_files import read_take_file
from tonebench.study.notes import circuit_notes

README = Path(__file__).parents[2] / "README.md"
TEXT = README.read_text(encoding="utf-8")


def fenced(language: str) -> list[str]:
    """Return the blocks of a language, in order; "" for those that name none."""
    # every second piece between fences is inside a block, its language in front
    blocks = re.split(r"^```", TEXT, flags=re.MULTILINE)[1::2]
    named = [block.partition("\n") for block in blocks]
    return [text for head, _, text in named if head == language]


def test_the_example_for_programs_prints_what_it_says() -> None:
    """As a doctest: what stands behind >>> is run."""
    (example,) = fenced("python")
    test = doctest.DocTestParser().get_doctest(example, {}, "README", "README.md", 0)
    assert len(test.examples) > 5
    result = doctest.DocTestRunner(verbose=False).run(test)
    assert (result.failed, result.attempted) == (0, len(test.examples))


def commands() -> list[list[str]]:
    """Return the words of every command in the walk."""
    lines = "".join(fenced("")).replace("\\\n", " ").splitlines()
    found = [shlex.split(line) for line in lines if line.startswith("tonebench ")]
    strange = [line for line in lines if not line.startswith("tonebench ")]
    assert strange in ([], [". .venv/bin/activate"])
    return found


CIRCUITS = [text for text in fenced("toml") if "[parts]" in text]
COMPARISONS = [text for text in fenced("toml") if "[b]" in text]
TAKES = [text for text in fenced("toml") if "audio = " in text]


def run(folder: Path, *words: str) -> None:
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    ran = subprocess.run(
        [sys.executable, "-m", "tonebench", *words],
        cwd=folder,
        env=env,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    assert ran.returncode == 0, (words, ran.stderr)
    assert ran.stdout or "--plot" in words, words


def test_the_walk_runs_from_its_first_command_to_its_last(tmp_path: Path) -> None:
    walk = commands()
    assert {words[1] for words in walk} >= {
        "list", "curves", "render", "compare", "new", "check",
    }  # fmt: skip
    for words in walk:
        run(tmp_path, *words[1:])
    outputs = [words[words.index("-o") + 1] for words in walk if "-o" in words]
    assert {"tilt.svg", "mine.toml", *outputs} == names_in(tmp_path)

    # what is told between the blocks: the comparison in a file, run by its command
    (inline,) = re.findall(r"`tonebench (compare \S+\.toml -o \S+)`", TEXT)
    words = shlex.split(inline)
    assert words[-1] not in outputs  # a reader who followed would be refused
    (tmp_path / words[1]).write_text(COMPARISONS[0], encoding="utf-8")
    run(tmp_path, *words)
    assert (tmp_path / words[-1] / "manifest.json").is_file()


@pytest.mark.parametrize("text", CIRCUITS, ids=lambda text: text.split('"')[1])
def test_a_circuit_in_the_readme_reads_without_a_remark(text: str) -> None:
    inspection = inspect_text(text)
    assert inspection.faults == ()
    assert inspection.warnings == ()
    assert inspection.circuit
    notes = circuit_notes(inspection.circuit)
    assert notes.faults == ()
    assert notes.warnings == ()


@pytest.mark.parametrize("text", COMPARISONS)
def test_a_comparison_in_the_readme_reads_without_a_fault(
    tmp_path: Path, text: str
) -> None:
    drawn(tmp_path, "mine", CIRCUITS[0])
    made = read_comparison(drawn(tmp_path, "comparison", text))
    assert made.title in ("Mine against tern", "A buffer, or a larger capacitor")


@pytest.mark.parametrize("text", TAKES)
def test_a_take_file_in_the_readme_reads_without_a_fault(
    tmp_path: Path, text: str
) -> None:
    write_float(tmp_path / "mine.wav", impulse(10))
    (tmp_path / "mine.take.toml").write_text(text, encoding="utf-8")
    take = read_take_file(tmp_path / "mine.wav")
    assert take.recorded is not None
    assert take.full_scale_v == pytest.approx(2.75, abs=0.005)


def test_there_is_something_to_prove() -> None:
    assert len(commands()) > 8
    assert len(CIRCUITS) >= 2
    assert len(COMPARISONS) == 2
    assert len(TAKES) == 1
