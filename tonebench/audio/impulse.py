# SPDX-License-Identifier: GPL-3.0-or-later
"""Impulse responses: recordings of one click through a cabinet or a room.

Read level-true: nothing is normalised, trimmed or faded. The only importer of soxr.
Knows nothing of what they are convolved with.
"""

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonebench.audio.files import TakeReader
from tonebench.audio.outputs import sha256_of
from tonebench.errors import AudioError

Real = NDArray[np.float64]

#: A longer one is a recording that was named by mistake.
LONGEST_S = 30.0
#: Quieter than the last bit of 24: nothing was recorded.
_SILENT = 2.0**-24
#: What a resampler's filter may ring before and after, in frames of the lower rate.
_RINGING_FRAMES = 2048
_SHORTEST_SPECTRUM = 65536
_HALF_BAND = 2 ** (1 / 6)  # a third of an octave, from its middle to its edge


@dataclass(frozen=True, slots=True, eq=False)
class Impulse:
    """An impulse response: samples of shape (frames, channels), as the file has them.

    `origin` is the frame that stands for no delay: 0, unless it was resampled.
    """

    name: str
    samples: Real
    sample_rate_hz: int
    sha256: str
    origin: int = 0

    @property
    def duration_s(self) -> float:
        """The length in seconds."""
        return len(self.samples) / self.sample_rate_hz

    def at_rate(self, sample_rate_hz: int) -> "Impulse":
        """Return it at another rate, with the same gain in dB at every frequency.

        A resampler keeps the height of the samples; a response's gain is their sum, so
        they are scaled by the ratio of the rates. The resampler's filter rings ahead of
        a click, so silence is put in front, and `origin` tells how much: what rings
        ahead of the first sample is part of the gain. Above half the lower rate there
        is nothing.
        """
        if sample_rate_hz == self.sample_rate_hz:
            return self
        import soxr

        step = math.gcd(self.sample_rate_hz, sample_rate_hz)
        a, b = self.sample_rate_hz // step, sample_rate_hz // step
        # whole frames at both rates
        turns = math.ceil(_RINGING_FRAMES / min(a, b))
        silence = ((turns * a, turns * a), (0, 0))
        found = soxr.resample(
            np.pad(self.samples, silence), self.sample_rate_hz, sample_rate_hz, "VHQ"
        )
        scaled = np.asarray(found, dtype=np.float64) * (a / b)
        return Impulse(self.name, scaled, sample_rate_hz, self.sha256, turns * b)

    def gain_db(self, frequency_hz: ArrayLike) -> Real:
        """Return the gain in dB averaged over thirds of an octave, shape (F,).

        Of the power of all channels; a single frequency of a room means nothing.
        """
        frames = max(_SHORTEST_SPECTRUM, len(self.samples))
        spectrum = np.fft.rfft(self.samples, frames, axis=0)
        power = np.mean(np.abs(spectrum) ** 2, axis=1)
        total = np.concatenate([[0.0], np.cumsum(power)])
        hz, width = np.asarray(frequency_hz, dtype=float), self.sample_rate_hz / frames
        low = np.clip(np.floor(hz / _HALF_BAND / width), 0, len(power) - 1).astype(int)
        high = np.ceil(hz * _HALF_BAND / width).astype(int) + 1
        high = np.clip(high, low + 1, len(power))
        mean = (total[high] - total[low]) / (high - low)
        found: Real = 10 * np.log10(np.maximum(mean, 1e-30))
        return found


def read_impulse(path: Path) -> Impulse:
    """Read an impulse response from a WAV file, or any recording that can be read.

    Raises
    ------
    AudioError
        If it can't be read, is empty, silent or longer than 30 s, or has a sample that
        isn't finite.
    """
    with TakeReader(path) as reader:
        info = reader.info
        if info.duration_s > LONGEST_S:
            raise AudioError(
                f"{path}: an impulse response lasts at most {LONGEST_S:g} s, but this "
                f"has {info.duration_s:.1f} s; is it a take?"
            )
        samples = np.concatenate(list(reader.blocks()))
    if not np.abs(samples).max() > _SILENT:
        raise AudioError(
            f"{path}: is silent, and as an impulse response would silence all; "
            "export it again"
        )
    return Impulse(path.name, samples, info.sample_rate_hz, sha256_of(path))
