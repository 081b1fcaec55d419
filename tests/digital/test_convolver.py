# SPDX-License-Identifier: GPL-3.0-or-later
"""Long responses: against scipy's convolution of the whole, at any block size."""

from collections.abc import Sequence

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import oaconvolve
from sounds import noise

from tonebench.digital.convolver import HOP_FRAMES, Convolver
from tonebench.errors import RequestError

Real = NDArray[np.float64]


def through(convolver: Convolver, stream: Real, sizes: Sequence[int]) -> Real:
    """Run a stream in blocks of sizes by turns; return all that comes out."""
    out, start, turn = [], 0, 0
    while start < len(stream):
        size = sizes[turn % len(sizes)]
        out.append(convolver.process(stream[start : start + size]))
        start, turn = start + size, turn + 1
    return np.concatenate([*out, convolver.finish()])


def decaying(taps: int, channels: int = 1) -> Real:
    return (
        noise(taps, channels, seed=2) * np.exp(-np.arange(taps) / (taps / 5))[:, None]
    )


@pytest.mark.parametrize("taps", [1, 2, 1023, 1024, 1025, 5000, 96_000, 200_000])
@pytest.mark.parametrize("frames", [1, 1000, HOP_FRAMES, 150_001])
def test_a_stream_comes_out_as_scipy_convolves_the_whole(
    taps: int, frames: int
) -> None:
    stream, response = noise(frames, 2), decaying(taps)
    expected = oaconvolve(stream, response, axes=0)[:frames]
    found = through(Convolver(response, 2), stream, [HOP_FRAMES])
    assert found.shape == stream.shape
    assert found == pytest.approx(expected, abs=1e-14 * np.abs(response).sum())


@pytest.mark.parametrize("origin", [0, 700])
@pytest.mark.parametrize("sizes", [[1, 17, 509, 4096], [509], [100_000], [300_000]])
def test_no_block_size_changes_a_bit(sizes: list[int], origin: int) -> None:
    stream = noise(150_001, 2)
    convolver = Convolver(decaying(7000, 2), 2, origin)
    whole = through(convolver, stream, [HOP_FRAMES])
    assert np.array_equal(through(convolver, stream, sizes), whole)


def test_each_channel_goes_through_its_own_response() -> None:
    stream, response = noise(30_000, 3), decaying(2500, 3)
    found = through(Convolver(response, 3), stream, [4096])
    for k in range(3):
        expected = np.convolve(stream[:, k], response[:, k])[:30_000]
        assert found[:, k] == pytest.approx(expected, abs=1e-13)


@pytest.mark.parametrize("frames", [0, 1, 70_000, 131_072])
def test_a_single_sample_shifts_and_scales_and_does_nothing_else(frames: int) -> None:
    stream = noise(100_000)
    response = np.zeros((frames + 10, 1))
    response[frames] = 0.5
    found = through(Convolver(response, 1), stream, [509])
    expected = np.concatenate([np.zeros((frames, 1)), 0.5 * stream])[:100_000]
    assert found == pytest.approx(expected, abs=1e-16)


def test_what_stands_before_the_origin_answers_ahead() -> None:
    stream, response = noise(90_000), decaying(3000)
    found = through(Convolver(response, 1, 1200), stream, [4096])
    expected = oaconvolve(stream, response, axes=0)[1200:91_200]
    assert found == pytest.approx(expected, abs=1e-13)


def test_after_its_end_or_a_reset_nothing_is_remembered() -> None:
    convolver, stream = Convolver(decaying(5000), 1), noise(80_000)
    first = through(convolver, stream, [10_000])
    convolver.process(stream)
    convolver.reset()
    assert np.array_equal(through(convolver, stream, [10_000]), first)


def test_a_stream_without_a_frame_gives_none() -> None:
    assert Convolver(decaying(100), 2).finish().shape == (0, 2)


@pytest.mark.parametrize(
    ("shape", "origin"), [((0, 1), 0), ((5, 2), 0), ((5, 1), 5), ((5, 1), -1)]
)
def test_a_response_that_does_not_fit_is_refused(
    shape: tuple[int, int], origin: int
) -> None:
    with pytest.raises(RequestError, match="a response for 3 channels must have"):
        Convolver(np.ones(shape), 3, origin)
