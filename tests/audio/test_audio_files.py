# SPDX-License-Identifier: GPL-3.0-or-later
"""What is read is checked against the standard library's `wave` where that can tell."""

import errno
import math
import os
import resource
import struct
import subprocess
import sys
import tracemalloc
import wave
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from tonebench.audio import files
from tonebench.audio.files import ClipWriter, TakeReader, read_take
from tonebench.audio.loudness import LoudnessMeter, loudness_lufs
from tonebench.audio.outputs import check_new_file, sha256_of, write_whole
from tonebench.errors import (
    AudioError,
    CheckFailed,
    InputError,
    OutputError,
    RequestError,
)

EDGES_24 = [-(2**23), -(2**23) + 1, -1, 0, 1, 2**23 - 2, 2**23 - 1]
INTEGER_KINDS = [("x.wav", "pcm24"), ("x.flac", "pcm24"), ("x.wav", "pcm16")]


def integers_24(frames: int = 3000, channels: int = 2) -> np.ndarray:
    """Seeded 24-bit integers, with the edges of the range among them."""
    values = np.random.default_rng(5).integers(-(2**23), 2**23, (frames, channels))
    values[: len(EDGES_24), 0] = EDGES_24
    return values


def quiet_noise(frames: int = 3000, channels: int = 2) -> np.ndarray:
    return np.random.default_rng(6).uniform(-0.9, 0.9, (frames, channels))


def write_wave(path: Path, values: np.ndarray, sample_bytes: int, rate: int) -> Path:
    """Write integers with the standard library, apart from libsndfile."""
    shifted = (values.astype("<i4") << (32 - 8 * sample_bytes)).tobytes()
    raw = np.frombuffer(shifted, np.uint8).reshape(-1, 4)[:, 4 - sample_bytes :]
    with wave.open(str(path), "wb") as file:
        file.setparams((values.shape[1], sample_bytes, rate, 0, "NONE", ""))
        file.writeframes(raw.tobytes())
    return path


