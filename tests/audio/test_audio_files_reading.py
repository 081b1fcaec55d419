# SPDX-License-Identifier: GPL-3.0-or-later
"""What is read is checked against the standard library's `wave` where that can tell."""

import math
import subprocess
import sys
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
import soundfile
from clip_helpers import integers_24, quiet_noise, write_wave
from hypothesis import given, settings
from hypothesis import strategies as st

from tonebench.audio.files import TakeReader, read_take
from tonebench.errors import AudioError, RequestError


@pytest.mark.parametrize("sample_bytes", [2, 3, 4])
def test_integers_are_divided_by_a_power_of_two_exactly(tmp_path, sample_bytes):
    top = 2 ** (8 * sample_bytes - 1)
    values = np.random.default_rng(1).integers(-top, top, (500, 2))
    values[0], values[1], values[2] = -top, top - 1, (0, 1)
    write_wave(tmp_path / "t.wav", values, sample_bytes, 44100)
    _, samples = read_take(tmp_path / "t.wav")
    assert (samples * top == values).all()


@pytest.mark.parametrize("form", ["WAV", "FLAC", "AIFF", "RF64", "CAF", "W64"])
def test_24_bit_samples_are_the_same_in_every_lossless_format(tmp_path, form):
    values = integers_24()
    path = tmp_path / "take"
    soundfile.write(path, values.astype(np.int32) << 8, 48000, "PCM_24", format=form)
    info, samples = read_take(path)
    assert (samples * 2**23 == values).all()
    assert (info.format, info.subtype) == (form, "PCM_24")


@pytest.mark.parametrize("channels", [1, 2, 5, 17])
@pytest.mark.parametrize("rate", [8000, 11025, 44100, 192000])
def test_any_number_of_channels_and_any_rate_is_read(tmp_path, channels, rate):
    write_wave(tmp_path / "t.wav", integers_24(50, channels), 3, rate)
    info, samples = read_take(tmp_path / "t.wav")
    assert samples.shape == (50, channels)
    assert (info.sample_rate_hz, info.channels, info.frames) == (rate, channels, 50)
    assert info.duration_s == 50 / rate


def test_float_samples_over_full_scale_come_back_as_they_are(tmp_path):
    values = np.array([[1.5], [-3.25], [1e-30]], np.float32)
    soundfile.write(tmp_path / "t.wav", values, 48000, "FLOAT")
    _, samples = read_take(tmp_path / "t.wav")
    assert (samples == values).all()


@pytest.mark.parametrize(
    ("form", "subtype"),
    [
        ("WAV", "PCM_24"),
        ("WAV", "GSM610"),
        ("FLAC", "PCM_24"),
        ("AIFF", "FLOAT"),
        ("OGG", "VORBIS"),
        ("OGG", "OPUS"),
        ("MP3", "MPEG_LAYER_III"),
    ],
)
@pytest.mark.parametrize("size", [17, 509, 70_000])
def test_a_second_pass_and_any_block_size_give_the_same_samples(
    tmp_path, form, subtype, size
):
    path = tmp_path / "take"
    soundfile.write(path, quiet_noise(80_000, 1), 48000, subtype, format=form)
    _, whole = read_take(path)
    with TakeReader(path) as take:
        for _ in range(2):
            assert np.array_equal(np.concatenate(list(take.blocks(size))), whole)


def test_blocks_of_one_frame_are_possible(tmp_path):
    write_wave(tmp_path / "t.wav", integers_24(9), 3, 48000)
    with TakeReader(tmp_path / "t.wav") as take:
        assert [block.shape for block in take.blocks(1)] == [(1, 2)] * 9


def test_a_pass_that_was_left_early_does_not_move_the_next_one(tmp_path):
    write_wave(tmp_path / "t.wav", integers_24(100), 3, 48000)
    with TakeReader(tmp_path / "t.wav") as take:
        first = next(take.blocks(30))
        assert np.array_equal(next(take.blocks(30)), first)


def test_a_pass_that_another_one_has_ended_says_so(tmp_path):
    write_wave(tmp_path / "t.wav", np.zeros((70_000, 1), np.int32), 3, 48000)
    with TakeReader(tmp_path / "t.wav") as take:
        first = take.blocks(65_536)
        next(first)
        next(take.blocks(1))
        with pytest.raises(RequestError, match="this pass has ended"):
            next(first)


def test_a_long_recording_is_read_in_little_memory(tmp_path):
    samples = 4_000_000  # 32 MB as float64
    write_wave(tmp_path / "t.wav", np.zeros((samples, 1), np.int32), 2, 48000)
    with TakeReader(tmp_path / "t.wav") as take:
        tracemalloc.start()
        total = sum(len(block) for block in take.blocks(4096))
        peak_bytes = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    assert total == samples
    assert peak_bytes < 4_000_000  # some chunks, however long the recording


POSIX_NAMES = ["t\udcffke.wav"] if sys.platform == "linux" else []


@pytest.mark.parametrize("name", ["täke ♯1 基.wav", "t.WAV", "noending", *POSIX_NAMES])
def test_the_name_of_a_recording_is_free(tmp_path, name):
    write_wave(tmp_path / "t", integers_24(10), 3, 48000)
    (tmp_path / "t").rename(tmp_path / name)
    assert read_take(tmp_path / name)[0].frames == 10


def test_blocks_without_a_frame_are_refused(tmp_path):
    write_wave(tmp_path / "t.wav", integers_24(10), 3, 48000)
    with (
        TakeReader(tmp_path / "t.wav") as take,
        pytest.raises(RequestError, match="at least 1 frame, got 0"),
    ):
        next(take.blocks(0))


