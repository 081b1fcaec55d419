# SPDX-License-Identifier: GPL-3.0-or-later
"""Thirds of an octave, and octaves, against sines and noise of known power."""

import numpy as np
import pytest
from sounds import sine

from tonebench.audio.bands import OCTAVE_NAMES, BandMeter, centres_hz

RATE = 48_000


def bands_of(samples: np.ndarray, rate: int = RATE) -> np.ndarray:  # type: ignore[type-arg]
    meter = BandMeter(rate, 1)
    meter.feed(samples.reshape(-1, 1))
    return 10 * np.log10(np.maximum(meter.bands(), 1e-20))


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("number", [-15, -5, 0, 6])
def test_a_sine_has_its_rms_in_its_band_and_next_to_nothing_in_others(
    number: int, rate: int
) -> None:
    hz = 1000 * 10 ** (number / 10)
    found = bands_of(sine(hz, 8, -6.0, rate), rate)
    k = number + 16
    assert centres_hz()[k] == pytest.approx(hz)
    assert found[k] == pytest.approx(-6 - 3.0103, abs=0.05)
    away = np.delete(found, [k - 1, k, k + 1])
    assert away.max() < found[k] - 35


def test_white_noise_has_a_decibel_more_in_every_band() -> None:
    """Bands of base ten grow by 10^(1/10): 1 dB (IEC 61260-1)."""
    samples = np.random.default_rng(3).standard_normal(RATE * 40)
    found = bands_of(samples)
    width = centres_hz() * (10 ** (1 / 20) - 10 ** (-1 / 20))
    wanted = 10 * np.log10(width / (RATE / 2))
    # chance leaves 10·lg e/√(width·seconds) dB of spread; four times that is rare
    allowed = 4 * 10 * np.log10(np.e) / np.sqrt(width * 40)
    assert np.all(np.abs(found - wanted) < allowed)


def test_bands_are_the_same_whatever_the_blocks() -> None:
    samples = np.random.default_rng(4).standard_normal((RATE, 2))
    whole, pieces = BandMeter(RATE, 2), BandMeter(RATE, 2)
    whole.feed(samples)
    for start in range(0, len(samples), 509):
        pieces.feed(samples[start : start + 509])
    np.testing.assert_array_equal(whole.bands(), pieces.bands())
    assert BandMeter(RATE, 1).bands().max() == 0


def test_the_nominal_names_are_the_exact_centres_rounded() -> None:
    # IEC 61260-1: nominal frequencies are the exact ones to a few percent
    named = [
        float(name.replace("k", "")) * (1e3 if "k" in name else 1)
        for name in OCTAVE_NAMES
    ]
    assert np.asarray(named) == pytest.approx(centres_hz(1), rel=0.015)


@pytest.mark.parametrize("rate", [44_100, 48_000, 192_000])
@pytest.mark.parametrize("k", [0, 2, 5, 9])
def test_a_sine_has_its_rms_in_its_octave(k: int, rate: int) -> None:
    hz = centres_hz(1)[k]
    meter = BandMeter(rate, 2, 1)
    tone = sine(hz, 4, -6.0, rate)
    meter.feed(np.column_stack([tone, tone]))
    found = meter.bands_db()
    assert found[k] == pytest.approx(-6 - 3.0103, abs=0.1)
    away = [
        level for at, level in enumerate(found) if level is not None and abs(at - k) > 1
    ]
    assert all(level < -6 - 3 - 35 for level in away)


def test_octaves_of_white_noise_rise_by_3_01_db_and_add_up_to_its_power() -> None:
    # closed form: twice the width (base ten: 10^0.3); 22 Hz to 22.4 kHz of 24 kHz
    samples = 0.1 * np.random.default_rng(3).standard_normal((RATE * 60, 1))
    meter = BandMeter(RATE, 1, 1)
    meter.feed(samples)
    found = np.asarray(meter.bands_db(), dtype=float)
    assert np.diff(found)[3:] == pytest.approx(3.0, abs=0.15)
    whole = 10 * np.log10(np.sum(10 ** (found / 10)))
    share = 10 * np.log10((10**4.2 * 10**0.15 - 10**1.5 / 10**0.15) / (RATE / 2))
    assert whole == pytest.approx(-20 + share, abs=0.05)


def test_every_third_window_of_steady_noise_tells_the_same() -> None:
    samples = 0.1 * np.random.default_rng(3).standard_normal((RATE * 60, 1))
    all_of_it, some = BandMeter(RATE, 1, 1), BandMeter(RATE, 1, 1, every=3)
    for meter in (all_of_it, some):
        meter.feed(samples)
    assert np.asarray(some.bands_db()[2:], dtype=float) == pytest.approx(
        np.asarray(all_of_it.bands_db()[2:], dtype=float), abs=0.4
    )


def test_a_band_that_the_rate_does_not_hold_has_no_level() -> None:
    meter = BandMeter(22_050, 1, 1)
    meter.feed(0.1 * np.random.default_rng(3).standard_normal((22_050, 1)))
    assert [level is None for level in meter.bands_db()] == [False] * 9 + [True]
