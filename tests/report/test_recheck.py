# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison rechecked: what is the same is told, and the folder is only read."""

import json
import shutil
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from commands import DIVIDER, VOLUME, asked, drawn, names_in, refused, tonebench
from sounds import RATE, noise, write_float

from tonebench import __version__

TEXT = """
schema = 1
title = "Two ways to be softer"
take = "take.wav"
dry = true

[a]
circuit = "divider"

[b]
circuit = "volume"

[[pairings]]
name = "flat"
"""
Capsys = pytest.CaptureFixture[str]
FILES = {
    "flat-a-divider.wav",
    "flat-b-volume.wav",
    "flat-dry.wav",
    "flat-switch.wav",
    "flat-cues.vtt",
    "flat-curves.svg",
    "flat-curves.png",
    "flat-curves-dark.svg",
    "flat-curves-dark.png",
    "flat-curves.csv",
    "index.html",
    "manifest.json",
}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a comparison's file, what it names, and what it gave."""
    folder = tmp_path_factory.mktemp("made")
    t = np.arange(6 * RATE) / RATE % 0.8
    write_float(folder / "take.wav", noise(len(t))[:, 0] * 10 ** (-4 * t))
    drawn(folder, "divider", DIVIDER)
    drawn(folder, "volume", VOLUME)
    (folder / "two.toml").write_text(TEXT, encoding="utf-8")
    assert tonebench("compare", folder / "two.toml", "-o", folder / "out") == 0
    return folder


