# SPDX-License-Identifier: GPL-3.0-or-later
"""Takes, hook-ups and circuits that don't fit together, each through the real command.

One sentence, its exit code, and nothing left behind; and what fits, though it is odd.
"""

from pathlib import Path

import numpy as np
import pytest
from commands import DIVIDER, MIXER, asked, drawn, names_in, refused, tonebench
from loaded_pickup import SMALL, write_take_file
from numpy.typing import NDArray
from sounds import RATE, level_db, noise, read_clip, read_integers, sine, write_float

Capsys = pytest.CaptureFixture[str]
#: The input is joined to ground by a part of 0 Ω.
SHORTED = """schema = 1
input = "in"
output = "out"
[parts]
R1 = { resistor = "0", across = ["in", "gnd"] }
R2 = { resistor = "1k", across = ["in", "out"] }
R3 = { resistor = "1k", across = ["out", "gnd"] }
"""
#: The same, once the switch is on.
SHORTING = """schema = 1
input = "in"
output = "out"
[switches.mute]
positions = ["on", "off"]
start = "off"
[parts]
S1 = { switch = "mute", common = "in", throws = { on = "gnd" } }
R2 = { resistor = "1k", across = ["in", "out"] }
R3 = { resistor = "1k", across = ["out", "gnd"] }
"""
#: An input between two nodes, neither of which is ground.
FLOATING = """schema = 1
output = "out"
[inputs.coil]
node = "a"
back = "b"
[parts]
R1 = { resistor = "1k", across = ["a", "out"] }
R2 = { resistor = "1k", across = ["b", "gnd"] }
R3 = { resistor = "1k", across = ["out", "gnd"] }
"""
BROKEN = DIVIDER.replace(
    'resistor = "10k", across = ["in"', 'resistor = "x", across = ["in"'
)


