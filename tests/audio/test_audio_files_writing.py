# SPDX-License-Identifier: GPL-3.0-or-later
"""What is written is read by the standard library's `wave` where that can tell."""

import math
import os
import resource
from pathlib import Path

import numpy as np
import pytest
import soundfile
from clip_helpers import (
    INTEGER_KINDS,
    integers_24,
    names_in,
    quiet_noise,
    read_wave,
    write_clip,
    write_wave,
)

from tonebench.audio import formats
from tonebench.audio.clip_files import ClipWriter
from tonebench.audio.files import read_take
from tonebench.audio.quantise import DITHER_SEED, Quantiser
from tonebench.errors import AudioError, CheckFailed, OutputError, RequestError


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


def test_numbers_of_one_writer_stored_by_another_give_the_same_file(tmp_path):
    samples = quiet_noise()
    alone = write_clip(tmp_path / "alone.flac", samples, 509)
    with (
        ClipWriter(tmp_path / "first.wav", 48000, samples.shape[1]) as first,
        ClipWriter(tmp_path / "second.flac", 48000, samples.shape[1]) as second,
    ):
        for start in range(0, len(samples), 100):
            second.store(first.write(samples[start : start + 100]))
    assert second.frames == len(samples)
    assert (tmp_path / "second.flac").read_bytes() == alone.read_bytes()


@pytest.mark.parametrize("frames_expected", [None, 2**32])
def test_a_float_wav_carries_no_time_stamp(tmp_path, frames_expected):
    # libsndfile's PEAK chunk holds the second of writing; two files can then differ
    samples = quiet_noise()
    options = {"subtype": "float", "frames_expected": frames_expected}
    one = write_clip(tmp_path / "1.wav", samples, **options).read_bytes()
    assert b"PEAK" not in one
    assert write_clip(tmp_path / "2.wav", samples, **options).read_bytes() == one


@pytest.mark.parametrize(("subtype", "seed"), [("pcm24", 2), ("pcm16", 2)])
def test_a_clip_holds_what_the_quantiser_gives(tmp_path, subtype, seed):
    path = write_clip(
        tmp_path / "x.wav", quiet_noise(), subtype=subtype, dither_seed=seed
    )
    expected = Quantiser(subtype, "x.wav", seed).process(quiet_noise())
    assert (read_wave(path) == expected).all()


def test_all_clips_carry_the_same_dither_unless_told_otherwise(tmp_path):
    options = {"a": {}, "b": {}, "c": {"dither_seed": DITHER_SEED}}
    a, b, c = (
        write_clip(tmp_path / f"{name}.wav", quiet_noise(), subtype="pcm16", **option)
        for name, option in options.items()
    )
    assert a.read_bytes() == b.read_bytes() == c.read_bytes()


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


@pytest.mark.parametrize("name", ["x.WAV", "x.Flac"])
def test_the_case_of_the_ending_does_not_matter(tmp_path, name):
    assert read_take(write_clip(tmp_path / name, quiet_noise()))[0].frames == 3000


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
    monkeypatch.setattr(formats, "_PLAIN_WAV_BYTES", 1000)
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
