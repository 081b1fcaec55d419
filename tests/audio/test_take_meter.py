# SPDX-License-Identifier: GPL-3.0-or-later
"""A take made of parts that are known, measured as a whole."""

import math

import numpy as np
import pytest

from tonebench.audio.take_meter import measure_take

RATE = 48_000


def wave(hz: float, peak: float, seconds: float) -> np.ndarray:
    return peak * np.sin(2 * np.pi * hz / RATE * np.arange(round(seconds * RATE)))


def measured(*columns: np.ndarray, size: int = 65_536, rate: int = RATE):
    sound = np.column_stack(columns)
    blocks = (sound[at : at + size] for at in range(0, len(sound), size))
    return measure_take(blocks, rate, sound.shape[1])


def played() -> np.ndarray:
    """Give 1 s of noise, 4 s of a tone in it, 3 s of noise."""
    noise = 10 ** (-70 / 20) * np.random.default_rng(3).standard_normal(8 * RATE)
    noise[RATE : 5 * RATE] += wave(55, 0.5, 4)
    return noise


def test_noise_playing_and_what_is_around_it_are_told():
    found = measured(played())
    assert found.floor_dbfs == pytest.approx(-70, abs=0.2)
    assert found.playing_dbfs == pytest.approx(20 * math.log10(0.5) - 3.01, abs=0.05)
    assert found.leads_s == pytest.approx(1, abs=0.05)
    assert found.trails_s == pytest.approx(3, abs=0.05)
    assert found.silent_s == 0
    assert found.lowest_hz == pytest.approx(50.1, abs=0.1)  # the third that holds 55 Hz


def test_digital_silence_is_told_and_is_no_noise():
    sound = played()
    sound[:RATE] = 0
    found = measured(sound)
    assert found.silent_s == pytest.approx(1)
    assert found.floor_dbfs == pytest.approx(-70, abs=0.2)


def test_dc_is_the_mean_and_no_noise():
    found = measured(played() + 0.01)
    assert found.channels[0].dc == pytest.approx(0.01, abs=1e-5)
    assert found.floor_dbfs == pytest.approx(-70, abs=0.2)


def test_channels_are_held_against_the_first_without_their_dc():
    sound = played()
    other = np.random.default_rng(4).standard_normal(len(sound)) * 0.01
    found = measured(sound, sound + 0.01, -sound - 0.02, 1.01 * sound, other, 0 * sound)
    same, mirrored, near, unlike, empty = found.channels[1:]
    assert same.unlike_first_db == -math.inf
    assert mirrored.mirrored_first_db == -math.inf
    assert near.unlike_first_db == pytest.approx(-40, abs=1e-6)
    assert unlike.unlike_first_db > -6
    assert empty.peak_dbfs == -math.inf
    assert empty.unlike_first_db == pytest.approx(0, abs=1e-9)
    assert math.isnan(measured(0 * sound, sound).channels[1].unlike_first_db)


@pytest.mark.parametrize("size", [1, 17, 509, 10**6])
def test_the_same_is_measured_whatever_the_blocks(size):
    sound = np.clip(played()[: 3 * RATE // 2 : 8], -0.4, 0.4)
    pair = sound, 0.5 * sound[::-1]
    rate = RATE // 8
    whole = measured(*pair, rate=rate)
    assert measured(*pair, size=size, rate=rate) == whole
    assert whole.channels[0].clipped.count > 0


@pytest.mark.parametrize("frames", [1, 7, 2399, 9600])
def test_what_is_very_short_has_levels_and_little_else(frames):
    found = measured(wave(1000, 0.5, 1)[1 : frames + 1])
    assert found.channels[0].peak_dbfs > -40
    assert found.hum is None
    assert math.isnan(found.lowest_hz)
    assert math.isnan(found.floor_dbfs) == (frames < 9600)


def test_levels_are_those_of_a_sine():
    # closed forms
    found = measured(wave(1000, 0.5, 4))
    assert found.levels.peak_dbfs == pytest.approx(-6.0206, abs=1e-3)
    assert found.channels[0].rms_dbfs == pytest.approx(-9.0309, abs=1e-3)
    assert found.levels.crest_db == pytest.approx(3.0103, abs=1e-3)
