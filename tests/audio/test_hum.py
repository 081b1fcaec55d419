# SPDX-License-Identifier: GPL-3.0-or-later
"""Hum of known level in noise of known level, beside notes that are no hum."""

import numpy as np
import pytest

from tonebench.audio.hum import HumFinder

RATE = 48_000
RNG = np.random.default_rng(8)


def wave(hz: float, level_dbfs: float, seconds: float) -> np.ndarray:
    """Give a sine of an RMS in dBFS."""
    n = np.arange(round(seconds * RATE))
    return 2**0.5 * 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * hz / RATE * n)


def noise(level_dbfs: float, seconds: float) -> np.ndarray:
    return 10 ** (level_dbfs / 20) * RNG.standard_normal(round(seconds * RATE))


def notes(seconds: float) -> np.ndarray:
    """Give notes of G1 and B1, close to the mains, that decay; a rest at the end."""
    n = np.arange(round(seconds * RATE))
    decay = np.exp(-4 * ((n / RATE) % 2)) * (n < len(n) - 4 * RATE)
    return decay * (wave(49.0, -20, seconds) + wave(61.74, -20, seconds))


def found(sound: np.ndarray, size: int = 65_536):
    finder = HumFinder(RATE, 1)
    for at in range(0, len(sound), size):
        finder.feed(sound[at : at + size, None])
    return finder.found()


@pytest.mark.parametrize("mains", [50, 60])
@pytest.mark.parametrize("off", [-0.1, 0.0, 0.07])  # the grid's own wandering, in Hz
@pytest.mark.parametrize("level", [-50, -80])
def test_hum_and_its_multiples_are_found_at_their_level(mains, off, level):
    sound = notes(14) + noise(-90, 14)
    for k, down in ((1, 0), (3, 6)):
        sound += wave(k * (mains + off), level - down, 14)
    hum = found(sound)
    assert hum.is_there
    assert hum.mains_hz == mains
    # five lines hold all but 0.4 dB of a sine between two of them
    there = {line.frequency_hz: line for line in hum.lines if line.is_there}
    assert there.keys() == {mains, 3 * mains}
    assert there[mains].level_dbfs == pytest.approx(level, abs=0.5)
    assert there[3 * mains].level_dbfs == pytest.approx(level - 6, abs=0.5)
    both = level + 10 * np.log10(1 + 10**-0.6)
    assert hum.level_dbfs == pytest.approx(both, abs=0.5)


def test_notes_close_to_the_mains_are_no_hum():
    hum = found(notes(14) + noise(-90, 14))
    assert not hum.is_there
    assert hum.level_dbfs == -np.inf


def test_noise_alone_is_no_hum():
    hum = found(noise(-60, 20))
    assert not hum.is_there
    assert hum.quiet_dbfs == pytest.approx(-60, abs=0.5)


def test_how_far_a_line_is_above_the_noise_is_told():
    # closed form: white noise of −60 dBFS has 10·lg(width/24 kHz) less in a width
    line = found(noise(-60, 20) + wave(50, -70, 20)).lines[0]
    width = 5 * RATE / 65_536
    beside = -60 + 10 * np.log10(width / (RATE / 2))
    assert line.above_noise_db == pytest.approx(-70 - beside, abs=2)


@pytest.mark.parametrize("size", [17, 509, 480_000])
def test_blocks_of_any_size_find_the_same(size):
    sound = notes(6)[:, None].ravel() + wave(50, -70, 6) + noise(-90, 6)
    assert found(sound, size) == found(sound)


@pytest.mark.parametrize("seconds", [0.2, 1.3])
def test_what_is_too_short_and_what_is_silent_tells_nothing(seconds):
    assert found(wave(50, -20, seconds)) is None
    assert found(np.zeros(10 * RATE)) is None
