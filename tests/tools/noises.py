# SPDX-License-Identifier: GPL-3.0-or-later
"""Noise that is the same every time: the floor of a take, and hands on windings.

Knows how noise swells and how it is coloured; nothing of strings, notes or files.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SAMPLE_RATE_HZ = 48_000
FLOOR_V = 10 ** (-90 / 20)
FLOOR_BLOCK = 8192
RUB_BLOCK = 2048


class Chance:
    """Random numbers that no later numpy will change: a bit generator's raw stream."""

    def __init__(self, *key: int) -> None:
        self._bits = np.random.PCG64(np.random.SeedSequence(key))

    def even(self, count: int) -> Floats:
        """Draw ``count`` numbers, evenly spread over -1..1."""
        raw = self._bits.random_raw(count) >> np.uint64(11)
        return raw.astype(np.float64) * 2.0**-52 - 1.0


@dataclass(frozen=True, slots=True)
class Rub:
    """The short noise of something that rubs on windings, loudest at one frequency.

    Rise and fall together last no longer than 2048 frames.
    """

    rise_s: float
    fall_s: float
    centre_hz: float

    @property
    def rise_frames(self) -> int:
        """How many frames the noise swells before its loudest moment."""
        return round(self.rise_s * SAMPLE_RATE_HZ)

    def burst(self, chance: Chance, peak_v: float) -> Floats:
        """Draw the noise once, about ``peak_v`` high, in volts."""
        rise, fall = self.rise_frames, round(self.fall_s * SAMPLE_RATE_HZ)
        x = np.arange(-rise, fall)
        dying = np.exp(-5.0 * x / fall) * (1.0 - x / fall)
        swell = np.where(x < 0, 1.0 + x / rise, dying)
        noise = _noise(chance, RUB_BLOCK, self._colour)
        return np.asarray(0.4 * peak_v * swell**2 * noise[: len(x)])

    def _colour(self, frequency_hz: Floats) -> Floats:
        """Band-pass around the centre, falling faster from 6 kHz on."""
        low = frequency_hz / self.centre_hz
        return np.asarray(low / (1.0 + low**2) / np.hypot(1.0, frequency_hz / 6000.0))


def noise_floor(seed: int, frames: int, channels: int) -> Floats:
    """Quiet pink noise in overlapped blocks, so that any beginning stays the same."""
    half = FLOOR_BLOCK // 2
    window = np.sin(np.pi * (np.arange(FLOOR_BLOCK) + 0.5) / FLOOR_BLOCK)
    blocks = frames // half + 2
    out = np.zeros(((blocks + 1) * half, channels))
    for block in range(blocks):
        for channel in range(channels):
            chance = Chance(seed, block, channel, 1)
            noise = FLOOR_V * _noise(chance, FLOOR_BLOCK, _pink)
            out[block * half :, channel][:FLOOR_BLOCK] += window * noise
    return out[half : half + frames]


def _pink(frequency_hz: Floats) -> Floats:
    """3 dB less each octave above 30 Hz, nothing at DC."""
    return (frequency_hz > 0.0) / np.sqrt(np.maximum(frequency_hz, 30.0))


def _noise(chance: Chance, frames: int, colour: Callable[[Floats], Floats]) -> Floats:
    """Noise of unit RMS whose spectrum follows ``colour``."""
    spectrum = np.fft.rfft(chance.even(frames))
    spectrum *= colour(np.fft.rfftfreq(frames, 1.0 / SAMPLE_RATE_HZ).astype(np.float64))
    noise = np.fft.irfft(spectrum, frames)
    return np.asarray(noise / np.sqrt(np.mean(noise**2)))