def read_wave(path: Path) -> np.ndarray:
    """Read integers with the standard library, apart from libsndfile."""
    with wave.open(str(path), "rb") as file:
        width, channels = file.getsampwidth(), file.getnchannels()
        raw = np.frombuffer(file.readframes(file.getnframes()), np.uint8)
    wide = np.zeros((len(raw) // width, 4), np.uint8)
    wide[:, 4 - width :] = raw.reshape(-1, width)
    return (wide.view("<i4") >> (32 - 8 * width)).reshape(-1, channels)


def write_clip(path: Path, samples: np.ndarray, size: int = 1000, **options) -> Path:
    with ClipWriter(path, 48000, samples.shape[1], **options) as clip:
        for at in range(0, len(samples), size):
            clip.write(samples[at : at + size])
    return path


def names_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


# Reading


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


def test_a_folder_is_told_in_one_sentence(tmp_path):
    with pytest.raises(AudioError, match="is a folder, not a recording; name one file"):
        TakeReader(tmp_path)


def test_a_pipe_is_told_in_one_sentence(tmp_path):
    os.mkfifo(tmp_path / "pipe.wav")
    with pytest.raises(AudioError, match="is not a file that can be read twice"):
        TakeReader(tmp_path / "pipe.wav")


def test_an_empty_file_is_told_in_one_sentence(tmp_path):
    (tmp_path / "t.wav").touch()
    with pytest.raises(AudioError, match=r"is empty \(0 bytes\); copy or export"):
        TakeReader(tmp_path / "t.wav")


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


def test_a_file_that_may_not_be_opened_is_told_in_one_sentence(tmp_path, monkeypatch):
    write_wave(tmp_path / "t.wav", integers_24(10), 3, 48000)

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(AudioError, match=r"can't be opened \(Permission denied\)"):
        TakeReader(tmp_path / "t.wav")


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


def test_odd_chunks_before_and_after_the_sound_do_no_harm(tmp_path):
    path = write_wave(tmp_path / "t.wav", integers_24(101, 1), 3, 48000)
    data = path.read_bytes()
    note = b"note" + struct.pack("<I", 5) + b"hello\0"
    body = data[12:36] + note + data[36:] + b"\0" + note
    path.write_bytes(b"RIFF" + struct.pack("<I", len(body) + 4) + b"WAVE" + body)
    assert read_take(path)[0].frames == 101


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


# Writing


@pytest.mark.parametrize("name", ["x.wav", "x.flac"])
def test_24_bit_samples_come_out_unchanged_up_to_full_scale(tmp_path, name):
    values = integers_24()
    path = write_clip(tmp_path / name, values / 2**23)
    read, _ = soundfile.read(path, dtype="int32")
    assert (read >> 8 == values).all()
    if name == "x.wav":
        assert (read_wave(path) == values).all()


def test_a_24_bit_take_becomes_the_same_24_bit_clip(tmp_path):
    values = integers_24()
    write_wave(tmp_path / "t.wav", values, 3, 48000)
    write_clip(tmp_path / "x.wav", read_take(tmp_path / "t.wav")[1])
    assert (read_wave(tmp_path / "x.wav") == values).all()


def test_halves_are_rounded_to_even(tmp_path):
    # IEEE 754 roundTiesToEven: 0.5 → 0, 1.5 → 2, 2.5 → 2, −0.5 → 0, −1.5 → −2
    halves = np.array([[0.5], [1.5], [2.5], [-0.5], [-1.5], [2.4999], [-2.5001]])
    write_clip(tmp_path / "x.wav", halves / 2**23)
    assert read_wave(tmp_path / "x.wav")[:, 0].tolist() == [0, 2, 2, 0, -2, 2, -3]


def test_float_clips_hold_the_nearest_32_bit_floats_whatever_their_size(tmp_path):
    values = np.array([[0.1], [1.5], [-40.0], [1e-42], [3e38]])
    path = write_clip(tmp_path / "x.wav", values, subtype="float")
    data = path.read_bytes()
    at = data.index(b"data") + 8
    assert data[at:] == values.astype("<f4").tobytes()
    assert len(data) % 2 == 0


@pytest.mark.parametrize("frames", [1, 2, 4096, 65537])
@pytest.mark.parametrize(("name", "subtype"), [*INTEGER_KINDS, ("x.wav", "float")])
def test_a_clip_is_as_long_as_what_was_fed(tmp_path, frames, name, subtype):
    path = write_clip(tmp_path / name, quiet_noise(frames), subtype=subtype)
    info, samples = read_take(path)
    assert (info.frames, info.channels, info.sample_rate_hz) == (frames, 2, 48000)
    assert len(samples) == frames


@pytest.mark.parametrize(("name", "subtype"), [*INTEGER_KINDS, ("x.wav", "float")])
@pytest.mark.parametrize("size", [1, 17, 509])
def test_block_wise_equals_one_shot_to_the_last_byte(tmp_path, name, subtype, size):
    samples = quiet_noise()
    whole = write_clip(tmp_path / name, samples, len(samples), subtype=subtype)
    parts = write_clip(tmp_path / f"parts-{name}", samples, size, subtype=subtype)
    assert parts.read_bytes() == whole.read_bytes()


def test_a_block_of_no_frames_changes_nothing(tmp_path):
    with ClipWriter(tmp_path / "x.wav", 48000, 1) as clip:
        clip.write(np.zeros((0, 1)))
        clip.write(np.full((3, 1), 0.5))
        clip.write(np.zeros((0, 1)))
    assert read_take(tmp_path / "x.wav")[0].frames == 3


def test_the_peak_and_the_length_are_known_while_writing(tmp_path):
    with ClipWriter(tmp_path / "x.wav", 48000, 1) as clip:
        clip.write(np.array([[0.25], [-0.5]]))
        assert (clip.frames, clip.peak) == (2, 0.5)
        clip.write(np.array([[0.75]]))
    assert (clip.frames, clip.peak) == (3, 0.75)


@pytest.mark.parametrize("frames_expected", [None, 2**32])
def test_a_float_wav_carries_no_time_stamp(tmp_path, frames_expected):
    # libsndfile's PEAK chunk holds the second of writing; two files can then differ
    samples = quiet_noise()
    options = {"subtype": "float", "frames_expected": frames_expected}
    one = write_clip(tmp_path / "1.wav", samples, **options).read_bytes()
    assert b"PEAK" not in one
    assert write_clip(tmp_path / "2.wav", samples, **options).read_bytes() == one


def test_16_bit_dither_adds_a_quarter_of_a_squared_step_of_noise(tmp_path):
    # closed form: triangular dither of ±1 step (variance 1/6) and rounding (1/12), in
    # sum 1/4, and no error on average, whatever the signal
    constant = np.full((200_000, 1), 100.3 / 2**15)
    write_clip(tmp_path / "x.wav", constant, subtype="pcm16")
    error = read_wave(tmp_path / "x.wav")[:, 0] - 100.3
    assert np.abs(error).max() <= 1.5
    assert error.mean() == pytest.approx(0, abs=5 * math.sqrt(0.25 / 200_000))
    assert error.var() == pytest.approx(0.25, rel=0.02)


def test_the_channels_get_different_dither(tmp_path):
    write_clip(tmp_path / "x.wav", np.zeros((1000, 2)), subtype="pcm16")
    left, right = read_wave(tmp_path / "x.wav").T
    assert (left != right).any()


def test_the_dither_follows_its_seed(tmp_path):
    samples = np.zeros((1000, 1))
    one, same, other = (
        write_clip(tmp_path / f"{n}.wav", samples, subtype="pcm16", dither_seed=seed)
        for n, seed in enumerate((files.DITHER_SEED, files.DITHER_SEED, 2))
    )
    plain = write_clip(tmp_path / "plain.wav", samples, subtype="pcm16")
    assert one.read_bytes() == same.read_bytes() == plain.read_bytes()
    assert one.read_bytes() != other.read_bytes()


def test_24_bit_clips_are_not_dithered(tmp_path):
    write_clip(tmp_path / "x.wav", np.zeros((1000, 1)))
    assert not read_wave(tmp_path / "x.wav").any()


@pytest.mark.parametrize(("edge", "step"), [(-1.0, -32768), (32767 / 32768, 32767)])
def test_dither_pushes_no_legal_value_over(tmp_path, edge, step):
    write_clip(tmp_path / "x.wav", np.full((1000, 1), edge), subtype="pcm16")
    values = read_wave(tmp_path / "x.wav")
    assert set(np.unique(values)) <= {step - 1, step, step + 1}
    assert (values == step).any()


@pytest.mark.parametrize(("name", "subtype"), INTEGER_KINDS)
@pytest.mark.parametrize("size", [1, 17, 5000])
def test_a_clip_over_full_scale_is_refused_and_leaves_nothing(
    tmp_path, name, subtype, size
):
    samples = np.zeros((4000, 1))
    samples[1200] = 1.5
    samples[2400] = -2.0  # the highest excess: 20·lg 2 = 6.02 dB, at 2400/48000 s
    samples[3600] = 2.0
    told = f"{name}: is 6.02 dB over full scale at 0.050 s, .*float.*--trim$"
    with pytest.raises(CheckFailed, match=told):
        write_clip(tmp_path / name, samples, size, subtype=subtype)
    assert names_in(tmp_path) == []


@pytest.mark.parametrize(("subtype", "bits"), [("pcm24", 24), ("pcm16", 16)])
def test_full_scale_is_legal_below_and_over_above(tmp_path, subtype, bits):
    # two's complement: −2^(n−1) … 2^(n−1) − 1; half a step above that rounds (to even)
    # out of the range
    top = 2.0 ** (bits - 1)
    for legal in (-1.0, (top - 1) / top, (top - 0.5001) / top, -(top + 0.5) / top):
        write_clip(tmp_path / "x.wav", np.array([[legal]]), subtype=subtype, force=True)
    (tmp_path / "x.wav").unlink()
    for over in (1.0, (top - 0.5) / top, -(top + 0.5001) / top):
        with pytest.raises(
            CheckFailed, match=r"is 0\.01 dB over full scale at 0\.000 s"
        ):
            write_clip(tmp_path / "x.wav", np.array([[over]]), subtype=subtype)
    assert names_in(tmp_path) == []


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize(("name", "subtype"), [*INTEGER_KINDS, ("x.wav", "float")])
def test_a_sample_that_is_not_finite_is_never_written(tmp_path, bad, name, subtype):
    samples = quiet_noise()
    samples[2100, 0] = bad
    told = f"got {bad:g} at sample frame 2100 in channel 1"
    with pytest.raises(AudioError, match=told):
        write_clip(tmp_path / name, samples, subtype=subtype)
    assert names_in(tmp_path) == []


def test_a_sample_beyond_32_bit_float_is_refused(tmp_path):
    with pytest.raises(AudioError, match=r"must fit into 32-bit float, got 1e\+39"):
        write_clip(tmp_path / "x.wav", np.array([[1e39]]), subtype="float")
    assert names_in(tmp_path) == []


def test_a_block_of_other_channels_is_refused(tmp_path):
    with (
        pytest.raises(AudioError, match=r"must have the shape \(frames, 2\), got"),
        ClipWriter(tmp_path / "x.wav", 48000, 2) as clip,
    ):
        clip.write(np.zeros((10, 1)))
    assert names_in(tmp_path) == []


def test_a_clip_without_a_frame_is_refused(tmp_path):
    with pytest.raises(AudioError, match=r"no sound to write \(0 frames\)"):
        write_clip(tmp_path / "x.wav", np.zeros((0, 1)))
    assert names_in(tmp_path) == []


def test_a_clip_has_its_name_only_once_it_is_whole(tmp_path):
    with ClipWriter(tmp_path / "x.wav", 48000, 1) as clip:
        clip.write(np.zeros((10, 1)))
        assert names_in(tmp_path) == [f".x.wav.part-{os.getpid()}"]
    assert names_in(tmp_path) == ["x.wav"]


def break_off(path: Path, error: type[BaseException], **options: bool) -> None:
    with ClipWriter(path, 48000, 1, **options) as clip:
        clip.write(np.zeros((10, 1)))
        raise error


@pytest.mark.parametrize("error", [KeyboardInterrupt, RuntimeError, SystemExit])
def test_a_clip_that_is_broken_off_leaves_nothing(tmp_path, error):
    with pytest.raises(error):
        break_off(tmp_path / "x.wav", error)
    assert names_in(tmp_path) == []


def test_a_clip_that_is_broken_off_leaves_the_one_it_would_replace(tmp_path):
    (tmp_path / "x.wav").write_bytes(b"old")
    with pytest.raises(KeyboardInterrupt):
        break_off(tmp_path / "x.wav", KeyboardInterrupt, force=True)
    assert (tmp_path / "x.wav").read_bytes() == b"old"
    assert names_in(tmp_path) == ["x.wav"]


def test_an_existing_file_is_replaced_only_by_force(tmp_path):
    (tmp_path / "x.wav").write_bytes(b"old")
    with pytest.raises(OutputError, match="exists already; give another name or --for"):
        write_clip(tmp_path / "x.wav", quiet_noise())
    assert (tmp_path / "x.wav").read_bytes() == b"old"
    write_clip(tmp_path / "x.wav", quiet_noise(), force=True)
    assert read_take(tmp_path / "x.wav")[0].frames == 3000


def test_a_file_that_appears_meanwhile_is_not_replaced(tmp_path):
    clip = ClipWriter(tmp_path / "x.wav", 48000, 1).__enter__()
    clip.write(np.zeros((10, 1)))
    (tmp_path / "x.wav").write_bytes(b"another program's")
    with pytest.raises(OutputError, match="exists already"):
        clip.__exit__(None, None, None)
    assert (tmp_path / "x.wav").read_bytes() == b"another program's"
    assert names_in(tmp_path) == ["x.wav"]


@pytest.mark.parametrize("name", ["x.mp3", "x", "x.wav.gz"])
def test_a_name_that_says_no_known_format_is_refused(tmp_path, name):
    with pytest.raises(RequestError, match=r"must end in \.wav or \.flac, got '"):
        ClipWriter(tmp_path / name, 48000, 1)


@pytest.mark.parametrize("name", ["x.WAV", "x.Flac"])
def test_the_case_of_the_ending_does_not_matter(tmp_path, name):
    assert read_take(write_clip(tmp_path / name, quiet_noise()))[0].frames == 3000


def test_a_float_flac_is_refused_with_the_way_out(tmp_path):
    told = "FLAC holds integers only, got float; choose pcm24, or a name that ends in"
    with pytest.raises(RequestError, match=told):
        ClipWriter(tmp_path / "x.flac", 48000, 1, subtype="float")


def test_an_unknown_subtype_is_refused(tmp_path):
    with pytest.raises(RequestError, match="float, pcm24 or pcm16, got 'pcm8'"):
        ClipWriter(tmp_path / "x.wav", 48000, 1, subtype="pcm8")


@pytest.mark.parametrize(("rate", "channels"), [(48000, 9), (700_000, 1)])
def test_what_flac_cannot_hold_is_refused_and_leaves_nothing(tmp_path, rate, channels):
    # RFC 9639: up to 8 channels; libsndfile takes rates up to 655,350 Hz
    with (
        pytest.raises(RequestError, match=f"hold {channels} channels at {rate} Hz"),
        ClipWriter(tmp_path / "x.flac", rate, channels),
    ):
        pass
    assert names_in(tmp_path) == []


@pytest.mark.parametrize(
    ("frames_expected", "start"),
    [(None, b"RIFF"), (2**30, b"RIFF"), (2**32 // 3, b"RF64"), (2**40, b"RF64")],
)
def test_a_wav_that_would_pass_4_gib_is_written_as_rf64(
    tmp_path, frames_expected, start
):
    values = integers_24(channels=1)
    path = write_clip(
        tmp_path / "x.wav", values / 2**23, frames_expected=frames_expected
    )
    assert path.read_bytes()[:4] == start
    assert (soundfile.read(path, dtype="int32")[0] >> 8 == values[:, 0]).all()


def test_a_wav_that_grows_past_4_gib_unforeseen_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(files, "_PLAIN_WAV_BYTES", 1000)
    with pytest.raises(OutputError, match="grows past 4 GiB"):
        write_clip(tmp_path / "x.wav", quiet_noise(), 100)
    assert names_in(tmp_path) == []


@pytest.mark.parametrize("name", ["x.wav", "x.flac"])
@pytest.mark.parametrize("frames", [3000, 100_000])
def test_a_disk_that_fills_up_is_told_and_leaves_nothing(tmp_path, name, frames):
    # a limit on the size of files stands in for the full disk; 3000 frames of FLAC
    # reach the disk only when the file is closed
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    samples = quiet_noise(frames)
    resource.setrlimit(resource.RLIMIT_FSIZE, (9000, limits[1]))
    try:
        with pytest.raises(OutputError, match="not be written to its end; is the disk"):
            write_clip(tmp_path / name, samples)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert names_in(tmp_path) == []


# Places for new files, small files, hashes


def test_a_folder_that_is_missing_is_told(tmp_path):
    with pytest.raises(OutputError, match=r"its folder '.*none' doesn't exist; make"):
        check_new_file(tmp_path / "none" / "x.json")
    (tmp_path / "file").touch()
    with pytest.raises(OutputError, match="doesn't exist"):
        check_new_file(tmp_path / "file" / "x.json")


def test_a_folder_that_cannot_be_written_is_told(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "access", lambda *_: False)  # an administrator may always
    with pytest.raises(OutputError, match=r"its folder '.*' can't be written; choose"):
        check_new_file(tmp_path / "x.json")


@pytest.mark.parametrize("force", [False, True])
def test_folders_and_devices_are_never_replaced(tmp_path, force):
    with pytest.raises(OutputError, match="is a folder"):
        check_new_file(tmp_path, force)
    (tmp_path / "null.wav").symlink_to(os.devnull)
    with pytest.raises(OutputError, match="is not an ordinary file"):
        check_new_file(tmp_path / "null.wav", force)


def test_a_new_place_and_a_forced_one_are_fine(tmp_path):
    check_new_file(tmp_path / "x.json")
    (tmp_path / "x.json").touch()
    check_new_file(tmp_path / "x.json", force=True)
    with pytest.raises(OutputError, match="exists already"):
        check_new_file(tmp_path / "x.json")


def test_a_small_file_is_written_whole(tmp_path):
    write_whole(tmp_path / "x.json", b"one")
    with pytest.raises(OutputError, match="exists already"):
        write_whole(tmp_path / "x.json", b"two")
    assert (tmp_path / "x.json").read_bytes() == b"one"
    write_whole(tmp_path / "x.json", b"three", force=True)
    assert (tmp_path / "x.json").read_bytes() == b"three"
    assert names_in(tmp_path) == ["x.json"]


@pytest.mark.parametrize(
    ("number", "told"),
    [(errno.ENOSPC, "the disk is full"), (errno.EROFS, "Read-only file system")],
)
def test_what_the_system_says_becomes_one_sentence(tmp_path, monkeypatch, number, told):
    def refuse(path: Path, data: bytes) -> None:
        path.touch()
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(Path, "write_bytes", refuse)
    with pytest.raises(OutputError, match=f"can't be written .{told}.; choose another"):
        write_whole(tmp_path / "x.json", b"text")
    with (
        pytest.raises(OutputError, match=f"can't be written .{told}.; choose another"),
        ClipWriter(tmp_path / "x.wav", 48000, 1),
    ):
        pass
    assert names_in(tmp_path) == []


def test_a_hash_is_the_one_of_the_standard(tmp_path):
    # FIPS 180-4, the example "abc"
    (tmp_path / "abc").write_bytes(b"abc")
    assert sha256_of(tmp_path / "abc") == (
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )


def test_a_hash_of_a_missing_file_is_refused(tmp_path):
    with pytest.raises(InputError, match="can't be read"):
        sha256_of(tmp_path / "none")


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


# Recordings: those of a folder named by TONEBENCH_TAKES, else the ones that come with
# the program, else a plucked tone made here

_FOLDER = os.environ.get("TONEBENCH_TAKES") or Path(__file__).parents[2] / "demo_audio"
_TAKES = sorted(
    path for path in Path(_FOLDER).glob("*") if path.suffix in (".flac", ".wav")
)


@pytest.fixture(params=_TAKES or [None], ids=lambda path: path.name if path else "none")
def recording(request, tmp_path):
    if request.param is not None:
        return request.param
    seconds = np.arange(48000 * 3) / 48000
    tone = np.sin(2 * np.pi * 41.2 * seconds) * np.exp(-seconds)
    return write_clip(tmp_path / "plucked.flac", 0.5 * tone[:, None])


def test_a_recording_comes_back_as_it_was_from_a_clip(recording, tmp_path):
    info, samples = read_take(recording)
    write_clip(tmp_path / "copy.wav", samples, 4099, subtype="float")
    copied, again = read_take(tmp_path / "copy.wav")
    assert copied.frames == info.frames
    assert np.array_equal(again, samples.astype(np.float32))


def test_a_recordings_loudness_agrees_with_another_program(recording):
    # pyloudnorm with De Man's regenerated coefficients: an independent implementation
    info, samples = read_take(recording)
    hop = info.sample_rate_hz // 10
    samples = samples[: len(samples) // hop * hop]  # it rounds the last block's length
    meter = pyloudnorm.Meter(info.sample_rate_hz, filter_class="DeMan")
    other = meter.integrated_loudness(samples)
    assert loudness_lufs(samples, info.sample_rate_hz) == pytest.approx(other, abs=1e-6)


def test_a_recordings_loudness_does_not_depend_on_the_blocks(recording):
    info, samples = read_take(recording)
    meter = LoudnessMeter(info.sample_rate_hz, info.channels)
    with TakeReader(recording) as take:
        for block in take.blocks(509):
            meter.feed(block)
    assert meter.integrated_lufs() == loudness_lufs(samples, info.sample_rate_hz)
