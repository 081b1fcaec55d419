# SPDX-License-Identifier: GPL-3.0-or-later
"""Cutting a stream anew keeps every frame, in order, at every length."""

import numpy as np
import pytest

from tonebench.audio.blocks import checked_block, regrouped
from tonebench.errors import AudioError, RequestError


@pytest.mark.parametrize("lengths", [[], [0], [1], [5, 0, 12], [100], [3] * 7])
@pytest.mark.parametrize("size", [1, 3, 17, 509])
def test_regrouped_frames_are_the_same_in_blocks_of_one_length(lengths, size):
    frames = np.arange(2.0 * sum(lengths)).reshape(-1, 2)
    chunks = np.split(frames, np.cumsum(lengths)[:-1]) if lengths else []
    blocks = list(regrouped(chunks, size))
    assert np.array_equal(np.concatenate([frames[:0], *blocks]), frames)
    assert all(len(block) == size for block in blocks[:-1])
    assert all(0 < len(block) <= size for block in blocks[-1:])


@pytest.mark.parametrize("size", [0, -1])
def test_blocks_without_a_frame_are_refused(size):
    with pytest.raises(RequestError, match=f"at least 1 frame, got {size}"):
        next(regrouped([np.zeros((3, 1))], size))


def test_a_checked_block_is_the_same_as_float64():
    block = np.array([[1, -2], [3, 4]], np.float32)
    checked = checked_block(block, 2, "x.wav")
    assert checked.dtype == np.float64
    assert np.array_equal(checked, block)


def test_a_frame_is_counted_from_the_start_of_the_stream():
    with pytest.raises(AudioError, match="got nan at sample frame 101 in channel 2"):
        checked_block(np.array([[0, 0], [0, np.nan]]), 2, "x.wav", first_frame=100)
