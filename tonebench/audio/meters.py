# SPDX-License-Identifier: GPL-3.0-or-later
"""All meters of one stream, fed together: each sample is looked at once.

Knows nothing of files; levels and loudness are defined by the meters themselves.
"""

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.levels import LevelMeter
from tonebench.audio.loudness import LoudnessMeter, k_weighting_sos
from tonebench.audio.tally import tally
from tonebench.units import to_db


class Meters:
    """Level, loudness and true peak of a stream, the same whatever its blocks.

    Parameters
    ----------
    sample_rate_hz : int
        The sample rate, above 3364 Hz.
    channels : int
        How many channels the stream has.

    Attributes
    ----------
    level : LevelMeter
        Peak and RMS; read it, and feed the whole set.
    loudness : LoudnessMeter
        Loudness in LUFS; read it, and feed the whole set.
    """

    def __init__(self, sample_rate_hz: int, channels: int) -> None:
        self._tally = tally(
            "meter",
            channels,
            sample_rate_hz=sample_rate_hz,
            weighting=k_weighting_sos(sample_rate_hz),
            with_true_peak=True,
        )
        self.level = LevelMeter(channels, self._tally)
        self.loudness = LoudnessMeter(sample_rate_hz, channels, self._tally)
        self._frames = 0

    def feed(self, block: NDArray[np.floating]) -> None:
        """Take a block of shape (frames, channels) in; AudioError if not finite."""
        ended = self._tally.feed(block, self._frames)
        self._frames += len(block)
        self.level.count(len(block))
        self.loudness.count(ended)

    @property
    def true_peak(self) -> float:
        """The largest absolute value on or between the samples, full scale is 1."""
        return self._tally.true_peak

    @property
    def true_peak_dbtp(self) -> float:
        """The true peak in dB re full scale; −inf for silence."""
        return to_db(self.true_peak)
