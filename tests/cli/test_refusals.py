# SPDX-License-Identifier: GPL-3.0-or-later
"""What the command line refuses: with a code, one clear sentence, and nothing on disk.

Exit codes: 1 a check failed, 2 usage, 3 an input, 6 an output.
"""

import json
from pathlib import Path

import numpy as np
import pytest
from commands import DIVIDER, MIXER, VOLUME, drawn, names_in, refused, tonebench
from sounds import impulse, noise, read_integers, sine, write_float

#: Its volume shorts the source at 0.
SHORTING = """
schema = 1
input = "in"
output = "out"
[knobs.volume]
start = 10
[parts]
P1 = { pot = "100k", taper = "linear", knob = "volume", across = ["in", "gnd"] }
R1 = { resistor = "10k", across = ["in", "out"] }
R2 = { resistor = "10k", across = ["out", "gnd"] }
"""
BROKEN = """schema = 1
input = "in"
output = "out"
[parts]
R1 = { resistor = "-4k7", across = ["in", "out"] }
C1 = { capacitor = "twenty", across = ["out", "gnd"] }
R2 = { resistor = "1k", across = ["out", "gnd"], wattage = "2" }
"""
TWISTED = """schema = 1
titel = "x"
take = "take.wav"
match = "ear"
load = 0

[a]
circuit = "tern"

[b]
circuit = "tern"
parts = { R99 = "1k" }

[[pairings]]
name = "one"
"""


