# SPDX-License-Identifier: GPL-3.0-or-later
"""Signals are synthesised from their description in EBU Tech 3341 v4, table 1.

"Ideal" values were computed from closed formulas for exactly these signals, apart from
the code under test; the standard itself allows ±0.1 LU.
"""

import math

import numpy as np
import pyloudnorm
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import freqz_sos

from tonebench.audio.loudness import (
    LoudnessMeter,
    channel_weights,
    k_weighting_sos,
    loudness_lufs,
)
from tonebench.errors import AudioError

RATE = 48000
IDEAL_LU = 0.005
STANDARD_LU = 0.1


def tone(*steps: tuple[float, float], hz: float = 1000, rate: int = RATE) -> np.ndarray:
    """Give one channel of a sine without breaks: (seconds, peak dBFS) after another."""
    gains = [
        np.full(round(seconds * rate), 10 ** (level / 20)) for seconds, level in steps
    ]
    gain = np.concatenate(gains)
    return gain * np.sin(2 * np.pi * hz / rate * np.arange(len(gain)))


def stereo(*steps: tuple[float, float]) -> np.ndarray:
    return np.repeat(tone(*steps)[:, None], 2, axis=1)


def metered(samples: np.ndarray, rate: int = RATE) -> LoudnessMeter:
    meter = LoudnessMeter(rate, samples.shape[1])
    meter.feed(samples)
    return meter


def noise(seconds: float, channels: int = 2, rate: int = RATE) -> np.ndarray:
    """Noise whose level moves over 40 dB, so that both gates have work to do."""
    frames = round(seconds * rate)
    white = np.random.default_rng(7).standard_normal((frames, channels))
    level_db = -40 + 20 * np.sin(2 * np.pi * np.arange(frames) / (5 * rate))
    return white * 10 ** (level_db / 20)[:, None]


# ITU-R BS.1770-5 (11/2023), Annex 1, tables 1 and 2: b0, b1, b2, a1, a2 at 48 kHz
TABLE_1 = (
    1.53512485958697,
    -2.69169618940638,
    1.19839281085285,
    -1.69065929318241,
    0.73248077421585,
)
TABLE_2 = (1.0, -2.0, 1.0, -1.99004745483398, 0.99007225036621)


def test_the_weighting_at_48_khz_is_the_standards_two_tables():
    sos = k_weighting_sos(48000)
    for row, table in zip(sos, (TABLE_1, TABLE_2), strict=True):
        assert row[[0, 1, 2, 4, 5]] == pytest.approx(table, abs=1e-12)
        assert row[3] == 1


# gain of the two tables' filters at 48 kHz, computed independently
K_GAIN_DB = {
    20: -13.275, 25: -10.393, 31.5: -7.790, 40: -5.567, 50: -3.934, 63: -2.664,
    80: -1.732, 100: -1.133, 200: -0.265, 500: 0.042, 997: 0.6910, 1000: 0.6977,
    2000: 3.071, 4000: 3.968, 10000: 4.042, 20000: 4.043,
}  # fmt: skip


@pytest.mark.parametrize(
    ("rate", "allowed_db"), [(48000, 0.0006), (44100, 0.0056), (96000, 0.0266)]
)
def test_the_weighting_has_the_same_curve_at_every_rate(rate, allowed_db):
    # allowed: the printed digits; at other rates the warping that was computed with it
    _, response = freqz_sos(k_weighting_sos(rate), list(K_GAIN_DB), fs=rate)
    gains = 20 * np.log10(np.abs(response))
    assert gains == pytest.approx(list(K_GAIN_DB.values()), abs=allowed_db)


@pytest.mark.parametrize(
    ("rate", "allowed_lu"),
    [(48000, 0.005), (44100, 0.01), (96000, 0.031), (192000, STANDARD_LU)],
)
def test_a_full_scale_sine_of_997_hz_in_one_channel_reads_minus_3_01(rate, allowed_lu):
    # ITU-R BS.1770-5 Annex 1 asks for −3.01 LKFS; half a step of its last digit, and
    # at 44.1 and 96 kHz the filters' own difference from 48 kHz (0.005 and 0.026 dB)
    samples = tone((5, 0), hz=997, rate=rate)[:, None]
    assert loudness_lufs(samples, rate) == pytest.approx(-3.01, abs=allowed_lu)


@pytest.mark.parametrize("place", range(3))
def test_each_front_channel_counts_the_same(place):
    # BS.1770-5: the sentence above holds for left, right and centre
    samples = np.zeros((5 * RATE, 6))
    samples[:, place] = tone((5, 0), hz=997)
    assert loudness_lufs(samples, RATE) == pytest.approx(-3.01, abs=0.005)


