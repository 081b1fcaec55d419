# SPDX-License-Identifier: GPL-3.0-or-later
"""Every command that draws: on light or dark paper or none, the same bytes each run."""

import io
from pathlib import Path

import pytest
from commands import asked, refused, tonebench, unwrapped
from matplotlib.image import imread

Capsys = pytest.CaptureFixture[str]
DESK = ("--pickup", "sedge", "--cable", "700p", "--load", "10k")
DRAWN = {
    "curves": ("curves", "tern", "--family", "tilt"),
    "map": ("curves", "tern", "--map", "tilt"),
    "explain": ("explain", "plover"),
    "changed": ("explain", "plover", "--part", "R1=470k", "--set", "bell=10"),
    "against": ("explain", "tern", "--against", "plover"),
    "nearest": ("nearest", "--a", "tern", "--b", "whimbrel"),
    "notes": ("notes", "tern", "--against", "plover", "--note", "B0"),
    "build": ("build", "tern", "--builds", "200"),
}


@pytest.mark.parametrize("words", DRAWN.values(), ids=DRAWN)
def test_a_command_draws_the_same_bytes_each_run(
    tmp_path: Path, capsys: Capsys, words: tuple[str, ...]
) -> None:
    for name in ("one.svg", "two.svg"):
        assert tonebench(*words, *DESK, "--plot", tmp_path / name, "--dark") == 0
    told = capsys.readouterr()
    assert f"wrote {tmp_path / 'one.svg'}" in told.err
    one, two = (tmp_path / name for name in ("one.svg", "two.svg"))
    assert one.read_bytes() == two.read_bytes()
    assert b"#1c1b19" in one.read_bytes()  # the dark paper


@pytest.mark.parametrize("words", DRAWN.values(), ids=DRAWN)
def test_without_paper_a_picture_is_a_frame_of_video(
    tmp_path: Path, words: tuple[str, ...]
) -> None:
    """1920 × 1080, nothing in its corner, and words tall enough to be read."""
    path = tmp_path / "clear.png"
    assert tonebench(*words, *DESK, "--plot", path, "--transparent") == 0
    pixels = imread(io.BytesIO(path.read_bytes()))
    assert pixels.shape == (1080, 1920, 4)
    assert pixels[0, 0, 3] == 0
    assert pixels[..., 3].max() == 1


@pytest.mark.parametrize("words", DRAWN.values(), ids=DRAWN)
def test_a_look_without_a_picture_is_refused(
    capsys: Capsys, words: tuple[str, ...]
) -> None:
    told = refused(capsys, 2, *words, "--transparent")
    assert told == (
        "--dark and --transparent say how a picture looks; name it by --plot"
    )


@pytest.mark.parametrize("words", DRAWN.values(), ids=DRAWN)
def test_a_picture_that_is_there_stays_unless_forced(
    tmp_path: Path, capsys: Capsys, words: tuple[str, ...]
) -> None:
    path = tmp_path / "mine.svg"
    path.write_text("mine", encoding="utf-8")
    assert "exists already" in refused(capsys, 6, *words, "--plot", path)
    assert path.read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("explain", "tern", "--aim", "flat"), "--aim has nothing to draw"),
        (
            ("nearest", "--a", "tern", "--set-a", "tilt=3,7", "--b", "plover"),
            "a picture shows one setting of A",
        ),
    ],
)
def test_what_is_no_picture_is_refused(
    tmp_path: Path, capsys: Capsys, words: tuple[str, ...], told: str
) -> None:
    assert told in refused(capsys, 2, *words, "--plot", tmp_path / "no.svg")
    assert list(tmp_path.iterdir()) == []


# the map of features over a knob


def test_the_map_says_what_stays_and_what_goes(capsys: Capsys) -> None:
    """The coil's peak stays while a tilt is turned: no control reaches it."""
    assert tonebench("curves", "tern", *DESK, "--map", "tilt") == 0
    told = capsys.readouterr().out
    assert "While Tilt turns from 0 to 10:" in told
    assert "peak: from 3.68 kHz to 3.7 kHz, from +6.8 dB to +22.2 dB\n" in told
    assert "only from 0 to 4" in told  # the low shelf


def test_the_map_is_there_for_programs(tmp_path: Path, capsys: Capsys) -> None:
    found = asked(capsys, "curves", "whimbrel", *DESK, "--map", "bell")
    assert (found["knob"], found["schema"]) == ("bell", 1)
    peaks = [f for f in found["features"] if f["kind"] == "peak"]
    assert any(len(f["positions"]) == 41 for f in peaks)
    assert len(found["change_db"]) == len(found["positions"])
    assert {len(row) for row in found["change_db"]} == {len(found["frequency_hz"])}
    path = tmp_path / "map.csv"
    assert tonebench("curves", "whimbrel", *DESK, "--map", "bell", "--csv", path) == 0
    rows = path.read_text(encoding="utf-8").splitlines()
    assert rows[0] == "feature,kind,position,frequency_hz,level_db,gain_db"
    assert len(rows) == 1 + sum(len(f["positions"]) for f in found["features"])


@pytest.mark.parametrize(
    ("more", "told"),
    [
        (("--map", "tlt"), "did you mean 'tilt'?"),
        (("--map", "tilt", "--at", "100"), "leave out --family, --at, --rate"),
        (("--map", "tilt", "--family", "level"), "leave out --family"),
    ],
)
def test_a_map_that_makes_no_sense_is_refused(
    capsys: Capsys, more: tuple[str, ...], told: str
) -> None:
    assert told in refused(capsys, 2, "curves", "tern", *more)


def test_a_changed_part_is_told_at_every_feature(capsys: Capsys) -> None:
    """R1 = 470 kΩ for 47 kΩ: a tenth of the gain, −20 dB, and the peak is back."""
    words = ("explain", "plover", *DESK, "--part", "R1=470k")
    assert tonebench(*words) == 0
    told = unwrapped(capsys.readouterr().out)
    assert "the change makes it all " in told
    assert "; new by the change" in told
    assert "; before the change at 49 Hz" in told
    values = asked(capsys, *words)
    assert -20.5 < values["change"]["gain_db"] < -15
    was = {f["kind"]: f["was"] for f in values["features"][:3]}
    assert was["peak"] is None
    assert was["low-pass"]["frequency_hz"] < 4500
