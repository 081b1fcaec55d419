# SPDX-License-Identifier: GPL-3.0-or-later
"""A client's folder: what is in it, that it is true, and that nothing else is left."""

import hashlib
import io
import json
import re
import shutil
import struct
import zipfile
from pathlib import Path

import numpy as np
import pytest
import soundfile
from commands import DIVIDER, VOLUME, drawn, names_in, tonebench
from PIL import Image
from sounds import RATE, noise, write_float

from tonebench.errors import InputError, OutputError, RequestError
from tonebench.report import delivery
from tonebench.report.delivery import Wanted, write_delivery
from tonebench.report.delivery_told import deliver_and_zip
from tonebench.report.delivery_words import made_on

TEXT = """
schema = 1
title = "Two ways to be softer"
take = "take.wav"
dry = true
[client]
by = "the workshop by the sea"
for = "a player"
note = "Which one is it?"
[a]
circuit = "divider"
[b]
circuit = "volume"
[[pairings]]
name = "flat"
[[pairings]]
name = "turned, −3 dB"
b = { volume = 7.5 }
"""
WAV_ONLY = Wanted(("wav",), ())


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of a comparison with two pairings, dry and switching clips."""
    folder = tmp_path_factory.mktemp("made")
    t = np.arange(6 * RATE) / RATE % 0.8
    write_float(folder / "take.wav", noise(len(t))[:, 0] * 10 ** (-4 * t))
    drawn(folder, "divider", DIVIDER)
    drawn(folder, "volume", VOLUME)
    (folder / "two.toml").write_text(TEXT, encoding="utf-8")
    assert tonebench("compare", folder / "two.toml", "-o", folder / "out") == 0
    return folder / "out"


@pytest.fixture(scope="module")
def delivered(made: Path) -> Path:
    folder = made.parent / "delivered"
    write_delivery(made, folder, Wanted(("wav", "flac", "mp3", "ogg")))
    return folder


def listed(folder: Path) -> list[dict[str, str]]:
    files: list[dict[str, str]] = json.loads((folder / "delivery.json").read_bytes())[
        "files"
    ]
    return files


def test_every_file_is_listed_with_its_sum(delivered: Path) -> None:
    named = {entry["file"]: entry["sha256"] for entry in listed(delivered)}
    assert {*named, "delivery.json", "SHA256SUMS"} == names_in(delivered)
    for name, digest in named.items():
        data = (delivered / name).read_bytes()
        assert hashlib.sha256(data).hexdigest() == digest
    lines = (delivered / "SHA256SUMS").read_text(encoding="ascii").splitlines()
    summed = dict(line.split("  ")[::-1] for line in lines)
    assert set(summed) == {*named, "delivery.json"}
    assert named.items() <= summed.items()


def test_names_are_plain_and_apart_in_any_case(delivered: Path) -> None:
    names = names_in(delivered)
    assert all(re.fullmatch(r"[A-Za-z0-9._-]{1,120}", name) for name in names)
    assert len({name.lower() for name in names}) == len(names)


def test_wav_and_flac_hold_the_samples_that_were_judged(
    made: Path, delivered: Path
) -> None:
    manifest = json.loads((made / "manifest.json").read_bytes())
    clips = {p["name"]: p["clips"] for p in manifest["pairings"]}
    checked = 0
    for entry in listed(delivered):
        if entry["kind"] != "clip":
            continue
        original = clips[entry["pairing"]][entry["clip"]]["file"]
        theirs, rate = soundfile.read(delivered / entry["file"], dtype="int32")
        ours, rate_there = soundfile.read(made / original, dtype="int32")
        assert rate == rate_there
        assert np.array_equal(theirs, ours)
        checked += 1
    assert checked == 2 * 4 * 2  # pairings, clips, formats


def test_lossy_clips_say_in_name_and_tags_that_they_are_no_match(
    delivered: Path,
) -> None:
    lossy = [p for p in delivered.iterdir() if p.suffix in (".mp3", ".ogg")]
    assert len(lossy) == 16
    for path in lossy:
        assert "_preview-not-for-AB." in path.name
        with soundfile.SoundFile(path) as sound:
            tags = sound.copy_metadata()
        assert tags["title"].endswith("(preview, not for A/B)")
        assert tags["comment"].startswith("preview, not for A/B")
    for entry in listed(delivered):
        is_lossy = entry["file"].endswith((".mp3", ".ogg"))
        assert (entry["kind"] == "preview") == is_lossy


def test_wavs_and_flacs_carry_titles(delivered: Path) -> None:
    found = []
    for ending in ("wav", "flac"):
        path = next(delivered.glob(f"*_01_*A-divider*.{ending}"))
        with soundfile.SoundFile(path) as sound:
            found.append(sound.copy_metadata())
    for tags in found:
        assert tags["title"] == "A divider, flat"
        assert tags["artist"] == "the workshop by the sea"
        assert tags["album"] == "Two ways to be softer"
    assert b"WAVEbext" in next(delivered.glob("*.wav")).read_bytes()[:32]


@pytest.mark.parametrize("has_more", [True, False])
def test_wavs_carry_the_levels_that_the_manifest_tells(
    made: Path, tmp_path: Path, has_more: bool
) -> None:
    """EBU Tech 3285: hundredths, 412 bytes into ``bext``; 7fff where none is told."""
    source = tmp_path / "source"
    shutil.copytree(made, source)
    manifest = json.loads((source / "manifest.json").read_bytes())
    names = ("loudness_range_lu", "momentary_max_lufs", "short_term_max_lufs")
    clip = manifest["pairings"][0]["clips"]["b"]
    for name, level in zip(names, (6.2, -20.04, -21.5), strict=True):
        clip.pop(name, None)
        if has_more:
            clip[name] = level
    (source / "manifest.json").write_text(json.dumps(manifest), encoding="utf-8")
    write_delivery(source, tmp_path / "out", WAV_ONLY)
    data = next((tmp_path / "out").glob("*_01_*_B-volume_*.wav")).read_bytes()
    found = struct.unpack_from("<5h", data, 12 + 8 + 412)
    told = [round(100 * clip[key]) for key in ("loudness_lufs", "true_peak_dbtp")]
    more = (620, -2004, -2150) if has_more else (0x7FFF,) * 3
    assert found == (told[0], more[0], told[1], *more[1:])


def test_the_page_names_files_that_are_there(delivered: Path) -> None:
    page = (delivered / "index.html").read_text(encoding="utf-8")
    named = set(re.findall(r"[\w.−-]+\.(?:wav|vtt|flac)\b", page))
    clips = {n for n in named if not n.startswith("take.")}
    assert clips
    assert clips <= names_in(delivered)


def test_the_text_names_every_clip_and_says_what_it_is(delivered: Path) -> None:
    told = (delivered / "README.txt").read_text(encoding="utf-8")
    text = " ".join(told.split())
    for entry in listed(delivered):
        if entry["kind"] in ("clip", "preview"):
            assert entry["file"] in text
    for words in (
        "Two ways to be softer",
        "For a player",
        "From the workshop by the sea",
        "Which one is it?",
        "Turn headphones and speakers down",
        "MP3 and OGG: preview, not for A/B",
        "Only the circuit differs: divider against volume.",
    ):
        assert words in text
    assert str(delivered.parent) not in text


def test_sheets_are_pictures_of_a_video_frame(delivered: Path) -> None:
    sheets = {p.name.partition("sheet-")[2]: p for p in delivered.glob("*sheet-*.png")}
    assert set(sheets) == {"light.png", "dark.png", "transparent.png"}
    corners = {}
    for name, path in sheets.items():
        with Image.open(path) as drawn_sheet:
            assert drawn_sheet.size == (1920, 1080)
            corners[name] = drawn_sheet.convert("RGBA").getpixel((2, 2))
    assert corners == {
        "light.png": (255, 255, 255, 255),
        "dark.png": (0x1C, 0x1B, 0x19, 255),
        "transparent.png": (255, 255, 255, 0),
    }


def test_the_comparison_is_only_read(made: Path, tmp_path: Path) -> None:
    before = {p.name: p.stat().st_mtime_ns for p in made.iterdir()}
    write_delivery(made, tmp_path / "out", WAV_ONLY)
    assert {p.name: p.stat().st_mtime_ns for p in made.iterdir()} == before


def test_the_same_delivery_gives_the_same_bytes(
    made: Path, delivered: Path, tmp_path: Path
) -> None:
    write_delivery(made, tmp_path / "again", Wanted(("wav", "flac", "mp3", "ogg")))
    for path in delivered.iterdir():
        assert (tmp_path / "again" / path.name).read_bytes() == path.read_bytes()


def test_a_day_is_told_only_where_the_environment_tells_one(
    made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "86400")  # a day after 1970-01-01
    write_delivery(made, tmp_path / "out", WAV_ONLY)
    values = json.loads((tmp_path / "out" / "delivery.json").read_bytes())
    assert values["made_on"] == "1970-01-02"
    wav = next((tmp_path / "out").glob("*.wav")).read_bytes()
    assert wav[20 + 320 : 20 + 330] == b"1970-01-02"  # EBU Tech 3285
    monkeypatch.delenv("SOURCE_DATE_EPOCH")
    write_delivery(made, tmp_path / "none", WAV_ONLY)
    assert "made_on" not in json.loads(
        (tmp_path / "none" / "delivery.json").read_bytes()
    )


@pytest.mark.parametrize("text", ["today", "1e9", "-99999999999999", "9" * 30])
def test_a_strange_day_is_refused(text: str) -> None:
    with pytest.raises(RequestError, match="SOURCE_DATE_EPOCH must be a whole number"):
        made_on({"SOURCE_DATE_EPOCH": text})


# What is refused


def test_a_clip_that_was_changed_since_is_refused(made: Path, tmp_path: Path) -> None:
    source = tmp_path / "source"
    shutil.copytree(made, source)
    clip = source / "flat-b-volume.wav"
    data = bytearray(clip.read_bytes())
    data[-1] ^= 1
    clip.write_bytes(data)
    with pytest.raises(InputError, match=r"flat-b-volume\.wav: was changed since"):
        write_delivery(source, tmp_path / "out", WAV_ONLY)
    assert names_in(tmp_path) == {"source"}


@pytest.mark.parametrize(
    "manifest",
    [None, "no json", "[]", "{}", '{"schema": 1, "takes": [], "pairings": 3}'],
)
def test_a_folder_without_a_comparison_is_refused(
    tmp_path: Path, manifest: str | None
) -> None:
    source = tmp_path / "source"
    source.mkdir()
    if manifest is not None:
        (source / "manifest.json").write_text(manifest, encoding="utf-8")
    with pytest.raises(InputError, match="holds no comparison that was run"):
        write_delivery(source, tmp_path / "out")
    assert names_in(tmp_path) == {"source"}


def test_a_comparison_without_figures_is_refused(made: Path, tmp_path: Path) -> None:
    source = tmp_path / "source"
    shutil.copytree(made, source)
    values = json.loads((source / "manifest.json").read_bytes())
    del values["pairings"][0]["curves"]["csv"]
    (source / "manifest.json").write_text(json.dumps(values), encoding="utf-8")
    with pytest.raises(InputError, match="leaves out what a delivery needs"):
        write_delivery(source, tmp_path / "out")


def test_a_folder_with_clips_only_is_refused(made: Path, tmp_path: Path) -> None:
    source, file = tmp_path / "source", made.parent / "two.toml"
    assert tonebench("compare", file, "-o", source, "--clips-only") == 0
    with pytest.raises(InputError, match="run compare without --clips-only"):
        write_delivery(source, tmp_path / "out")
    assert names_in(tmp_path) == {"source"}


def test_a_manifest_that_reaches_outside_is_refused(made: Path, tmp_path: Path) -> None:
    source = tmp_path / "source"
    shutil.copytree(made, source)
    text = (source / "manifest.json").read_text(encoding="utf-8")
    text = text.replace("flat-b-volume.wav", "../flat-b-volume.wav")
    (source / "manifest.json").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match="leaves out what a delivery needs"):
        write_delivery(source, tmp_path / "out")


def test_the_comparisons_own_folder_is_refused(made: Path) -> None:
    before = names_in(made)
    with pytest.raises(RequestError, match="is the comparison's own folder"):
        write_delivery(made, made, force=True)
    assert names_in(made) == before


def test_an_earlier_delivery_is_kept_unless_forced(made: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    write_delivery(made, out, Wanted(("wav",), ("light",)))
    (out / "notes.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="exists already"):
        write_delivery(made, out, Wanted(("flac",), ()))
    write_delivery(made, out, Wanted(("flac",), ()), force=True)
    kinds = {Path(name).suffix for name in names_in(out)}
    assert kinds == {"", ".flac", ".vtt", ".csv", ".html", ".txt", ".json"}
    assert (out / "notes.txt").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize(
    ("formats", "sheets", "told"),
    [
        ("wav,aac", None, "there is no format 'aac'; choose from wav, flac, mp3, ogg"),
        (None, "grey", "there is no sheet 'grey'; choose from light, dark"),
    ],
)
def test_what_is_not_known_is_refused(
    formats: str | None, sheets: str | None, told: str
) -> None:
    with pytest.raises(RequestError, match=told):
        Wanted.asked(formats, sheets)


def test_a_full_disk_leaves_nothing_and_names_the_folder(
    made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fill(_: Path, path: Path, *args: object, **named: object) -> None:
        raise OutputError(f"{path}: can't be written (the disk is full)")

    monkeypatch.setattr(delivery, "copy_wav", fill)
    with pytest.raises(OutputError, match="the disk is full") as caught:
        write_delivery(made, tmp_path / "out", WAV_ONLY)
    assert str(caught.value).startswith(str(tmp_path / "out" / "two-ways"))
    assert names_in(tmp_path) == set()


def test_an_interruption_leaves_nothing(
    made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupt(share: float) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_delivery(made, tmp_path / "out", WAV_ONLY, progress=interrupt)
    assert names_in(tmp_path) == set()
    write_delivery(made, tmp_path / "out", WAV_ONLY)
    assert names_in(tmp_path) == {"out"}


# Rates


def test_takes_of_different_rates_are_delivered_each_at_its_own(tmp_path: Path) -> None:
    """MP3 ends at 48 kHz: there Ogg is the usual preview, and MP3 asked for refused."""
    for name, rate in (("low", 44100), ("high", 96000)):
        soundfile.write(tmp_path / f"{name}.wav", noise(rate), rate, "PCM_24")
    drawn(tmp_path, "divider", DIVIDER)
    words = ["compare", "--a", tmp_path / "divider.toml", "--b", "straight", "-o"]
    words += [tmp_path / "both"]
    for name in ("low", "high"):
        words += ["--take", tmp_path / f"{name}.wav"]
    assert tonebench(*words) == 0
    write_delivery(tmp_path / "both", tmp_path / "out", Wanted(sheets=()))
    kinds = {
        (e["take"], Path(e["file"]).suffix)
        for e in listed(tmp_path / "out")
        if "take" in e
    }
    assert kinds == {
        *(("low.wav", kind) for kind in (".wav", ".flac", ".mp3")),
        *(("high.wav", kind) for kind in (".wav", ".flac", ".ogg")),
    }
    for entry in listed(tmp_path / "out"):
        if entry["kind"] == "clip":
            rate = 96000 if entry["take"] == "high.wav" else 44100
            assert soundfile.info(tmp_path / "out" / entry["file"]).samplerate == rate
            assert f"_{rate / 1000:g}k_24b." in entry["file"]
    with pytest.raises(RequestError, match="mp3 doesn't hold 1 channels at 96000 Hz"):
        write_delivery(tmp_path / "both", tmp_path / "no", Wanted(("mp3",)))
    assert "no" not in names_in(tmp_path)


# ZIP


def test_the_zip_holds_one_folder_with_every_file(made: Path, tmp_path: Path) -> None:
    done = deliver_and_zip(made, tmp_path / "out", WAV_ONLY, is_zipped=True)
    assert done["zip"] == str(tmp_path / "out.zip")
    with zipfile.ZipFile(tmp_path / "out.zip") as packed:
        assert packed.testzip() is None
        entries = packed.infolist()
        for entry in entries:
            path = tmp_path / entry.filename
            assert packed.read(entry) == path.read_bytes()
            assert entry.date_time == (1980, 1, 1, 0, 0, 0)
            assert entry.compress_type == zipfile.ZIP_STORED
    inside = [entry.filename for entry in entries]
    assert inside == sorted(f"out/{name}" for name in names_in(tmp_path / "out"))


def test_the_zip_is_the_same_bytes_again(made: Path, tmp_path: Path) -> None:
    for place in ("one", "two"):
        (tmp_path / place).mkdir()
        deliver_and_zip(made, tmp_path / place / "out", WAV_ONLY, is_zipped=True)
    one, two = (tmp_path / place / "out.zip" for place in ("one", "two"))
    assert one.read_bytes() == two.read_bytes()


def test_a_zip_that_is_there_is_refused_before_anything_is_written(
    made: Path, tmp_path: Path
) -> None:
    (tmp_path / "out.zip").write_bytes(b"mine")
    with pytest.raises(OutputError, match=r"out\.zip: exists already"):
        deliver_and_zip(made, tmp_path / "out", WAV_ONLY, is_zipped=True)
    assert names_in(tmp_path) == {"out.zip"}
    deliver_and_zip(made, tmp_path / "out", WAV_ONLY, is_zipped=True, force=True)
    assert zipfile.is_zipfile(io.BytesIO((tmp_path / "out.zip").read_bytes()))
