# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison's folder: whole, the same bytes every time, or not there at all."""

import base64
import io
import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from commands import DIVIDER, LOW_PASS, VOLUME, drawn, names_in
from sounds import RATE, impulse, noise, sine, write_float

from tonebench.audio.take import Take
from tonebench.circuit.files import read_circuit
from tonebench.errors import AudioError, OutputError, RequestError
from tonebench.plan.comparison import Comparison, Pairing, Side
from tonebench.plan.files import read_comparison
from tonebench.report.comparison import write_comparison
from tonebench.report.told import comparison_words

TEXT = """
schema = 1
title = "Two ways to be softer"
take = "take.wav"
pickup = "sedge"
cable = "700p"

[a]
circuit = "low-pass"

[b]
circuit = "volume"

[[pairings]]
name = "as they start"

[[pairings]]
name = "half"
b = { volume = 5 }
"""
FILES = {
    "as-they-start-a-low-pass.wav",
    "as-they-start-b-volume.wav",
    "as-they-start-curves.svg",
    "as-they-start-curves.png",
    "as-they-start-curves-dark.svg",
    "as-they-start-curves-dark.png",
    "as-they-start-curves.csv",
    "half-a-low-pass.wav",
    "half-b-volume.wav",
    "half-curves.svg",
    "half-curves.png",
    "half-curves-dark.svg",
    "half-curves-dark.png",
    "half-curves.csv",
    "index.html",
    "manifest.json",
}


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    """Return a folder with a comparison file and all that it names."""
    folder = tmp_path / "desk"
    folder.mkdir()
    write_float(folder / "take.wav", noise(RATE // 2, 2))
    drawn(folder, "low-pass", LOW_PASS)
    drawn(folder, "volume", VOLUME)
    (folder / "two-ways.toml").write_text(TEXT, encoding="utf-8")
    return folder


def bytes_in(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_the_page_holds_the_very_samples_of_the_clips_beside_it(
    desk: Path, tmp_path: Path
) -> None:
    compared = write_comparison(read_comparison(desk / "two-ways.toml"), tmp_path / "x")
    page = tmp_path / "x" / "index.html"
    text = page.read_text(encoding="utf-8")
    packs = re.findall(r'id="clip-\d+">([^<]*)</script>', text)
    clips = [clip.file for pair in compared.pairs for clip in pair.clips.values()]
    assert len(packs) == len(clips) == 4
    for pack, name in zip(packs, clips, strict=True):
        held, _ = soundfile.read(io.BytesIO(base64.b64decode(pack)), dtype="int32")
        clip, _ = soundfile.read(page.parent / name, dtype="int32")
        assert np.array_equal(held, clip)


def test_a_comparison_gives_the_same_bytes_again_in_another_process_and_place(
    desk: Path, tmp_path: Path
) -> None:
    """Another process hashes texts another way, and another folder has another name."""
    first = tmp_path / "first"
    write_comparison(read_comparison(desk / "two-ways.toml"), first)
    moved = tmp_path / "moved"
    shutil.copytree(desk, moved)
    env = {**os.environ, "PYTHONHASHSEED": "7", "PYTHONPATH": os.pathsep.join(sys.path)}
    words = [sys.executable, "-m", "tonebench", "compare", "two-ways.toml", "-o", "out"]
    subprocess.run(words, cwd=moved, env=env, check=True, capture_output=True)
    assert names_in(first) == FILES
    assert bytes_in(first) == bytes_in(moved / "out")


def test_the_manifest_names_every_clip_and_picture_of_the_folder(
    desk: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    write_comparison(read_comparison(desk / "two-ways.toml"), out)
    manifest = json.loads((out / "manifest.json").read_bytes())
    named = {c["file"] for p in manifest["pairings"] for c in p["clips"].values()}
    named |= {name for p in manifest["pairings"] for name in p["curves"].values()}
    assert named | {"manifest.json", "index.html"} == names_in(out)


def small(
    folder: Path, name: str = "as they start", take: str = "take.wav"
) -> Comparison:
    """Return a comparison of one pairing on a take of a tenth of a second."""
    path = folder / take
    if not path.exists():
        write_float(path, sine(1000, 0.1))
    divider = read_circuit(drawn(folder, "divider", DIVIDER))
    volume = read_circuit(drawn(folder, "volume", VOLUME))
    sides = Side(divider), Side(volume)
    return Comparison("t", (Take(path),), *sides, (Pairing(name),))


def test_a_take_that_breaks_off_leaves_no_folder(tmp_path: Path) -> None:
    samples = impulse(140_000, (139_999, float("nan")))
    write_float(tmp_path / "take.wav", samples)
    with pytest.raises(AudioError, match="sample frame 139999"):
        write_comparison(small(tmp_path), tmp_path / "out")
    assert names_in(tmp_path) == {"take.wav", "divider.toml", "volume.toml"}


def test_an_earlier_folder_is_kept_unless_forced(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write_comparison(small(tmp_path), out)
    before = bytes_in(out)
    with pytest.raises(OutputError, match="exists already"):
        write_comparison(small(tmp_path), out)
    assert bytes_in(out) == before
    write_comparison(small(tmp_path), out, force=True)
    assert bytes_in(out) == before


def test_forcing_takes_an_earlier_runs_files_away_and_leaves_others(
    tmp_path: Path,
) -> None:
    out = tmp_path / "out"
    write_comparison(small(tmp_path, "one"), out)
    (out / "notes.txt").write_text("mine", encoding="utf-8")
    write_comparison(small(tmp_path, "two"), out, force=True)
    assert names_in(out) == {
        "notes.txt",
        "index.html",
        "manifest.json",
        "two-a-divider.wav",
        "two-b-volume.wav",
        "two-curves-dark.png",
        "two-curves-dark.svg",
        "two-curves.csv",
        "two-curves.png",
        "two-curves.svg",
    }


@pytest.mark.parametrize(
    "manifest",
    [
        "no json",
        "[]",
        '{"pairings": [{"clips": {"a": {"file": "../keep.wav"}}, "curves": {}}]}',
        '{"pairings": [{"clips": {"a": {"file": 3}}, "curves": {}}]}',
        '{"pairings": [{"clips": {"a": {"file": "inner"}}, "curves": {"b": ".."}}]}',
    ],
)
def test_a_strange_manifest_takes_nothing_away(tmp_path: Path, manifest: str) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "manifest.json").write_text(manifest, encoding="utf-8")
    (out / "notes.txt").write_text("mine", encoding="utf-8")
    (out / "inner").mkdir()
    keep = tmp_path / "keep.wav"
    keep.write_text("mine", encoding="utf-8")
    write_comparison(small(tmp_path), out, force=True)
    assert keep.read_text(encoding="utf-8") == "mine"
    assert {"notes.txt", "inner"} < names_in(out)


def test_a_take_is_neither_written_over_nor_taken_away(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write_comparison(small(tmp_path, "one"), out)
    clip = out / "one-a-divider.wav"
    before = bytes_in(out)
    # the clip is the take now: of one that would have its name, and of another
    again = small(tmp_path, "one", "out/one-a-divider.wav")
    with pytest.raises(RequestError, match="is the take itself"):
        write_comparison(again, out, force=True)
    assert bytes_in(out) == before
    other = small(tmp_path, "two", "out/one-a-divider.wav")
    write_comparison(other, out, force=True)
    assert clip.read_bytes() == before["one-a-divider.wav"]


def test_words_tell_the_chains_the_verdict_and_the_clips(tmp_path: Path) -> None:
    comparison = small(tmp_path)
    done = write_comparison(comparison, tmp_path / "out")
    lines = comparison_words(done, Path("out")).splitlines()
    assert lines[:2] == ["Only the circuit differs: divider against volume", "t"]
    assert "A  ideal source → divider → no load" in lines
    assert "B  ideal source → volume → no load" in lines
    # 20 lg(0.5 / 0.9)
    assert any(
        "A is turned down by" in x or "B is turned down by 5.1 dB" in x for x in lines
    )
    assert any(
        x.startswith("  as-they-start-b-volume.wav: volume 10; peak −") for x in lines
    )
    assert "  matched by RMS: shorter than 3 s, too short to go by loudness" in lines
    assert lines[-1] == "wrote out"


def test_words_say_that_a_hot_set_was_turned_down(tmp_path: Path) -> None:
    write_float(tmp_path / "take.wav", sine(1000, 0.1, 20))
    done = write_comparison(small(tmp_path), tmp_path / "out")
    told = comparison_words(done, Path("out"))
    assert (
        f"by −{-done.measured.trim_db:.1f} dB to keep the set's true peak at −1 dBTP"
        in told
    )
