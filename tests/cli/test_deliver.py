# SPDX-License-Identifier: GPL-3.0-or-later
"""``tonebench deliver`` as a person runs it: journeys, rechecks, what is refused."""

import json
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
import soundfile
from commands import DIVIDER, VOLUME, asked, drawn, names_in, refused, tonebench
from sounds import RATE, noise, write_float

Capsys = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder that holds a comparison, and a delivery of all formats."""
    folder = tmp_path_factory.mktemp("made")
    write_float(folder / "take.wav", noise(2 * RATE))
    drawn(folder, "divider", DIVIDER)
    drawn(folder, "volume", VOLUME)
    words = ["--a", folder / "divider.toml", "--b", folder / "volume.toml"]
    words += ["--take", folder / "take.wav", "-o", folder / "mine"]
    assert tonebench("compare", *words) == 0
    formats = ["--formats", "wav,flac,mp3,ogg", "--sheets", "light"]
    client = ["deliver", folder / "mine", "-o", folder / "client", *formats]
    assert tonebench(*client) == 0
    return folder


@pytest.fixture
def desk(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a copy of both; the program stands beside them."""
    for name in ("mine", "client"):
        shutil.copytree(made / name, tmp_path / name)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_a_delivery_is_named_after_the_comparison(desk: Path, capsys: Capsys) -> None:
    assert tonebench("deliver", "mine", "--sheets", "none", "--zip") == 0
    assert names_in(desk) == {"mine", "client", "mine-delivery", "mine-delivery.zip"}
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "divider against volume: 4 clips, 2 previews, not for A/B"
    assert lines[-2:] == ["wrote mine-delivery", "wrote mine-delivery.zip"]
    told = {line.strip() for line in lines if line.startswith("  ")}
    assert told | {"delivery.json", "SHA256SUMS"} == names_in(desk / "mine-delivery")


def test_json_is_what_the_folder_lists(desk: Path, capsys: Capsys) -> None:
    told = asked(
        capsys, "deliver", "mine", "-o", "x", "--formats", "wav", "--sheets", ""
    )
    assert told == json.loads((desk / "x" / "delivery.json").read_bytes())


def test_a_delivery_agrees_with_itself(desk: Path, capsys: Capsys) -> None:
    assert tonebench("deliver", "mine", "--recheck", "client") == 0
    count = len(names_in(desk / "client"))
    told = capsys.readouterr().out
    assert told == f"{count} files are the same to the last bit\n"
    assert names_in(desk) == {"mine", "client"}


def test_a_clip_with_other_tags_agrees_by_its_samples(
    desk: Path, capsys: Capsys
) -> None:
    path = next((desk / "client").glob("*A-divider*.flac"))
    samples, rate = soundfile.read(path, dtype="int32")
    with soundfile.SoundFile(path, "w", rate, 1, "PCM_24") as sound:
        sound.title = "mine now"
        sound.write(samples)
    assert tonebench("deliver", "mine", "--recheck", "client") == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == f"  {path.name}: the same samples, in other bytes"
    told = asked(capsys, "deliver", "mine", "--recheck", "client")
    assert told["alike"] == [path.name]
    assert (told["is_same"], told["changed"], told["missing"]) == (False, [], [])


@pytest.mark.parametrize("pattern", ["*.wav", "*.flac", "*.ogg", "*.png", "README.txt"])
def test_a_changed_file_is_told(desk: Path, capsys: Capsys, pattern: str) -> None:
    path = sorted((desk / "client").glob(pattern))[0]
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 0x55
    path.write_bytes(data)
    assert tonebench("deliver", "mine", "--recheck", "client") == 1
    told = capsys.readouterr()
    assert told.out.splitlines()[0] == f"  {path.name}: changed"
    assert "client is not what this comparison gives: 1 changed" in told.err


def test_a_comparisons_clip_with_other_tags_agrees_by_its_samples(
    made: Path, tmp_path: Path, capsys: Capsys
) -> None:
    shutil.copytree(made / "mine", tmp_path / "mine")
    path = tmp_path / "mine" / "as-asked-a-divider.wav"
    samples, rate = soundfile.read(path, dtype="int32")
    with soundfile.SoundFile(path, "w", rate, 1, "PCM_24", format="WAV") as sound:
        sound.title = "mine now"
        sound.write(samples)
    words = ["compare", "--a", made / "divider.toml", "--b", made / "volume.toml"]
    words += ["--take", made / "take.wav", "--recheck", tmp_path / "mine"]
    assert tonebench(*words) == 0
    assert "the same samples, in other bytes" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("code", "words", "told"),
    [
        (2, "deliver mine --formats aac", "there is no format 'aac'"),
        (2, "deliver mine --sheets grey", "there is no sheet 'grey'"),
        (2, "deliver mine -o mine --force", "is the comparison's own folder"),
        (2, "deliver mine --recheck client --zip", "--recheck writes nothing"),
        (3, "deliver nowhere", "nowhere: holds no comparison that was run"),
        (3, "deliver client", "client: holds no comparison that was run"),
        (3, "deliver mine --recheck mine", "mine: holds no delivery"),
        (6, "deliver mine -o client", "client: exists already"),
        (6, "deliver mine -o no/where", "doesn't exist; make it first"),
    ],
)
def test_what_makes_no_sense_is_refused_in_one_sentence(
    desk: Path, capsys: Capsys, code: int, words: str, told: str
) -> None:
    assert told in refused(capsys, code, *words.split())
    assert names_in(desk) == {"mine", "client"}


def test_an_interruption_leaves_nothing_and_a_later_run_works(
    tmp_path: Path, capsys: Capsys
) -> None:
    write_float(tmp_path / "take.wav", noise(60 * RATE))
    words = ["--a", drawn(tmp_path, "divider", DIVIDER), "--b", "straight"]
    words += ["--take", tmp_path / "take.wav", "-o", tmp_path / "mine"]
    assert tonebench("compare", *words) == 0
    capsys.readouterr()
    before = names_in(tmp_path)
    command = [sys.executable, "-m", "tonebench", "deliver", "mine", "-o", "out"]
    process = subprocess.Popen(
        command, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    end = time.monotonic() + 60
    while not any(tmp_path.glob(".out.part-*/.*.mp3.bare")):
        assert time.monotonic() < end
        assert process.poll() is None
        time.sleep(0.002)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert (out, err.split()) == ("", ["interrupted"])
    assert process.returncode in (130, -signal.SIGINT)
    assert names_in(tmp_path) == before
    words = ["deliver", tmp_path / "mine", "-o", tmp_path / "out"]
    assert tonebench(*words, "--formats", "wav", "--sheets", "none") == 0