def test_the_same_sound_on_two_channels_reads_3_01_lu_more_than_on_one():
    # closed form: twice the power
    one, two = tone((2, -20))[:, None], stereo((2, -20))
    more = loudness_lufs(two, RATE) - loudness_lufs(one, RATE)
    assert more == pytest.approx(10 * math.log10(2), abs=1e-9)


# Tech 3341 table 1: the steps, the standard's value, the ideal one
INTEGRATED = {
    "case 1": ([(20, -23)], -23.0, -22.9933),
    "case 2": ([(20, -33)], -33.0, -32.9933),
    "case 3": ([(10, -36), (60, -23), (10, -36)], -23.0, -23.0139),
    "case 4": (
        [(10, -72), (10, -36), (60, -23), (10, -36), (10, -72)],
        -23.0,
        -23.0139,
    ),
    "case 5": ([(20, -26), (20.1, -20), (20, -26)], -23.0, -22.9787),
}


@pytest.mark.parametrize("case", INTEGRATED)
def test_the_integrated_loudness_is_what_tech_3341_asks_for(case):
    steps, expected, ideal = INTEGRATED[case]
    measured = loudness_lufs(stereo(*steps), RATE)
    assert measured == pytest.approx(expected, abs=STANDARD_LU)
    assert measured == pytest.approx(ideal, abs=IDEAL_LU)


def five_channels() -> np.ndarray:
    levels = (-28, -28, -24, -30, -30)
    return np.stack([tone((20, level)) for level in levels], axis=1)


def test_the_surround_channels_weigh_1_41_as_in_case_6_of_tech_3341():
    measured = loudness_lufs(five_channels(), RATE)
    assert measured == pytest.approx(-23.0, abs=STANDARD_LU)
    assert measured == pytest.approx(-23.0163, abs=IDEAL_LU)


def test_the_low_frequency_channel_of_six_is_left_out():
    # BS.1770-5: the LFE channel is not included; so six channels read as the five
    five = five_channels()
    loud = tone((20, 0), hz=60)
    six = np.insert(five, 3, loud, axis=1)
    assert loudness_lufs(six, RATE) == pytest.approx(
        loudness_lufs(five, RATE), abs=1e-9
    )


@pytest.mark.parametrize("channels", [1, 2, 3, 4, 7, 8])
def test_any_other_number_of_channels_weighs_them_all_alike(channels):
    assert channel_weights(channels).tolist() == [1.0] * channels


@pytest.mark.parametrize(("case", "expected", "ideal"), [
    ("case 1", -23.0, -22.9933),
    ("case 2", -33.0, -32.9933),
])  # fmt: skip
def test_a_steady_tone_reads_the_same_on_all_three_scales(case, expected, ideal):
    meter = metered(stereo(*INTEGRATED[case][0]))
    for values in (meter.momentary_lufs()[10:], meter.short_term_lufs()):
        assert values == pytest.approx(expected, abs=STANDARD_LU)
        assert values == pytest.approx(ideal, abs=IDEAL_LU)


def test_short_term_stays_constant_in_case_9_of_tech_3341():
    meter = metered(stereo(*[(1.34, -20), (1.66, -30)] * 5))
    values = meter.short_term_lufs()
    assert len(values) == 121  # 15 s, the first one complete after 3 s
    assert values == pytest.approx(-23.0, abs=STANDARD_LU)
    assert values == pytest.approx(-22.9863, abs=IDEAL_LU)


def test_momentary_stays_constant_in_case_12_of_tech_3341():
    meter = metered(stereo(*[(0.18, -20), (0.22, -30)] * 25))
    values = meter.momentary_lufs()[6:]  # after 1 s
    assert values == pytest.approx(-23.0, abs=STANDARD_LU)
    assert values == pytest.approx(-22.9604, abs=IDEAL_LU)


@pytest.mark.parametrize("rate", [44100, 48000])
@pytest.mark.parametrize("channels", [1, 2, 5])
def test_gating_agrees_with_another_program_that_has_the_same_filters(rate, channels):
    # pyloudnorm with De Man's regenerated coefficients: an independent implementation
    samples = noise(12, channels, rate)
    other = pyloudnorm.Meter(rate, filter_class="DeMan").integrated_loudness(samples)
    assert loudness_lufs(samples, rate) == pytest.approx(other, abs=1e-6)


def test_loudness_agrees_with_another_program_that_has_rounded_filters():
    # pyloudnorm's own filters (1500 Hz, 4 dB; 38 Hz) are off by up to 0.05 LU
    samples = noise(12)
    other = pyloudnorm.Meter(RATE).integrated_loudness(samples)
    assert loudness_lufs(samples, RATE) == pytest.approx(other, abs=0.05)


