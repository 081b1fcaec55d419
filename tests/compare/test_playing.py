# SPDX-License-Identifier: GPL-3.0-or-later
"""What several inputs sum to on a take, for channels whose relation is known."""

import math

import numpy as np
import pytest
from sounds import RATE, Real, noise

from tonebench.compare.playing import Playing

HZ = np.array([50.0, 440.0, 2000.0, 9000.0])
ONES = np.ones((2, 4), complex)


def playing(samples: Real, block: int = 10_000) -> Playing:
    found = Playing(RATE, samples.shape[1])
    for start in range(0, len(samples), block):
        found.feed(samples[start : start + block])
    return found


def test_channels_that_know_nothing_of_each_other_add_their_powers() -> None:
    """Two gains of 1 on channels of half the power each: 1."""
    found = playing(noise(20 * RATE, 2)).gain(ONES, HZ)
    assert 20 * np.log10(found) == pytest.approx(np.zeros(4), abs=0.5)


def test_one_signal_on_both_channels_adds_its_voltages() -> None:
    one = noise(5 * RATE, 1)
    found = playing(np.concatenate([one, one], axis=1)).gain(ONES, HZ)
    assert found == pytest.approx(np.full(4, math.sqrt(2)), rel=1e-12)


def test_opposite_channels_cancel() -> None:
    one = noise(5 * RATE, 1)
    found = playing(np.concatenate([one, -one], axis=1)).gain(ONES, HZ)
    assert found == pytest.approx(np.zeros(4), abs=1e-7)


def test_a_channel_that_is_silent_adds_nothing() -> None:
    one = noise(5 * RATE, 1)
    responses = np.array([np.full(4, 0.5 + 0j), np.full(4, 100 + 0j)])
    samples = np.concatenate([one, np.zeros_like(one)], axis=1)
    assert playing(samples).gain(responses, HZ) == pytest.approx(np.full(4, 0.5))


def test_a_delay_between_the_channels_makes_a_comb() -> None:
    """|1 + e^(−jωτ)|/√2 with τ = 24 frames: full at 2 kHz, nothing at 1 kHz.

    Averaged over a third of an octave the notch keeps a part: from 2^(−1/6) to
    2^(1/6) times 1 kHz the mean of 1 + cos(ωτ) is worked out here by its integral.
    """
    one = noise(20 * RATE, 1)
    samples = np.concatenate([one[24:], one[:-24]], axis=1)
    found = playing(samples).gain(np.ones((2, 1), complex), [1000.0])
    low, high = (1000 * 2**x for x in (-1 / 6, 1 / 6))
    angle = 2 * math.pi * 24 / RATE
    mean = 1 + (math.sin(angle * high) - math.sin(angle * low)) / (angle * (high - low))
    assert found[0] ** 2 == pytest.approx(mean, abs=0.03)


def test_block_sizes_change_nothing() -> None:
    samples = noise(50_000, 2)
    found = [playing(samples, size).weights(HZ) for size in (1000, 4096, 50_000)]
    for other in found[1:]:
        np.testing.assert_array_equal(found[0], other)


@pytest.mark.parametrize("frames", [0, 100])
def test_a_take_too_short_for_a_spectrum_counts_as_channels_of_one_level(
    frames: int,
) -> None:
    found = playing(noise(frames, 2)).weights(HZ)
    np.testing.assert_array_equal(found, np.broadcast_to(np.eye(2) / 2, (4, 2, 2)))
