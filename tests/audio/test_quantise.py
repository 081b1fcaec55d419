# SPDX-License-Identifier: GPL-3.0-or-later
"""Rounding follows IEEE 754, the dither's noise its closed form."""

import math

import numpy as np
import pytest
from clip_helpers import integers_24, quiet_noise

from tonebench.audio.quantise import Quantiser
from tonebench.errors import AudioError


def stored(samples: np.ndarray, subtype: str, size: int = 0, seed: int = 3):
    """Return the numbers for `samples`, in blocks of `size` frames, and the account."""
    quantiser = Quantiser(subtype, "x.wav", seed)
    step = size or max(1, len(samples))
    blocks = range(0, max(1, len(samples)), step)
    parts = [quantiser.process(samples[at : at + step]) for at in blocks]
    return np.concatenate(parts), quantiser


def test_24_bit_samples_are_unchanged():
    values, _ = stored(integers_24() / 2**23, "pcm24")
    assert values.dtype == np.int32
    assert (values == integers_24()).all()


def test_halves_are_rounded_to_even():
    # IEEE 754 roundTiesToEven: 0.5 → 0, 1.5 → 2, 2.5 → 2, −0.5 → 0, −1.5 → −2
    halves = np.array([[0.5], [1.5], [2.5], [-0.5], [-1.5], [2.4999], [-2.5001]])
    values, _ = stored(halves / 2**23, "pcm24")
    assert values[:, 0].tolist() == [0, 2, 2, 0, -2, 2, -3]


def test_floats_are_the_nearest_of_32_bits_whatever_their_size():
    samples = np.array([[0.1], [1.5], [-40.0], [1e-42], [3e38]])
    values, quantiser = stored(samples, "float")
    assert values.tobytes() == samples.astype("<f4").astype("=f4").tobytes()
    assert quantiser.worst == 0  # float has no full scale


@pytest.mark.parametrize("subtype", ["float", "pcm24", "pcm16"])
@pytest.mark.parametrize("size", [1, 17, 509])
@pytest.mark.parametrize("frames", [0, 1, 3000])
def test_block_wise_equals_one_shot_to_the_last_bit(subtype, size, frames):
    samples = 1.2 * quiet_noise(frames)
    whole, account = stored(samples, subtype)
    parts, same = stored(samples, subtype, size)
    assert parts.dtype == whole.dtype
    assert np.array_equal(parts, whole)
    for name in ("frames", "peak", "worst", "worst_frame"):
        assert getattr(same, name) == getattr(account, name)


def test_16_bit_dither_adds_a_quarter_of_a_squared_step_of_noise():
    # closed form: triangular dither of ±1 step (variance 1/6) and rounding (1/12), in
    # sum 1/4, and no error on average, whatever the signal
    values, _ = stored(np.full((200_000, 1), 100.3 / 2**15), "pcm16")
    error = values - 100.3
    assert np.abs(error).max() <= 1.5
    assert error.mean() == pytest.approx(0, abs=5 * math.sqrt(0.25 / 200_000))
    assert error.var() == pytest.approx(0.25, rel=0.02)


def test_the_channels_get_different_dither():
    left, right = stored(np.zeros((1000, 2)), "pcm16")[0].T
    assert (left != right).any()


def test_the_dither_follows_its_seed():
    silence = np.zeros((1000, 1))
    one, same, other = (stored(silence, "pcm16", seed=seed)[0] for seed in (1, 1, 2))
    assert np.array_equal(one, same)
    assert not np.array_equal(one, other)


def test_24_bit_samples_are_not_dithered():
    assert not stored(np.zeros((1000, 1)), "pcm24")[0].any()


@pytest.mark.parametrize(("edge", "step"), [(-1.0, -32768), (32767 / 32768, 32767)])
def test_dither_pushes_no_legal_value_over(edge, step):
    values, quantiser = stored(np.full((1000, 1), edge), "pcm16")
    assert set(np.unique(values)) <= {step - 1, step, step + 1}
    assert (values == step).any()
    assert quantiser.worst == 0


@pytest.mark.parametrize(("subtype", "bits"), [("pcm24", 24), ("pcm16", 16)])
def test_full_scale_is_legal_below_and_over_above(subtype, bits):
    # two's complement: −2^(n−1) … 2^(n−1) − 1; half a step above that rounds (to even)
    # out of the range
    top = 2.0 ** (bits - 1)
    for legal in (-1.0, (top - 1) / top, (top - 0.5001) / top, -(top + 0.5) / top):
        assert stored(np.array([[legal]]), subtype)[1].worst == 0
    for over in (1.0, (top - 0.5) / top, -(top + 0.5001) / top):
        assert stored(np.array([[over]]), subtype)[1].worst == abs(over)


@pytest.mark.parametrize("subtype", ["pcm24", "pcm16"])
@pytest.mark.parametrize("size", [1, 17, 5000])
def test_the_highest_excess_is_kept_with_its_first_frame(subtype, size):
    samples = np.zeros((4000, 2))
    samples[1200, 0], samples[2400, 1], samples[3600, 0] = 1.5, -2.0, 2.0
    values, quantiser = stored(samples, subtype, size)
    assert (quantiser.worst, quantiser.worst_frame) == (2.0, 2400)
    assert (quantiser.frames, quantiser.peak) == (4000, 2.0)
    bits = {"pcm24": 24, "pcm16": 16}[subtype]
    assert values.min() >= -(2 ** (bits - 1))
    assert values.max() <= 2 ** (bits - 1) - 1


def test_a_legal_minus_one_is_no_excess_beside_a_smaller_one_that_is():
    # −1 is legal, +1 − 2^−25 rounds to 2^23: the excess is the smaller number
    samples = np.array([[-1.0], [1 - 2.0**-25]])
    _, quantiser = stored(samples, "pcm24")
    assert (quantiser.worst, quantiser.worst_frame) == (1 - 2.0**-25, 1)
    assert quantiser.peak == 1


def test_a_sample_beyond_32_bit_float_is_refused():
    with pytest.raises(AudioError, match=r"^x.wav: .* 32-bit float, got 1e\+39$"):
        stored(np.array([[0.0], [-1e39]]), "float")