@pytest.fixture(autouse=True)
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in a folder of takes, pickups and circuits."""
    write_float(tmp_path / "mono.wav", noise(RATE))
    write_float(tmp_path / "two.wav", noise(RATE, 2))
    write_float(tmp_path / "three.wav", noise(1000, 3))
    write_float(tmp_path / "short.wav", sine(200, 0.2))
    (tmp_path / "inner").mkdir()
    write_float(tmp_path / "inner" / "mono.wav", noise(1000, seed=2))
    write_float(tmp_path / "known.wav", noise(1000))
    SMALL.written(tmp_path)
    write_take_file(tmp_path / "known.wav", "[recorded]", 'pickup = "small"')
    for name, text in (
        ("divider", DIVIDER), ("mixer", MIXER), ("shorted", SHORTED),
        ("shorting", SHORTING), ("floating", FLOATING), ("broken", BROKEN),
    ):  # fmt: skip
        drawn(tmp_path, name, text)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def asked_for(*lines: str, take: str = 'take = "mono.wav"', a: str = "divider") -> str:
    """Return a comparison file of a circuit against the divider."""
    top = ("schema = 1", take, 'b.circuit = "divider"', "[a]", f'circuit = "{a}"')
    return "\n".join([*top, *lines]) + "\n"


TAKES = "takes = [{}]"
FILES = [
    # takes
    (
        asked_for(take=TAKES.format('"mono.wav", "inner/mono.wav"')),
        2,
        "two takes",
    ),
    (asked_for(take=TAKES.format('"mono.wav", "mono.wav"')), 2, "two takes"),
    (asked_for(take="takes = []"), 2, "takes must be names or files"),
    (asked_for(take="takes = 3"), 2, "takes must be names or files"),
    (asked_for(take="takes = ['mono.wav', 3]"), 2, "takes must be names or files"),
    (asked_for(take='takes = "mono.wav"'), 2, "takes must be names or files"),
    (asked_for(take="dry = false"), None, "take is missing"),
    (asked_for(take="take = 'nowhere.wav'"), 2, "nowhere.wav: no such file"),
    (asked_for(take=TAKES.format('"mono.wav", "nowhere.wav"')), 2, "no such file"),
    (asked_for(take="take = 'mono.wav'\ndry = 'yes'"), 3, "dry must be true or false"),
    # circuits and hook-ups
    (asked_for(a="nobody"), 5, "[a]: there is no circuit 'nobody'"),
    (asked_for(a="shorted"), (2, "shorted.toml"), "a part of 0 ohm shorts it"),
    (asked_for(a="broken"), (6, "broken.toml"), "cannot read 'x'"),
    (asked_for("pickup = { neck = 'small' }"), 5, "divider has no input 'neck'"),
    (asked_for("pickup = 'small'", "source = '50'"), 5, "give one of the two"),
    (
        asked_for("before = { circuit = 'divider', before = 'divider' }"),
        6,
        "a neighbour",
    ),
    (
        asked_for("into = [{ circuit = 'divider', into = 'mixer' }]"),
        6,
        "a neighbour is",
    ),
    (asked_for("before = [['divider']]"), 6, "circuit must be a name or a file"),
    (asked_for("into = 'mixer'"), 5, "divider can't feed into mixer: it has 2 inputs"),
    (asked_for("before = 'divider'", a="mixer"), 5, "divider can't stand before mixer"),
    (asked_for("buffer = 'output'"), 6, 'buffer must be "input"'),
    (asked_for("buffer = true"), 6, 'buffer must be "input"'),
    (asked_for("buffer = 'input'", a="floating"), 5, "a buffer needs an input to"),
    # pairings
    (
        asked_for("[[pairings]]", "name = 'one'", "both = { treble = 3 }"),
        6,
        "there is no knob or switch 'treble'",
    ),
    (
        asked_for("[[pairings]]", "name = 'one'", "b = { mute = 'on' }", a="shorting"),
        6,
        "there is no knob or switch 'mute'",
    ),
    (
        asked_for("[[pairings]]", "name = 'one'", "a = { mute = 'up' }", a="shorting"),
        6,
        "'up'",
    ),
]


@pytest.mark.parametrize(("text", "place", "told"), FILES, ids=range(len(FILES)))
def test_a_comparison_that_contradicts_itself_is_refused_with_the_line(
    desk: Path,
    capsys: Capsys,
    text: str,
    place: int | tuple[int, str] | None,
    told: str,
) -> None:
    (desk / "comparison.toml").write_text(text, encoding="utf-8")
    before = names_in(desk)
    line = refused(capsys, 3, "compare", "comparison.toml", "-o", "out")
    file = "comparison.toml"
    if isinstance(place, tuple):
        place, file = place
    assert line.startswith(f"{file}:{place}: " if place else f"{file}: ")
    assert told in line
    assert not line.endswith(".")
    assert names_in(desk) == before


COMMANDS = [
    (3, "render three.wav mixer -o x.wav", "has 3 channels, but mixer has 2 inputs"),
    (3, "render two.wav shorted -o x.wav", "a part of 0 ohm shorts it"),
    (3, "render mono.wav shorting -o x.wav --set mute=on", "shorts the source"),
    (3, "render mono.wav divider -o x.wav --before shorted", "a part of 0 ohm shorts"),
    (3, "curves divider --into shorted --at 100", "a part of 0 ohm shorts it"),
    (2, "render mono.wav floating -o x.wav --buffer input", "a buffer needs an input"),
    (2, "render known.wav divider -o x.wav --pickup neck=small", "has no input 'neck'"),
    (3, "render known.take.toml nobody -o x.wav", "there is no circuit 'nobody'"),
    (
        3,
        "compare --a mixer --b divider --take two.wav -o out",
        "the take's 2 channels would drive the inputs of mixer one by one",
    ),
    (
        3,
        "compare --a mixer --b mixer --take two.wav --take three.wav -o out",
        "the take has 3 channels, but mixer has 2 inputs",
    ),
    (
        2,
        "compare --a mixer --b mixer --take two.wav --dry -o out",
        "a dry clip plays one pickup through no circuit",
    ),
    (
        3,
        "compare --a shorting --b divider --take mono.wav --set-a mute=on -o out",
        "shorts the source of input 'in' with mute at on",
    ),
]


@pytest.mark.parametrize(
    ("code", "words", "told"), COMMANDS, ids=[command[1] for command in COMMANDS]
)
def test_what_does_not_fit_is_refused_and_leaves_nothing(
    desk: Path, capsys: Capsys, code: int, words: str, told: str
) -> None:
    before = names_in(desk)
    assert told in refused(capsys, code, *words.split())
    assert names_in(desk) == before


# Odd, and right


def read_24(path: Path) -> NDArray[np.float64]:
    return read_integers(path) / 2.0**23


def test_a_take_too_short_for_loudness_goes_by_rms_and_says_so(
    desk: Path, capsys: Capsys
) -> None:
    """0.2 s: ITU-R BS.1770 measures in blocks of 0.4 s, and few of them mislead."""
    words = ("--a", "divider.toml", "--b", "straight", "--take", "short.wav")
    assert tonebench("compare", *words, "-o", "out") == 0
    told = capsys.readouterr().out
    assert "matched by RMS: shorter than 3 s, too short to go by loudness" in told
    a, b = (
        read_24(desk / "out" / f"as-asked-{name}.wav")
        for name in ("a-divider", "b-straight")
    )
    assert len(a) == len(b) == round(0.2 * RATE)
    assert level_db(a) == pytest.approx(level_db(b), abs=0.01)


def test_mono_into_several_inputs_is_told_once_a_side(
    desk: Path, capsys: Capsys
) -> None:
    words = ("--a", "mixer.toml", "--b", "divider.toml", "--take", "mono.wav")
    assert tonebench("compare", *words, "-o", "out") == 0
    told = capsys.readouterr().out
    assert told.count("A: one channel drives all inputs: left, right") == 1
    assert "B: one channel" not in told


def test_a_channel_for_each_input_goes_to_it_alone(desk: Path) -> None:
    """(left + right)/3: three equal resistors."""
    assert tonebench("render", "two.wav", "mixer.toml", "-o", "x.wav") == 0
    wanted = read_clip(desk / "two.wav")[1].sum(axis=1) / 3
    got = read_clip(desk / "x.wav")[1][:, 0]
    np.testing.assert_allclose(got, wanted, atol=1e-7)


def test_several_takes_in_one_comparison_are_each_paired(
    desk: Path, capsys: Capsys
) -> None:
    text = asked_for(
        "[[pairings]]", "name = 'one'", "[[pairings]]", "name = 'other'",
        take=TAKES.format('"mono.wav", "two.wav", "known.wav"'),
    )  # fmt: skip
    (desk / "comparison.toml").write_text(text, encoding="utf-8")
    told = asked(capsys, "compare", "comparison.toml", "-o", "out")
    clips = [pairing["clips"]["a"]["file"] for pairing in told["pairings"]]
    stems = [clip.partition("-a-")[0] for clip in clips]
    takes = ("mono", "two", "known")
    assert stems == [f"{take}-{name}" for take in takes for name in ("one", "other")]
    for clip in clips:
        assert (desk / "out" / clip).is_file()


def test_a_dry_clip_is_the_take_on_its_pickup_lead_and_load(desk: Path) -> None:
    """A known take on the coil alone is what it was recorded from: itself."""
    text = asked_for(take='take = "known.wav"\ndry = true\nmatch = "none"')
    (desk / "comparison.toml").write_text(text, encoding="utf-8")
    assert tonebench("compare", "comparison.toml", "-o", "out") == 0
    dry = read_24(desk / "out" / "as-they-start-dry.wav")
    take = read_clip(desk / "known.wav")[1]
    np.testing.assert_allclose(dry, take, atol=2.0**-23)