@pytest.fixture
def desk(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a copy of it, to be changed; the program stands in it."""
    folder = tmp_path / "desk"
    shutil.copytree(made, folder)
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(scratch))
    monkeypatch.chdir(folder)
    return folder


def state(folder: Path) -> dict[str, tuple[bytes, int]]:
    """Return the bytes and the time of every file, and the time of the folder."""
    found = {p.name: (p.read_bytes(), p.stat().st_mtime_ns) for p in folder.iterdir()}
    return found | {".": (b"", folder.stat().st_mtime_ns)}


def rechecked(capsys: Capsys, *words: object) -> tuple[int, str, str]:
    """Recheck the folder out; return code, stdout and stderr. Nothing may change."""
    capsys.readouterr()
    before = state(Path("out"))
    names = names_in(Path())
    code = tonebench("compare", "two.toml", "--recheck", "out", *words)
    assert state(Path("out")) == before
    assert names_in(Path()) == names
    assert names_in(Path(tempfile.gettempdir())) == set()
    told = capsys.readouterr()
    return code, told.out, told.err


def test_the_same_comparison_is_the_same_to_the_last_bit(
    desk: Path, capsys: Capsys
) -> None:
    assert names_in(desk / "out") == FILES
    code, out, err = rechecked(capsys)
    assert (code, err) == (0, "")
    assert out == "12 files are the same to the last bit\n"


def flip_a_bit(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[-1] ^= 1
    path.write_bytes(data)


@pytest.mark.parametrize(
    "name", ["flat-switch.wav", "flat-cues.vtt", "flat-curves.png", "index.html"]
)
def test_a_single_bit_of_any_file_is_seen(
    desk: Path, capsys: Capsys, name: str
) -> None:
    flip_a_bit(desk / "out" / name)
    code, out, err = rechecked(capsys)
    assert code == 1
    is_sound = name.endswith(".wav")
    assert out.splitlines() == [
        f"  {name}: changed",
        "11 files are the same to the last bit",
        *([] if is_sound else ["all clips are among them"]),
    ]
    assert err == "tonebench: out is not what this comparison gives: 1 changed\n"


def test_a_removed_picture_is_missed_and_told(desk: Path, capsys: Capsys) -> None:
    (desk / "out" / "flat-curves-dark.png").unlink()
    code, out, err = rechecked(capsys)
    assert code == 1
    assert out.splitlines() == [
        "  flat-curves-dark.png: missing",
        "11 files are the same to the last bit",
        "all clips are among them",
    ]
    assert err == "tonebench: out is not what this comparison gives: 1 missing\n"


def test_an_edited_manifest_is_told(desk: Path, capsys: Capsys) -> None:
    manifest = desk / "out" / "manifest.json"
    text = manifest.read_text(encoding="utf-8")
    manifest.write_text(text.replace("to be softer", "to be louder"), encoding="utf-8")
    code, out, _ = rechecked(capsys)
    assert code == 1
    assert out.splitlines()[0] == "  manifest.json: changed"
    assert "made with" not in out


def test_another_version_is_named_as_a_reason(desk: Path, capsys: Capsys) -> None:
    manifest = desk / "out" / "manifest.json"
    text = manifest.read_text(encoding="utf-8")
    manifest.write_text(text.replace(f'"{__version__}"', '"0.0.1"'), encoding="utf-8")
    code, out, _ = rechecked(capsys)
    assert code == 1
    told = f"out was made with tonebench 0.0.1, this is {__version__}"
    assert out.splitlines()[-1] == told


def test_a_changed_take_changes_all_that_is_heard(desk: Path, capsys: Capsys) -> None:
    write_float(desk / "take.wav", noise(6 * RATE, seed=3))
    code, out, err = rechecked(capsys)
    assert code == 1
    for name in ("flat-a-divider.wav", "flat-b-volume.wav", "manifest.json"):
        assert f"  {name}: changed" in out.splitlines()
    assert "all clips are among them" not in out
    assert "changed" in err


def test_several_faults_are_all_told(desk: Path, capsys: Capsys) -> None:
    (desk / "out" / "index.html").unlink()
    (desk / "out" / "flat-dry.wav").unlink()
    flip_a_bit(desk / "out" / "flat-curves.png")
    code, out, err = rechecked(capsys)
    assert code == 1
    assert out.splitlines() == [
        "  flat-curves.png: changed",
        "  flat-dry.wav: missing",
        "  index.html: missing",
        "9 files are the same to the last bit",
    ]
    assert err.endswith("this comparison gives: 1 changed, 2 missing\n")


def test_files_of_ones_own_in_the_folder_do_not_count(
    desk: Path, capsys: Capsys
) -> None:
    (desk / "out" / "notes.txt").write_text("mine", encoding="utf-8")
    assert rechecked(capsys)[0] == 0


def test_a_folder_that_may_only_be_read_is_rechecked(
    desk: Path, capsys: Capsys
) -> None:
    (desk / "out").chmod(0o555)
    try:
        assert rechecked(capsys)[0] == 0
    finally:
        (desk / "out").chmod(0o755)


# As JSON


def test_json_tells_every_file(desk: Path, capsys: Capsys) -> None:
    told = asked(capsys, "compare", "two.toml", "--recheck", "out")
    assert told == {
        "schema": 1,
        "is_same": True,
        "is_sound_same": True,
        "same": sorted(FILES),
        "alike": [],
        "changed": [],
        "missing": [],
        "made_with": __version__,
        "other": [],
    }


@pytest.mark.parametrize("name", ["index.html", "flat-switch.wav"])
def test_json_tells_what_is_not_the_same_and_the_error_comes_as_json(
    desk: Path, capsys: Capsys, name: str
) -> None:
    flip_a_bit(desk / "out" / name)
    (desk / "out" / "flat-curves.svg").unlink()
    code, out, err = rechecked(capsys, "--json")
    assert code == 1
    told: dict[str, Any] = json.loads(out)
    assert told["is_same"] is False
    assert told["is_sound_same"] is (name == "index.html")
    assert told["changed"] == [name]
    assert told["missing"] == ["flat-curves.svg"]
    assert told["same"] == sorted(FILES - {name, "flat-curves.svg"})
    error = json.loads(err)
    assert error["code"] == 1
    assert error["message"].startswith("out is not what this comparison gives")


# Refusals


@pytest.mark.parametrize(
    "manifest", [None, "no json", "[]", "{}", '{"title": "x"}', "null"]
)
def test_a_folder_without_a_comparison_is_refused(
    desk: Path, capsys: Capsys, manifest: str | None
) -> None:
    strange = desk / "strange"
    strange.mkdir()
    if manifest is not None:
        (strange / "manifest.json").write_text(manifest, encoding="utf-8")
    before = state(strange)
    told = refused(capsys, 3, "compare", "two.toml", "--recheck", "strange")
    assert told == (
        "strange: holds no comparison that was run (manifest.json is missing or "
        "broken); name the folder that compare wrote"
    )
    assert state(strange) == before


@pytest.mark.parametrize("name", ["nowhere", "take.wav"])
def test_no_folder_is_no_comparison(desk: Path, capsys: Capsys, name: str) -> None:
    before = names_in(desk), (desk / "take.wav").read_bytes()
    told = refused(capsys, 3, "compare", "two.toml", "--recheck", name)
    assert told.startswith(f"{name}: holds no comparison that was run")
    assert (names_in(desk), (desk / "take.wav").read_bytes()) == before


@pytest.mark.parametrize("words", ["-o new", "--force", "--open", "-o new --force"])
def test_what_would_write_or_open_is_refused(
    desk: Path, capsys: Capsys, words: str
) -> None:
    before = state(desk / "out")
    told = refused(capsys, 2, "compare", "two.toml", "--recheck", "out", *words.split())
    assert (
        told == "--recheck writes nothing: leave out -o, --force, --open, --clips-only"
    )
    assert state(desk / "out") == before
    assert "new" not in names_in(desk)


def test_a_comparison_without_a_file_is_rechecked_by_its_options(
    desk: Path, capsys: Capsys
) -> None:
    words = ("compare", "--a", "divider.toml", "--b", "volume.toml", "--take")
    words += ("take.wav",)
    assert tonebench(*words, "-o", "bare") == 0
    before = state(desk / "bare")
    assert tonebench(*words, "--recheck", "bare") == 0
    assert tonebench(*words, "--set-b", "volume=5", "--recheck", "bare") == 1
    assert state(desk / "bare") == before
    out = capsys.readouterr().out
    assert "  as-asked-b-volume.wav: changed" in out
