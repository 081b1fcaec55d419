# SPDX-License-Identifier: GPL-3.0-or-later
"""Peak and RMS of a stream of blocks, and the gains that make clips comparable.

Levels are in dB re full scale (dBFS): a sine that just reaches full scale has its peak
at 0 and its RMS at −3.01, the plain root of the mean square.
Nothing here knows what a file is, or how loud the ear finds a sound.
"""

import math
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.tally import Tally, tally
from tonebench.units import to_db

#: Where a set of clips is kept when it would come near full scale, by its true peak:
#: the most that EBU R 128 permits; it leaves room for what comes after.
DEFAULT_CEILING_DBFS = -1.0
CEILING_WORDS = "−1 dBTP"


class LevelMeter:
    """Peak and RMS of a stream, the same to the last bit whatever the block sizes.

    Parameters
    ----------
    channels : int
        How many channels the stream has. Peak is the highest, RMS the mean square over
        all of them.
    counts : Tally, optional
        What counts; a new tally of its own if left out.
    """

    def __init__(self, channels: int, counts: Tally | None = None) -> None:
        self._channels = channels
        self._frames = 0
        self._tally = counts or tally("level meter", channels)

    def feed(self, block: NDArray[np.floating]) -> None:
        """Take a block of shape (frames, channels) in; AudioError if not finite."""
        self._tally.feed(block, self._frames)
        self.count(len(block))

    def count(self, frames: int) -> None:
        """Take note of frames that the tally took in."""
        self._frames += frames

    @property
    def peak(self) -> float:
        """The largest absolute sample, full scale is 1."""
        return self._tally.peak

    @property
    def peak_dbfs(self) -> float:
        """The peak in dB re full scale; −inf for silence."""
        return to_db(self.peak)

    @property
    def rms(self) -> float:
        """The root of the mean square over all channels, full scale is 1."""
        if not self._frames:
            return 0.0
        return math.sqrt(self._tally.squares / (self._frames * self._channels))

    @property
    def rms_dbfs(self) -> float:
        """The RMS in dB re full scale (full-scale sine: −3.01); −inf for silence."""
        return to_db(self.rms)


def match_gains_db(a_db: float, b_db: float) -> tuple[float, float] | None:
    """Return the gains that bring A and B to one level, by turning the louder down.

    Nothing is ever turned up, so nothing can clip and no limiter is needed.

    Parameters
    ----------
    a_db, b_db : float
        The measured levels in any one unit of dB (LUFS, dBFS, dB at a frequency).

    Returns
    -------
    tuple of float, or None
        The gains of A and B in dB, one of them 0 and the other not above 0; None
        (not matched) if one of the two is silent, so has no finite level.

    Examples
    --------
    >>> match_gains_db(-20.0, -23.5)
    (-3.5, 0.0)
    """
    if not (math.isfinite(a_db) and math.isfinite(b_db)):
        return None
    return min(0.0, b_db - a_db), min(0.0, a_db - b_db)


def common_trim_db(
    peaks_dbfs: Iterable[float], ceiling_dbfs: float = DEFAULT_CEILING_DBFS
) -> float:
    """Return the one gain for all clips of a set that keeps the highest peak in bounds.

    One gain for all, so that the differences between the clips stay as they are. It
    is 0 as long as no clip exceeds the ceiling, and never above 0.

    Parameters
    ----------
    peaks_dbfs : iterable of float
        Each clip's peak in dBFS, after its own gain; −inf for a silent one.
    ceiling_dbfs : float
        Where the highest peak may stand.

    Examples
    --------
    >>> common_trim_db([-7.0, 2.5]), common_trim_db([-7.0, -1.0])
    (-3.5, 0.0)
    """
    return min(0.0, ceiling_dbfs - max(peaks_dbfs, default=-math.inf))
