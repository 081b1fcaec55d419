# SPDX-License-Identifier: GPL-3.0-or-later
"""``tonebench build`` as a builder runs it: sheet, files, values, refusals."""

import csv
from pathlib import Path

import pytest
from commands import DIVIDER, VOLUME, asked, drawn, names_in, refused, tonebench

HOOKUP = ("--pickup", "sedge", "--cable", "700p", "--load", "10k")
FEW = ("--builds", "200")
#: Two equal RC's and a gain above 3 oscillate at 1/(2π·RC) = 1592 Hz or so (textbook).
SALLEN_KEY_OF_GAIN_4 = """
schema = 1
input = "in"
output = "out"
[parts]
R1 = { resistor = "10k", across = ["in", "a"] }
R2 = { resistor = "10k", across = ["a", "b"] }
C1 = { capacitor = "10n", across = ["a", "out"] }
C2 = { capacitor = "10n", across = ["b", "gnd"] }
R3 = { resistor = "10k", across = ["m", "gnd"] }
R4 = { resistor = "30k", across = ["out", "m"] }
U1 = { opamp = "generic", plus = "b", minus = "m", out = "out" }
"""


@pytest.mark.parametrize("name", ["tern", "plover", "whimbrel", "dunlin"])
def test_every_shipped_circuit_has_a_check_sheet(
    capsys: pytest.CaptureFixture[str], name: str
) -> None:
    assert tonebench("build", name, *HOOKUP, *FEW) == 0
    told = capsys.readouterr()
    assert told.err == ""
    lines = told.out.splitlines()
    for head in ("Parts", "Tolerance", "Noise", "Headroom", "Cautions"):
        assert head in lines
    assert lines[1].startswith("sedge → ")


def test_list_page_and_picture_are_written_and_told_on_stderr(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = {
        "--csv": tmp_path / "parts.csv",
        "--page": tmp_path / "sheet.html",
        "--plot": tmp_path / "band.svg",
    }
    words = [word for pair in files.items() for word in pair]
    assert tonebench("build", "tern", *FEW, *words) == 0
    told = capsys.readouterr()
    assert told.err.splitlines() == [f"wrote {path}" for path in files.values()]
    with files["--csv"].open(encoding="utf-8", newline="") as text:
        assert len(list(csv.reader(text))) == 1 + 17
    assert files["--page"].read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert files["--plot"].read_bytes().startswith(b"<?xml")
    again = refused(capsys, 6, "build", "tern", *FEW, *words)
    assert again.endswith("exists already; give another name or --force")
    assert tonebench("build", "tern", *FEW, *words, "--force") == 0


def test_nothing_is_written_when_one_of_the_files_can_not_be(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "sheet.html").write_text("an older one", encoding="utf-8")
    words = "--csv", tmp_path / "parts.csv", "--page", tmp_path / "sheet.html"
    refused(capsys, 6, "build", "tern", *FEW, *words)
    assert names_in(tmp_path) == {"sheet.html"}
    page = "--page", tmp_path / "sheet.txt"
    told = refused(capsys, 2, "build", "tern", *FEW, *page)
    assert told.endswith("a page's name must end in .html")


def test_values_are_one_json_object(capsys: pytest.CaptureFixture[str]) -> None:
    values = asked(
        capsys, "build", "tern", *HOOKUP, *FEW, "--take", "harbour-walk",
        "--battery", "7.4", "--tolerance", "capacitor=1%", "--tolerance", "C2=20%",
    )  # fmt: skip
    shares = {line["ref"]: line["tolerance"] for line in values["parts"]}
    assert shares["C2"] == 0.2
    assert shares["C3"] == 0.05  # its own: asked for is what the file doesn't say
    assert values["tolerance"]["parts"][0]["refs"] == ["C2"]
    assert values["battery"]["reading"]["volts"] == 7.4
    assert values["take"]["jack_peak_v"] == pytest.approx(0.5, abs=0.2)
    assert values["headroom"]["tired_volts"] == pytest.approx(7.2)


def test_a_reading_agrees_with_what_the_take_needs(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Volts/2 − 1.5 V of swing against what the take drives the op-amp to."""
    words = ("build", "tern", *HOOKUP, *FEW, "--set", "level=10")
    words = (*words, "--take", "harbour-pick")
    op_amps = asked(capsys, *words)["take"]["op_amps"]
    just = 2 * (max(op_amp["peak_v"] for op_amp in op_amps) + 1.5)
    assert 5.4 < just < 9
    for volts, states in ((just + 0.05, ("fine", "loudest")), (just - 0.05, "change")):
        read = asked(capsys, *words, "--battery", f"{volts}")["battery"]["reading"]
        assert read["state"] in states


def test_a_knob_and_a_part_are_heard_in_the_sheet(
    capsys: pytest.CaptureFixture[str],
) -> None:
    plain = asked(capsys, "build", "tern", *FEW)
    louder = asked(capsys, "build", "tern", *FEW, "--set", "level=10")
    assert louder["headroom"]["as_set"]["jack_v"] == pytest.approx(0.6, abs=0.01)
    assert plain["headroom"]["as_set"]["jack_v"] == pytest.approx(3.0, abs=0.01)
    other = asked(capsys, "build", "tern", *FEW, "--part", "R2=48k")
    line = next(line for line in other["parts"] if line["ref"] == "R2")
    assert line["nearest_sold"] == 47e3
    assert line["change_db"] is not None


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (("--tolerance", "C2=120%"), 2, "C2: tolerance must be from 0 to below 100 %"),
        (("--tolerance", "C99=5%"), 2, "there is no part or kind of part 'C99'"),
        (("--tolerance", "C2"), 2, "cannot read 'C2'; write it like --tolerance C3=5%"),
        (("--battery", "18"), 2, "battery must be above 0 V and at most 10.8 V"),
        (("--battery", "0"), 2, "battery must be above 0 V"),
        (("--set", "level=0"), 2, "nothing comes out with tilt 5, level 0"),
        (("--set", "bass=1"), 2, "there is no knob or switch 'bass'"),
        (("--plot", "band.gif"), 2, "a picture's name must end in .svg, .png or .pdf"),
        (("--take", "nowhere.wav"), 3, "nowhere.wav"),
    ],
)
def test_what_can_not_be_is_told_in_one_sentence(
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    words: tuple[str, ...],
    code: int,
    told: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert told in refused(capsys, code, "build", "tern", *FEW, *words)
    assert names_in(tmp_path) == set()


def test_circuits_that_can_not_be_built_are_refused(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert "straight has no parts" in refused(capsys, 2, "build", "straight")
    sheet = drawn(tmp_path, "divider", DIVIDER)
    told = refused(capsys, 2, "build", sheet, *FEW, "--battery", "9")
    assert told.startswith("divider has no supply, so a battery's reading")
    howling = drawn(tmp_path, "howling", SALLEN_KEY_OF_GAIN_4)
    told = refused(capsys, 3, "build", howling, *FEW)
    assert told.startswith("howling oscillates near 1.")
    assert "right of the axis" in told


def test_a_volume_at_an_end_and_no_knob_at_all_are_built(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    for name, text in (("divider", DIVIDER), ("volume", VOLUME)):
        assert tonebench("build", drawn(tmp_path, name, text), *FEW) == 0
        words = capsys.readouterr().out
        assert "Nothing in it clips" in words
        assert "with the knobs" not in words
