# SPDX-License-Identifier: GPL-3.0-or-later
"""The whole room on recordings.

Those of a folder named by TONEBENCH_TAKES, else the ones that come with the program,
else a plucked tone made here.
"""

import os
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
from clip_helpers import write_clip

from tonebench.audio.files import TakeReader, read_take
from tonebench.audio.loudness import LoudnessMeter, loudness_lufs

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
