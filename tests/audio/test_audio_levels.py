# SPDX-License-Identifier: GPL-3.0-or-later
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tonebench.audio.levels import LevelMeter, common_trim_db, match_gains_db
from tonebench.audio.tally import SegmentSums
from tonebench.errors import AudioError

LEVELS = st.floats(-200, 60)


def metered(*blocks: np.ndarray) -> LevelMeter:
    meter = LevelMeter(blocks[0].shape[1])
    for block in blocks:
        meter.feed(block)
    return meter


def sine(channels: int = 1) -> np.ndarray:
    # 100 Hz at 48 kHz: 480 frames a period, so the crest is a sample
    wave = np.sin(2 * np.pi * 100 / 48000 * np.arange(48000))
    return np.repeat(wave[:, None], channels, axis=1)


def test_a_full_scale_sine_has_its_peak_at_0_and_its_rms_at_minus_3_01_dbfs():
    # closed form: the rms of a sine is its peak over √2, 20·lg(1/√2) = −3.0103 dB
    meter = metered(sine())
    assert meter.peak_dbfs == pytest.approx(0.0, abs=1e-9)
    assert meter.rms_dbfs == pytest.approx(-3.010299956639812, abs=1e-9)


@pytest.mark.parametrize("channels", [1, 2, 6])
def test_the_rms_is_the_mean_over_the_channels_so_equal_ones_change_nothing(channels):
    assert metered(sine(channels)).rms_dbfs == pytest.approx(-3.0102999566, abs=1e-9)


def test_one_silent_channel_of_two_halves_the_power():
    # closed form: half the power is −3.0103 dB
    two = sine(2)
    two[:, 1] = 0
    meter = metered(two)
    assert meter.rms_dbfs == pytest.approx(-6.020599913279624, abs=1e-9)
    assert meter.peak_dbfs == pytest.approx(0.0, abs=1e-9)


def test_a_square_wave_has_peak_and_rms_equal():
    # closed form: |x| is constant
    meter = metered(np.where(np.arange(9999) % 2, -0.25, 0.25)[:, None])
    assert meter.peak == meter.rms == 0.25


def test_a_negative_crest_counts_as_a_peak():
    assert metered(np.array([[0.1], [-0.7], [0.2]])).peak == 0.7


@pytest.mark.parametrize("frames", [0, 1, 5000])
def test_silence_and_nothing_at_all_read_minus_infinity(frames):
    meter = metered(np.zeros((frames, 2)))
    assert meter.peak_dbfs == meter.rms_dbfs == -math.inf


@pytest.mark.parametrize("size", [1, 17, 509, 4096])
@pytest.mark.parametrize("frames", [1, 4095, 4096, 4097, 20000])
def test_block_wise_equals_one_shot_to_the_last_bit(size, frames):
    samples = np.random.default_rng(3).standard_normal((frames, 2))
    whole = metered(samples)
    parts = metered(*(samples[at : at + size] for at in range(0, frames, size)))
    assert (parts.peak, parts.rms) == (whole.peak, whole.rms)


def test_the_level_agrees_with_a_sum_that_is_exact():
    # second method: math.fsum over Python floats, correctly rounded
    samples = np.random.default_rng(4).standard_normal((50_000, 1))
    exact = math.sqrt(math.fsum(float(x) ** 2 for x in samples[:, 0]) / 50_000)
    assert metered(samples).rms == pytest.approx(exact, rel=1e-13)


def test_segments_may_differ_in_length():
    segments = SegmentSums(1, lambda k: [2, 3, 1, 9][k])
    ones = np.ones((7, 1))
    sums = [float(s[0]) for at in range(7) for s in segments.feed(ones[at : at + 1])]
    assert sums == [2, 3, 1]
    assert segments.unfinished() == 1


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_a_sample_that_is_not_finite_is_refused_with_its_place(bad):
    meter = metered(np.zeros((100, 2)))
    block = np.zeros((10, 2))
    block[3, 1] = bad
    with pytest.raises(
        AudioError, match=f"got {bad:g} at sample frame 103 in channel 2"
    ):
        meter.feed(block)


@pytest.mark.parametrize("shape", [(10,), (10, 1), (2, 10), (1, 10, 2)])
def test_a_block_of_another_shape_is_refused(shape):
    with pytest.raises(AudioError, match=r"must have the shape \(frames, 2\)"):
        LevelMeter(2).feed(np.zeros(shape))


def test_the_louder_of_two_is_turned_down_to_the_quieter():
    assert match_gains_db(-20.0, -23.5) == (-3.5, 0.0)
    assert match_gains_db(-23.5, -20.0) == (0.0, -3.5)
    assert match_gains_db(-20.0, -20.0) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("a", "b"), [(-math.inf, -20.0), (-20.0, -math.inf), (-math.inf, -math.inf)]
)
def test_a_silent_clip_is_not_matched(a, b):
    assert match_gains_db(a, b) is None


@given(LEVELS, LEVELS)
@settings(deadline=None)
def test_a_match_brings_both_to_one_level_and_turns_nothing_up(a, b):
    gains = match_gains_db(a, b)
    assert gains is not None
    assert max(gains) == 0
    assert a + gains[0] == pytest.approx(b + gains[1], abs=1e-9)


def test_a_set_is_trimmed_only_if_a_clip_exceeds_the_ceiling():
    # common practice, no source: −1 dBFS leaves room between the samples
    assert common_trim_db([-7.0, -1.0]) == 0.0
    assert common_trim_db([-7.0, 2.5]) == -3.5
    assert common_trim_db([-7.0, 2.5], ceiling_dbfs=0.0) == -2.5


def test_a_set_without_sound_needs_no_trim():
    assert common_trim_db([]) == common_trim_db([-math.inf]) == 0.0


@given(st.lists(st.one_of(LEVELS, st.just(-math.inf)), min_size=1))
@settings(deadline=None)
def test_a_trim_never_turns_up_and_puts_no_peak_above_the_ceiling(peaks):
    trim = common_trim_db(peaks)
    assert trim <= 0
    assert max(peaks) + trim <= -1.0 + 1e-9
