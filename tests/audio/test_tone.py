# SPDX-License-Identifier: GPL-3.0-or-later
"""Tones made from known sines: what is measured of them against what went in."""

import numpy as np
import pytest

from tonebench.audio.tone import measure_tone

RATE = 48_000


def wave(hz: float, peak: float, seconds: float, rate: int = RATE) -> np.ndarray:
    n = np.arange(round(seconds * rate))
    return peak * np.sin(2 * np.pi * hz / rate * n + 0.7)


def measured(*columns: np.ndarray, rate: int = RATE, size: int = 65_536):
    sound = np.column_stack(columns)
    return measure_tone(
        (sound[at : at + size] for at in range(0, len(sound), size)), rate
    )


@pytest.mark.parametrize("rate", [44_100, 48_000, 192_000])
@pytest.mark.parametrize("hz", [20.3, 50, 99.97, 400, 1000.4, 9000])
@pytest.mark.parametrize("peak", [0.9, 0.25, 0.001])
def test_frequency_and_height_are_those_of_the_sine(rate, hz, peak):
    found = measured(wave(hz, peak, 3, rate), rate=rate)
    assert found.frequency_hz == pytest.approx(hz, rel=1e-7)
    assert found.peak == pytest.approx(peak, rel=1e-6)
    assert found.rest < 1e-6
    assert found.spread_db < 1e-5
    assert found.seconds == pytest.approx(2.8, abs=1e-9)


def test_harmonics_and_noise_are_shares_of_the_fundamental():
    # closed forms: 1 % and 0.5 % of harmonics, noise of 0.3 % of the RMS
    rng = np.random.default_rng(6)
    sound = wave(400, 0.5, 5) + wave(800, 0.005, 5) + wave(1200, 0.0025, 5)
    sound += 0.003 * 0.5 / 2**0.5 * rng.standard_normal(len(sound))
    found = measured(sound)
    assert found.peak == pytest.approx(0.5, rel=1e-3)
    assert found.distortion == pytest.approx(np.hypot(0.01, 0.005), rel=0.01)
    assert found.rest == pytest.approx(np.hypot(np.hypot(0.01, 0.005), 0.003), rel=0.01)


def test_silence_around_the_tone_and_dc_are_left_out():
    rest = np.zeros(RATE)
    sound = np.concatenate([rest, wave(400, 0.5, 2), rest]) + 0.1
    found = measured(sound)
    assert found.peak == pytest.approx(0.5, rel=1e-6)
    assert found.rest < 1e-6
    assert found.seconds == pytest.approx(1.8, abs=0.11)


def test_a_level_that_moves_is_told():
    sound = wave(400, 0.5, 4) * np.linspace(1, 10 ** (0.5 / 20), 4 * RATE)
    assert measured(sound).spread_db == pytest.approx(0.5, abs=0.05)


def test_the_louder_channel_is_gone_by():
    found = measured(wave(400, 0.01, 3), wave(400, 0.5, 3))
    assert found.channel == 2
    assert found.peak == pytest.approx(0.5, rel=1e-6)


def test_clipping_is_told():
    assert measured(wave(400, 0.5, 3)).clipped.count == 0
    assert measured(np.clip(wave(400, 1.2, 3), -1, 1)).clipped.count > 0


@pytest.mark.parametrize(
    "sound", [np.zeros(RATE), np.zeros(10), np.full(RATE, 0.5), wave(400, 0.5, 0.25)]
)
def test_without_a_steady_tone_nothing_is_told(sound):
    assert measured(sound).seconds < 0.3


def test_blocks_of_any_size_tell_the_same():
    sound = wave(400, 0.5, 2)
    assert measured(sound, size=509) == measured(sound)
    assert measured(sound, wave(400, 0.1, 2), size=17) == measured(
        sound, wave(400, 0.1, 2)
    )