@pytest.fixture(autouse=True)
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in a folder of takes and circuits, some of them unusable."""
    write_float(tmp_path / "take.wav", sine(1000, 0.1))
    write_float(tmp_path / "hot.wav", sine(1000, 0.1, 6.0206))
    write_float(tmp_path / "three.wav", noise(1000, 3))
    write_float(tmp_path / "nan.wav", impulse(1000, (321, float("nan"))))
    write_float(tmp_path / "inf.wav", impulse(1000, (322, -np.inf)))
    write_float(tmp_path / "slow.wav", noise(1000), rate=2000)
    (tmp_path / "empty.wav").write_bytes(b"")
    (tmp_path / "text.wav").write_text("this is no sound\n", encoding="utf-8")
    (tmp_path / "cut.wav").write_bytes((tmp_path / "take.wav").read_bytes()[:9000])
    (tmp_path / "folder").mkdir()
    (tmp_path / "there.wav").write_text("an earlier clip", encoding="utf-8")
    for name, text in (
        ("shorting", SHORTING), ("broken", BROKEN), ("mixer", MIXER),
        ("divider", DIVIDER), ("twisted", TWISTED), ("volume", VOLUME),
    ):  # fmt: skip
        drawn(tmp_path, name, text)
    monkeypatch.chdir(tmp_path)
    return tmp_path


REFUSED = [
    # what is asked for makes no sense
    (2, "render take.wav tern -o x.wav --set tillt=5", "did you mean 'tilt'?"),
    (2, "render take.wav tern -o x.wav --set blend=5", "no knob or switch 'blend'"),
    (2, "render take.wav tern -o x.wav --set tilt=10.1", "from 0 to 10, got 10.1"),
    (2, "render take.wav tern -o x.wav --set tilt=-1", "from 0 to 10, got -1"),
    (2, "render take.wav tern -o x.wav --set tilt=nan", "from 0 to 10, got nan"),
    (2, "render take.wav tern -o x.wav --set tilt=up", "a number from 0 to 10"),
    (2, "render take.wav tern -o x.wav --set tilt", "write it like --set bass=7.5"),
    (2, "render take.wav tern -o x.wav --set =5", "write it like --set bass=7.5"),
    (2, "render take.wav dunlin -o x.wav --set mode=both", "volumes, blend"),
    (2, "render take.wav tern -o x.wav --part R99=1k", "there is no part 'R99'"),
    (2, "render take.wav tern -o x.wav --part C1=x", "C1: cannot read 'x'"),
    (2, "render take.wav tern -o x.wav --part U1=1k", "no single value to change"),
    (2, "render take.wav tern -o x.wav --cable 700q", "cable: cannot read '700q'"),
    (2, "render take.wav tern -o x.wav --load 0", "load must be above 0 ohm"),
    (2, "render take.wav tern -o x.wav --pickup neck=sedge", "no input 'neck'"),
    (2, "render take.wav mixer -o x.wav --before tern", "more than one input"),
    (2, "render take.wav tern -o x.mp3", "must end in .wav or .flac, got '.mp3'"),
    (2, "render take.wav tern -o x", "must end in .wav or .flac"),
    (2, "render take.wav tern -o x.flac --subtype float", "FLAC holds integers only"),
    (2, "render take.wav tern -o take.wav --force", "is the take itself"),
    (2, "curves tern --at 0", "above 0 Hz"),
    (2, "curves tern --at 20,,30", "write them like 20,100"),
    (2, "curves tern --rate 10", "rate must be from 1000 to 1000000 Hz, got 10"),
    (2, "curves tern --family tone", "there is no knob or switch 'tone'"),
    (2, "curves tern --plot x.gif", "must end in .svg, .png or .pdf"),
    (2, "curves tern --method plain", "give both"),
    (2, "new mine.txt", "must end in .toml"),
    (2, "compare --a tern", "--a, --b and --take belong together"),
    (2, "compare --a tern --b plover", "--a, --b and --take belong together"),
    (2, "compare --take take.wav -o out", "--a, --b and --take belong together"),
    (2, "compare twisted.toml -o out --load 1M", "its own keys count"),
    (2, "compare twisted.toml -o out --match rms", "its own keys count"),
    (2, "compare twisted.toml -o out --match-hz 100", "its own keys count"),
    (2, "compare twisted.toml -o out --set-a tilt=2", "its own keys count"),
    (2, "compare -o out --part-b R1=1k", "its own keys count"),
    (2, "compare tern plover -o out", "one comparison file at a time"),
    (
        2,
        "compare --a tern --b plover --take take.wav --set-both treble=3 -o out",
        "no knob or switch 'treble'; there are bass, bell, centre, level, tilt",
    ),
    (
        2,
        "compare --a tern --b plover --take take.wav --set-a bass=3 -o out",
        "there is no knob or switch 'bass'",
    ),
    (
        2,
        "compare --a tern --b plover --take take.wav --match-hz 0 -o out",
        "match_hz must be from 1 to 100000 Hz, got 0",
    ),
    # inputs that are missing or unusable
    (3, "render take.wav turn -o x.wav", "did you mean 'tern'?"),
    (3, "render take.wav nowhere.toml -o x.wav", "there is no file 'nowhere.toml'"),
    (3, "render take.wav tern -o x.wav --pickup segde", "did you mean 'sedge'?"),
    (3, "render take.wav tern -o x.wav --before turn", "did you mean 'tern'?"),
    (3, "render harbour-wolk tern -o x.wav", "did you mean 'harbour-walk'?"),
    (3, "render nowhere.wav tern -o x.wav", "no such file"),
    (3, "render folder tern -o x.wav", "folder"),
    (3, "render nan.wav tern -o x.wav", "got nan at sample frame 321 in channel 1"),
    (3, "render inf.wav tern -o x.wav", "got -inf at sample frame 322 in channel 1"),
    (3, "render empty.wav tern -o x.wav", "is empty (0 bytes)"),
    (3, "render text.wav tern -o x.wav", "can't be read as a recording"),
    (3, "render cut.wav tern -o x.wav", "is cut short"),
    (3, "render three.wav mixer -o x.wav", "3 channels, but mixer has 2 inputs"),
    (
        3,
        "render take.wav shorting -o x.wav --set volume=0",
        "P1 shorts the source of input 'in' with volume at 0",
    ),
    (3, "curves shorting --set volume=0", "P1 shorts the source"),
    (3, "check nowhere.toml", "there is no file 'nowhere.toml'"),
    (3, "check plovre", "did you mean 'plover'?"),
    (3, "check empty.wav", "is empty"),
    (3, "compare nowhere.toml -o out", "there is no file 'nowhere.toml'"),
    (3, "compare stage-or-desk -o out", "there is no comparison 'stage-or-desk'"),
    (3, "compare --a tern --b plover --take nan.wav -o out", "sample frame 321"),
    (3, "compare --a tern --b turn --take take.wav -o out", "did you mean 'tern'?"),
    (3, "compare --a tern --b mixer --take three.wav -o out", "3 channels"),
    (3, "compare --a tern --b plover --take slow.wav -o out", "sample rate above"),
    (
        3,
        "compare --a tern --b shorting --take take.wav --set-b volume=0 -o out",
        "P1 shorts the source",
    ),
    # outputs that are in the way
    (6, "render take.wav tern -o there.wav", "exists already; give another name or"),
    (6, "render take.wav tern -o nowhere/x.wav", "its folder 'nowhere' doesn't exist"),
    (6, "render take.wav tern -o folder.wav/x.wav", "doesn't exist"),
    (6, "new divider.toml", "exists already"),
    (6, "curves tern --csv there.wav", "exists already"),
    (6, "curves tern --plot nowhere/x.svg", "its folder 'nowhere' doesn't exist"),
    (6, "compare --a tern --b plover --take take.wav -o nowhere/out", "folder"),
    (6, "compare --a tern --b plover --take take.wav -o there.wav", "is not a folder"),
    (6, "compare --a tern --b plover --take take.wav -o .", "exists already"),
    # it ran, and a check failed
    (1, "render hot.wav straight -o x.wav --subtype pcm24", "6.02 dB over full scale"),
    (1, "render hot.wav straight -o x.wav --subtype pcm16", "pcm16 ends there"),
    (1, "render hot.wav straight -o x.flac", "write a float WAV, or turn it down"),
]
cases = pytest.mark.parametrize(
    ("code", "words", "told"), REFUSED, ids=[words for _, words, _ in REFUSED]
)


def snapshot(folder: Path) -> dict[str, bytes]:
    """Return all there is in a folder, hidden names and folders too."""
    found = {str(p): p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    return found | {str(p): b"" for p in folder.rglob("*") if p.is_dir()}


@cases
def test_it_is_refused_in_one_sentence_and_leaves_nothing(
    desk: Path, capsys: pytest.CaptureFixture[str], code: int, words: str, told: str
) -> None:
    before = snapshot(desk)
    line = refused(capsys, code, *words.split())
    assert told in line
    assert not line.endswith(".")
    assert line[:1] == line[:1].lower() or line[0] in "PRCU"  # a designator
    assert snapshot(desk) == before


@cases
def test_it_is_refused_as_one_json_object_too(
    desk: Path, capsys: pytest.CaptureFixture[str], code: int, words: str, told: str
) -> None:
    if words.startswith("new"):
        words = words.replace("new", "check", 1).replace("divider", "nowhere")
        code, told = 3, "there is no file"  # new has nothing to tell a program
    assert tonebench(*words.split(), "--json") == code
    out, err = capsys.readouterr()
    assert out == ""
    values = json.loads(err)
    assert set(values) == {"code", "message", "faults"}
    assert values["code"] == code
    assert told in values["message"]
    assert values["faults"] == []


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("", "Missing argument 'TAKE'"),
        ("take.wav tern", "Missing option '-o'"),
        ("take.wav tern -o x.wav --subtype mp3", "'mp3' is not one of"),
        ("take.wav tern -o x.wav --place shelf", "'shelf' is not one of"),
        ("take.wav tern -o x.wav --tirm", "No such option"),
        ("take.wav tern more -o x.wav", "unexpected extra argument"),
    ],
)
def test_usage_is_told_for_people_and_for_programs(
    desk: Path, capsys: pytest.CaptureFixture[str], words: str, told: str
) -> None:
    before = snapshot(desk)
    assert tonebench("render", *words.split()) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert told in err
    assert "tonebench render --help" in err
    assert tonebench("render", *words.split(), "--json") == 2
    values = json.loads(capsys.readouterr().err)
    assert values["code"] == 2
    assert told in values["message"]
    assert snapshot(desk) == before


def test_an_unknown_command_is_usage(capsys: pytest.CaptureFixture[str]) -> None:
    assert tonebench("rendre") == 2
    assert "No such command 'rendre'" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words",
    [
        "check broken",
        "render take.wav broken.toml -o x.wav",
        "curves broken.toml",
        "curves tern --before broken.toml",
        "compare --a broken.toml --b tern --take take.wav -o out",
    ],
)
def test_all_faults_of_a_circuit_file_are_told_with_their_lines(
    desk: Path, capsys: pytest.CaptureFixture[str], words: str
) -> None:
    before = snapshot(desk)
    assert tonebench(*words.split()) == 3
    out, err = capsys.readouterr()
    assert out == ""
    *lines, count = err.splitlines()
    assert [line.split(":")[2] for line in lines] == ["5", "6", "7"]
    for line, told in zip(lines, ("-4k7", "twenty", "wattage"), strict=True):
        assert line.startswith("tonebench: broken.toml:")
        assert told in line or "-4700" in line
    assert count == "tonebench: 3 faults"

    assert tonebench(*words.split(), "--json") == 3
    values = json.loads(capsys.readouterr().err)
    assert values["code"] == 3
    got = [(f["file"], f["line"], f["part"]) for f in values["faults"]]
    file = "broken.toml"
    assert got == [(file, 5, "R1"), (file, 6, "C1"), (file, 7, "R2")]
    for fault in values["faults"]:
        assert set(fault) == {"file", "line", "part", "message", "hint"}
        assert fault["message"] in values["message"]
    assert snapshot(desk) == before


def test_all_faults_of_a_comparison_file_are_told_with_their_lines(
    desk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert tonebench("compare", "twisted.toml", "-o", "out", "--json") == 3
    out, err = capsys.readouterr()
    assert out == ""
    faults = json.loads(err)["faults"]
    assert [fault["line"] for fault in faults] == [2, 4, 5, 12]
    assert [fault["part"] for fault in faults] == ["", "", "", "[b]"]
    assert {fault["file"] for fault in faults} == {"twisted.toml"}
    assert "out" not in names_in(desk)


def test_trim_makes_a_hot_result_fit(desk: Path) -> None:
    words = ("render", "hot.wav", "straight", "-o", "x.wav", "--subtype", "pcm24")
    assert tonebench(*words, "--trim") == 0
    peak = np.abs(read_integers(desk / "x.wav")).max() / 2**23
    assert 20 * np.log10(peak) == pytest.approx(-1, abs=0.01)


def test_a_fault_of_ours_keeps_its_traceback_and_ends_with_70(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise ZeroDivisionError("a slip of ours")

    monkeypatch.setattr("tonebench.plan.shelf.shelf", fail)
    assert tonebench("list") == 70
    out, err = capsys.readouterr()
    assert out == ""
    assert "ZeroDivisionError: a slip of ours" in err
    assert err.splitlines()[-1].startswith("this is a fault in tonebench itself")


@pytest.mark.parametrize("option", ["--csv", "--plot"])
def test_a_circuit_is_never_written_over_by_its_own_curves(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], option: str
) -> None:
    path = drawn(tmp_path, "mine", DIVIDER)
    before = path.read_bytes()
    words = ("curves", path, option, path, "--force")
    assert "is read by this command" in refused(capsys, 2, *words)
    assert path.read_bytes() == before