def test_a_missing_file_is_told_in_one_sentence(tmp_path):
    for name in ("none.wav", "none/none.wav", "a\0b.wav"):
        with pytest.raises(AudioError, match="no such file; check its name and its"):
            TakeReader(tmp_path / name)


def test_a_file_without_a_frame_is_told_in_one_sentence(tmp_path):
    write_wave(tmp_path / "t.wav", np.zeros((0, 1), np.int32), 3, 48000)
    with pytest.raises(AudioError, match=r"holds no sound \(0 frames\); record or"):
        TakeReader(tmp_path / "t.wav")


@pytest.mark.parametrize("name", ["t.wav", "t.flac", "t.raw"])
def test_a_text_named_like_a_recording_is_told_in_one_sentence(tmp_path, name):
    (tmp_path / name).write_text("a shopping list\n" * 50)
    with pytest.raises(AudioError, match="can't be read as a recording") as told:
        TakeReader(tmp_path / name)
    assert str(told.value).endswith("; use WAV, FLAC, AIFF or OGG")


@pytest.mark.parametrize("form", ["WAV", "AIFF", "RF64"])
@pytest.mark.parametrize("share", [0.0, 0.3, 0.99])
def test_a_cut_off_file_is_refused_when_it_is_opened(tmp_path, form, share):
    path = tmp_path / "take"
    soundfile.write(path, quiet_noise(5000), 48000, "PCM_24", format=form)
    data = path.read_bytes()
    header = len(data) - 5000 * 2 * 3
    path.write_bytes(data[: header + round(share * 30_000)])
    with pytest.raises(AudioError, match=f"cut short, only {100 * share:.0f} % of the"):
        TakeReader(path)


def cut_in_half(path: Path, form: str) -> Path:
    soundfile.write(path, quiet_noise(60_000), 48000, format=form)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    return path


@pytest.mark.parametrize("form", ["FLAC", "MP3"])
def test_a_cut_off_compressed_file_is_refused_when_it_is_read(tmp_path, form):
    path = cut_in_half(tmp_path / "take", form)
    with pytest.raises(AudioError, match="cut short or damaged after sample frame"):
        read_take(path)


def test_a_cut_off_ogg_file_is_read_up_to_its_last_page(tmp_path):
    # RFC 3533: an Ogg stream's length stands only in its last page, so none is promised
    info, samples = read_take(cut_in_half(tmp_path / "take", "OGG"))
    assert 0 < info.frames < 60_000
    assert len(samples) == info.frames


def test_a_damaged_flac_file_is_refused_when_it_is_read(tmp_path):
    soundfile.write(tmp_path / "t.flac", quiet_noise(60_000), 48000, "PCM_24")
    data = bytearray((tmp_path / "t.flac").read_bytes())
    middle = len(data) // 2
    data[middle : middle + 20_000] = bytes(20_000)
    (tmp_path / "t.flac").write_bytes(data)
    with pytest.raises(AudioError, match="cut short or damaged after sample frame"):
        read_take(tmp_path / "t.flac")


def test_a_wav_from_a_pipe_whose_length_was_never_filled_in_is_read(tmp_path):
    path = write_wave(tmp_path / "t.wav", integers_24(100), 3, 48000)
    data = bytearray(path.read_bytes())
    data[4:8] = data[40:44] = b"\xff" * 4
    path.write_bytes(data)
    assert read_take(path)[0].frames == 100


def test_a_flac_from_a_pipe_whose_length_was_never_filled_in_is_refused(tmp_path):
    soundfile.write(tmp_path / "t.flac", quiet_noise(), 48000, "PCM_24")
    data = bytearray((tmp_path / "t.flac").read_bytes())
    data[21] &= 0xF0  # RFC 9639 section 8.2: 36 bits of total samples, 0 for unknown
    data[22:26] = bytes(4)
    (tmp_path / "t.flac").write_bytes(data)
    with pytest.raises(AudioError, match="doesn't say in its header how long it is"):
        TakeReader(tmp_path / "t.flac")


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("size", [1, 17, 509, 65536])
def test_a_sample_that_is_not_finite_is_told_with_its_place(tmp_path, bad, size):
    values = quiet_noise(1000).astype(np.float32)
    values[777, 1] = bad
    soundfile.write(tmp_path / "t.wav", values, 48000, "FLOAT")
    told = f"t.wav: every sample .* got {bad:g} at sample frame 777 in channel 2$"
    with (
        TakeReader(tmp_path / "t.wav") as take,
        pytest.raises(AudioError, match=told),
    ):
        list(take.blocks(size))


@given(st.binary(max_size=300), st.sampled_from([b"RIFF", b"FORM", b"fLaC", b"OggS"]))
@settings(deadline=None, max_examples=100)
def test_any_bytes_are_either_read_or_refused(tmp_path_factory, data, start):
    path = tmp_path_factory.getbasetemp() / "any.wav"
    path.write_bytes(start + data[:4] + b"WAVE" + data[4:])
    try:
        info, samples = read_take(path)
    except AudioError:
        return
    assert samples.shape == (info.frames, info.channels)


def test_importing_the_room_loads_neither_soundfile_nor_scipy():
    # they cost a second that a command without audio shouldn't wait for
    code = (
        "import sys, tonebench.audio.files, tonebench.audio.loudness\n"
        "print({'soundfile', 'scipy'} & set(sys.modules))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "set()"