def readings(meter: LoudnessMeter) -> tuple[float, list[float], list[float]]:
    return (
        meter.integrated_lufs(),
        meter.momentary_lufs().tolist(),
        meter.short_term_lufs().tolist(),
    )


@pytest.mark.parametrize("size", [1, 17, 509])
@pytest.mark.parametrize("channels", [1, 2])
def test_block_wise_equals_one_shot_to_the_last_bit(size, channels):
    rate = 8000  # a low rate keeps blocks of one frame quick
    samples = noise(3.25, channels, rate)
    parts = LoudnessMeter(rate, channels)
    for at in range(0, len(samples), size):
        parts.feed(samples[at : at + size])
    assert readings(parts) == readings(metered(samples, rate))


def test_a_long_block_is_the_same_as_many_short_ones():
    samples = noise(10)
    parts = LoudnessMeter(RATE, 2)
    for at in range(0, len(samples), 4001):
        parts.feed(samples[at : at + 4001])
    assert readings(parts) == readings(metered(samples))


@pytest.mark.parametrize("rate", [11025, 22050, 44100, 88200, 192000])
def test_a_tone_reads_what_tech_3341_asks_for_at_every_rate(rate):
    # the −23 dBFS tone of case 1, with the tolerance that Tech 3341 gives
    samples = np.repeat(tone((5, -23), rate=rate)[:, None], 2, axis=1)
    assert loudness_lufs(samples, rate) == pytest.approx(-23.0, abs=STANDARD_LU)


@pytest.mark.parametrize(("missing", "count"), [(0, 600), (1, 599)])
def test_a_100_ms_that_is_no_whole_frames_never_drifts(missing, count):
    # 11,025 Hz: 100 ms are 1102.5 frames, 60 s hold 600 of them to the very frame; a
    # momentary value needs 4 of them, a short-term one 30
    meter = metered(np.ones((60 * 11025 - missing, 1)), 11025)
    assert len(meter.momentary_lufs()) == count - 3
    assert len(meter.short_term_lufs()) == count - 29


@pytest.mark.parametrize("frames", [0, 1, 19199])
def test_less_than_400_ms_has_no_loudness(frames):
    meter = metered(np.ones((frames, 1)))
    assert meter.integrated_lufs() == -math.inf
    assert len(meter.momentary_lufs()) == 0


def test_exactly_400_ms_has_a_loudness():
    assert loudness_lufs(tone((0.4, -20))[:, None], RATE) > -30


def test_silence_reads_minus_infinity_on_all_scales():
    meter = metered(np.zeros((4 * RATE, 2)))
    assert meter.integrated_lufs() == -math.inf
    assert (meter.momentary_lufs() == -math.inf).all()
    assert (meter.short_term_lufs() == -math.inf).all()


def test_what_stays_under_minus_70_lufs_is_gated_away():
    # BS.1770-5 eq. 5: blocks must be above −70; a stereo tone at −71 dBFS isn't
    assert loudness_lufs(stereo((5, -71)), RATE) == -math.inf
    assert loudness_lufs(stereo((5, -69)), RATE) == pytest.approx(-69, abs=0.01)


def test_an_incomplete_last_block_does_not_count():
    # BS.1770-5 Annex 1
    whole = noise(3, 1)
    longer = np.concatenate([whole, np.full((4000, 1), 0.9)])
    assert loudness_lufs(longer, RATE) == loudness_lufs(whole, RATE)


@given(st.floats(-30, 20))
@settings(deadline=None, max_examples=20)
def test_a_gain_moves_the_loudness_by_as_many_lu(gain_db):
    # as long as the absolute gate isn't near
    samples = noise(2, 1, 8000) * 10
    before = loudness_lufs(samples, 8000)
    after = loudness_lufs(samples * 10 ** (gain_db / 20), 8000)
    assert after - before == pytest.approx(gain_db, abs=1e-9)


def test_a_sample_rate_below_the_filters_is_refused():
    with pytest.raises(AudioError, match="rate above 3364 Hz, got 3000 Hz"):
        LoudnessMeter(3000, 1)


def test_a_sample_that_is_not_finite_is_refused_with_its_place():
    meter = metered(np.zeros((10, 1)))
    with pytest.raises(AudioError, match="got nan at sample frame 12 in channel 1"):
        meter.feed(np.array([[0.0], [0.0], [math.nan]]))


def test_an_array_without_channels_is_refused():
    with pytest.raises(AudioError, match=r"must have the shape \(frames, 1\)"):
        loudness_lufs(np.zeros(48000), RATE)
