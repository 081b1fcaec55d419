# SPDX-License-Identifier: GPL-3.0-or-later
"""WAVs copied with other chunks: the same samples, RF64 where it must be."""

import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile
from clip_helpers import integers_24, names_in, read_wave, write_clip, write_wave

from tonebench.audio import wav_copy
from tonebench.audio.broadcast import chunk
from tonebench.audio.files import read_take
from tonebench.audio.wav_copy import copy_wav
from tonebench.errors import AudioError, OutputError

NOTE = chunk(b"note", b"even")


@pytest.fixture
def source(tmp_path: Path) -> Path:
    return write_wave(tmp_path / "in.wav", integers_24(), 3, 44100)


def test_the_samples_are_the_same_bytes(source: Path, tmp_path: Path) -> None:
    copy_wav(source, tmp_path / "out.wav", [NOTE], [NOTE])
    assert (read_wave(tmp_path / "out.wav") == integers_24()).all()
    data = (tmp_path / "out.wav").read_bytes()
    assert data[:4] + data[8:16] == b"RIFFWAVEnote"
    assert struct.unpack("<I", data[4:8]) == (len(data) - 8,)  # RIFF (1991)


@pytest.mark.parametrize("frames", [1, 2])
def test_an_odd_length_is_padded(tmp_path: Path, frames: int) -> None:
    values = np.arange(frames)[:, None]
    source = write_wave(tmp_path / "in.wav", values, 3, 8000)
    copy_wav(source, tmp_path / "out.wav")
    assert len((tmp_path / "out.wav").read_bytes()) % 2 == 0
    assert (read_wave(tmp_path / "out.wav") == values).all()


@pytest.mark.parametrize("is_long", [True, False])
def test_what_would_pass_4_gib_is_written_as_rf64(
    source: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, is_long: bool
) -> None:
    copy_wav(source, tmp_path / "plain.wav", [NOTE])
    riff_bytes = len((tmp_path / "plain.wav").read_bytes()) - 8
    largest = riff_bytes - is_long
    monkeypatch.setattr(wav_copy, "_LARGEST_RIFF_BYTES", largest)
    copy_wav(source, tmp_path / "long.wav", [NOTE])
    info, samples = read_take(tmp_path / "long.wav")
    assert info.format == ("RF64" if is_long else "WAV")
    assert (samples * 2**23 == integers_24()).all()
    if is_long:
        data = (tmp_path / "long.wav").read_bytes()
        # EBU Tech 3306: ds64 comes first; sizes of the file, the sound, and frames
        assert data[:20] == b"RF64\xff\xff\xff\xffWAVEds64\x1c\0\0\0"
        assert struct.unpack_from("<QQQI", data, 20) == (
            *(len(data) - 8, 3000 * 6, 3000, 0),
        )


def test_the_true_limit_is_that_of_32_bits() -> None:
    assert wav_copy._LARGEST_RIFF_BYTES + 2 == 2**32


def test_an_rf64_file_can_be_the_source(tmp_path: Path) -> None:
    values = integers_24()
    source = write_clip(tmp_path / "in.wav", values / 2**23, frames_expected=2**40)
    assert source.read_bytes()[:4] == b"RF64"
    copy_wav(source, tmp_path / "out.wav")
    info, samples = read_take(tmp_path / "out.wav")
    assert info.format == "WAVEX"  # as libsndfile calls what says more of its channels
    assert (samples * 2**23 == values).all()


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda data: b"", "is no WAV"),
        (lambda data: b"FORM" + data[4:], "is no WAV"),
        (lambda data: data[:36], "without sound"),
        (lambda data: data[:-5], "cut short"),
    ],
    ids=["empty", "another kind", "only a head", "cut off"],
)
def test_a_broken_source_is_told_and_leaves_nothing(
    source: Path, tmp_path: Path, change: Callable[[bytes], bytes], told: str
) -> None:
    source.write_bytes(change(source.read_bytes()))
    with pytest.raises(AudioError, match=told):
        copy_wav(source, tmp_path / "out.wav")
    assert names_in(tmp_path) == ["in.wav"]


def test_a_missing_source_is_told(tmp_path: Path) -> None:
    with pytest.raises(AudioError, match="can't be read"):
        copy_wav(tmp_path / "none.wav", tmp_path / "out.wav")
    assert names_in(tmp_path) == []


def test_a_full_disk_is_told_and_leaves_nothing(
    source: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fill(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(wav_copy, "_copy", fill)
    with pytest.raises(OutputError, match=r"out\.wav: .*the disk is full"):
        copy_wav(source, tmp_path / "out.wav")
    assert names_in(tmp_path) == ["in.wav"]


def test_stopping_leaves_nothing(source: Path, tmp_path: Path) -> None:
    def stop() -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        copy_wav(source, tmp_path / "out.wav", stop=stop)
    assert names_in(tmp_path) == ["in.wav"]


def test_libsndfile_opens_the_copy(source: Path, tmp_path: Path) -> None:
    copy_wav(source, tmp_path / "out.wav", [NOTE], [NOTE])
    with soundfile.SoundFile(tmp_path / "out.wav") as sound:
        assert (sound.samplerate, sound.channels, sound.frames) == (44100, 2, 3000)
