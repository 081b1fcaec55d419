# SPDX-License-Identifier: GPL-3.0-or-later
"""Thirds of an octave against sines and noise of known power, and against curves."""

from pathlib import Path

import numpy as np
import pytest
from commands import LOW_PASS, LOW_PASS_HZ
from sounds import level_db, sine, write_float

from tonebench.audio.take import Take
from tonebench.circuit.circuit import STRAIGHT
from tonebench.circuit.files import inspect_text, read_circuit
from tonebench.circuit.hookup import Hookup, join
from tonebench.errors import RequestError
from tonebench.plan.take_files import read_take_file
from tonebench.study.bands import BandMeter, band_levels, centres_hz

RATE = 48_000
PLAIN = join(STRAIGHT)


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


def test_the_difference_of_two_circuits_is_that_of_their_curves(tmp_path: Path) -> None:
    """A sine through a low-pass and through nothing: 1/√(1 + (f/f₀)²)."""
    circuit = inspect_text(LOW_PASS, name="dull").circuit
    assert circuit
    tone = sine(2000, 4) + sine(125.8925, 4)
    take = Take(write_float(tmp_path / "two.wav", tone))
    found = band_levels(take, [(PLAIN, {}), (join(circuit), {})])
    difference = found.levels_db[1] - found.levels_db[0]
    for hz, number in ((125.8925, -9), (2000.0, 3)):
        wanted = -10 * np.log10(1 + (hz / LOW_PASS_HZ) ** 2)
        assert difference[number + 16] == pytest.approx(wanted, abs=0.03)
    total = level_db(tone)
    by_bands = 10 * np.log10(np.sum(10 ** (found.levels_db[0] / 10)))
    assert by_bands == pytest.approx(total, abs=0.05)


def test_a_take_against_itself_differs_by_nothing() -> None:
    take = read_take_file("harbour-low")
    found = band_levels(take, [(PLAIN, {}), (PLAIN, {})])
    np.testing.assert_allclose(found.difference_db, 0, atol=1e-12)
    strongest = centres_hz()[int(found.levels_db[0].argmax())]
    assert 25 < strongest < 130  # a line on a low B
    one = band_levels(take, [(PLAIN, {})])
    assert one.offset_db == 0
    np.testing.assert_array_equal(one.levels_db[0], found.levels_db[0])


def test_a_take_of_silence_is_told_as_one(tmp_path: Path) -> None:
    path = tmp_path / "nothing.wav"
    write_float(path, np.zeros(RATE))
    with pytest.raises(RequestError, match="nothing holds silence: it has no spectrum"):
        band_levels(read_take_file(str(path)), [(PLAIN, {})])


def test_a_silent_side_is_refused() -> None:
    silent = join(read_circuit("tern"), Hookup(source_ohm=1e3))
    with pytest.raises(RequestError, match="nothing comes out of tern here"):
        band_levels(read_take_file("harbour-walk"), [(silent, {"level": 0})])
