# SPDX-License-Identifier: GPL-3.0-or-later
"""Lossy copies: as long as the clip, near to it, tagged, and the same bytes twice."""

import resource
import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile
from clip_helpers import names_in, write_clip

from tonebench.audio.files import TakeInfo
from tonebench.audio.previews import can_preview, write_preview
from tonebench.audio.tags import Tags, id3_tag, ogg_checksum, ogg_page_length
from tonebench.errors import OutputError, RequestError

TAGS = Tags(
    "A tern → ½", "a workshop", "two boxes", "preview, not for A/B", "tonebench"
)


@pytest.fixture
def clip(tmp_path: Path) -> Path:
    """Return three seconds of two tones in two channels."""
    t = np.arange(3 * 48000) / 48000
    tones = [0.3 * np.sin(2 * np.pi * hz * t) for hz in (100, 440)]
    return write_clip(tmp_path / "clip.wav", np.stack(tones, axis=1), 48000)


def pages(path: Path) -> list[bytes]:
    """Return the pages of an Ogg file."""
    data, found = path.read_bytes(), []
    while data:
        length = ogg_page_length(data)
        found.append(data[:length])
        data = data[length:]
    return found


@pytest.mark.parametrize("ending", [".mp3", ".ogg"])
def test_a_preview_is_as_long_as_its_clip_and_starts_with_it(
    clip: Path, tmp_path: Path, ending: str
) -> None:
    write_preview(clip, tmp_path / f"x{ending}", TAGS)
    samples, rate = soundfile.read(tmp_path / f"x{ending}")
    original, _ = soundfile.read(clip)
    assert (samples.shape, rate) == (original.shape, 48000)
    inside = slice(4800, -4800)
    left = samples[inside] - original[inside]
    assert np.sqrt(np.mean(left**2)) < 0.1 * np.sqrt(np.mean(original**2))
    assert names_in(tmp_path) == ["clip.wav", f"x{ending}"]


@pytest.mark.parametrize("ending", [".mp3", ".ogg"])
def test_another_reader_finds_the_tags(clip: Path, tmp_path: Path, ending: str) -> None:
    # of libsndfile: libmpg123 reads ID3, libvorbis its comments
    write_preview(clip, tmp_path / f"x{ending}", TAGS)
    with soundfile.SoundFile(tmp_path / f"x{ending}") as sound:
        found = sound.copy_metadata()
    for name in ("title", "artist", "album", "comment"):
        assert found[name] == getattr(TAGS, name)


@pytest.mark.parametrize("ending", [".mp3", ".ogg"])
def test_the_same_clip_gives_the_same_bytes(
    clip: Path, tmp_path: Path, ending: str
) -> None:
    for name in ("a", "b"):
        write_preview(clip, tmp_path / f"{name}{ending}", TAGS)
    a, b = ((tmp_path / f"{name}{ending}").read_bytes() for name in ("a", "b"))
    assert a == b


def test_the_checksum_is_the_one_that_the_encoder_writes(tmp_path: Path) -> None:
    # libogg's pages are the outside truth
    soundfile.write(tmp_path / "x.ogg", np.zeros((48000, 1)), 48000)
    for page in pages(tmp_path / "x.ogg"):
        bare = page[:22] + bytes(4) + page[26:]
        assert struct.unpack_from("<I", page, 22) == (ogg_checksum(bare),)


def test_all_pages_of_a_preview_have_one_serial_and_a_right_checksum(
    clip: Path, tmp_path: Path
) -> None:
    write_preview(clip, tmp_path / "x.ogg", TAGS)
    found = pages(tmp_path / "x.ogg")
    assert len(found) > 3
    assert {page[14:18] for page in found} == {struct.pack("<I", 0x746F6E65)}
    for page in found:
        bare = page[:22] + bytes(4) + page[26:]
        assert struct.unpack_from("<I", page, 22) == (ogg_checksum(bare),)


def test_an_id3_tag_tells_its_own_length() -> None:
    tag = id3_tag(Tags("x" * 200))
    # ID3v2.4.0, 3.1 and 6.2: four bytes of seven bits each, without the header
    assert tag[:6] == b"ID3\x04\0\0"
    length = sum(byte << 7 * k for k, byte in enumerate(reversed(tag[6:10])))
    assert length == len(tag) - 10
    assert tag[10:20] == b"TIT2\0\0\x01\x49\0\0"  # 201 bytes are 1·128 + 73
    assert b"TPE1" not in tag


@pytest.mark.parametrize(
    ("rate", "channels", "mp3", "ogg"),
    [
        (48000, 2, True, True),
        (44100, 1, True, True),
        (96000, 1, False, True),
        (8000, 1, False, True),
        (48000, 6, False, True),
        (384_000, 1, False, False),
        (48000, 9, False, False),
    ],
)
def test_what_a_preview_holds(rate: int, channels: int, mp3: bool, ogg: bool) -> None:
    info = TakeInfo(Path("x"), rate, channels, 1, "PCM_24", "WAV")
    assert (can_preview(info, ".mp3"), can_preview(info, ".ogg")) == (mp3, ogg)


@pytest.mark.parametrize("ending", [".mp3", ".ogg"])
@pytest.mark.parametrize(("rate", "channels"), [(96000, 1), (48000, 6), (32000, 2)])
def test_what_is_said_to_be_held_can_be_written(
    tmp_path: Path, ending: str, rate: int, channels: int
) -> None:
    path = tmp_path / "clip.wav"
    soundfile.write(path, np.zeros((rate, channels)), rate, "PCM_24")
    info = TakeInfo(path, rate, channels, rate, "PCM_24", "WAV")
    if can_preview(info, ending):
        write_preview(path, tmp_path / f"x{ending}", TAGS)
        assert soundfile.info(tmp_path / f"x{ending}").frames == rate


def test_a_rate_that_mp3_lacks_is_refused_and_leaves_nothing(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "clip.wav", np.zeros((960, 1)), 96000, "PCM_24")
    with pytest.raises(RequestError, match=r"MP3 doesn't hold 1 channels at 96000 Hz"):
        write_preview(tmp_path / "clip.wav", tmp_path / "x.mp3", TAGS)
    assert names_in(tmp_path) == ["clip.wav"]


@pytest.mark.parametrize("ending", [".mp3", ".ogg"])
def test_a_full_disk_is_told_and_leaves_nothing(
    clip: Path, tmp_path: Path, ending: str
) -> None:
    # a limit on the size of files stands in for the full disk
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (12_000, limits[1]))
    try:
        with pytest.raises(OutputError, match=rf"x\{ending}: .*is the disk full"):
            write_preview(clip, tmp_path / f"x{ending}", TAGS)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert names_in(tmp_path) == ["clip.wav"]


@pytest.mark.parametrize("ending", [".mp3", ".ogg"])
def test_stopping_leaves_nothing(clip: Path, tmp_path: Path, ending: str) -> None:
    def stop() -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_preview(clip, tmp_path / f"x{ending}", TAGS, stop=stop)
    assert names_in(tmp_path) == ["clip.wav"]
