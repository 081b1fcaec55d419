# SPDX-License-Identifier: GPL-3.0-or-later
"""Peak and RMS of a stream of blocks, and the gains that make clips comparable.

Levels are in dB re full scale (dBFS): a sine that just reaches full scale has its peak
at 0 and its RMS at −3.01, the plain root of the mean square.
Nothing here knows what a file is, or how loud the ear finds a sound.
"""

import math
from collections.abc import Callable, Iterable, Iterator

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.blocks import checked_block
from tonebench.units import to_db

_LEVEL_SEGMENT_FRAMES = 4096

#: Where a set of clips is kept when it would come near full scale; common practice,
#: leaves room for what a converter adds between two samples.
DEFAULT_CEILING_DBFS = -1.0


class SegmentSums:
    """Sums of squares over segments that are counted from the start of a stream.

    A segment's samples are collected and summed at once, so that the result is the
    same to the last bit whatever the size of the blocks in which they arrive.

    Parameters
    ----------
    channels : int
        How many channels the stream has.
    length_of : callable
        The length in frames of segment 0, 1, 2, …
    """

    def __init__(self, channels: int, length_of: Callable[[int], int]) -> None:
        self._channels = channels
        self._length_of = length_of
        self._finished = 0
        self._filled = 0
        self._segment = np.empty((length_of(0), channels))

    def feed(self, samples: NDArray[np.float64]) -> Iterator[NDArray[np.float64]]:
        """Take samples (frames, channels) in; yield the sums of each full segment."""
        taken = 0
        while taken < len(samples):
            count = min(len(self._segment) - self._filled, len(samples) - taken)
            end = self._filled + count
            self._segment[self._filled : end] = samples[taken : taken + count]
            self._filled = end
            taken += count
            if self._filled == len(self._segment):
                sums = self.unfinished()
                self._finished += 1
                self._filled = 0
                self._segment = np.empty(
                    (self._length_of(self._finished), self._channels)
                )
                yield sums

    def unfinished(self) -> NDArray[np.float64]:
        """Return the sums, shape (channels,), over the segment that isn't full yet."""
        sums: NDArray[np.float64] = np.square(self._segment[: self._filled]).sum(axis=0)
        return sums


class LevelMeter:
    """Peak and RMS of a stream, the same to the last bit whatever the block sizes.

    Parameters
    ----------
    channels : int
        How many channels the stream has. Peak is the highest, RMS the mean square over
        all of them.
    """

    def __init__(self, channels: int) -> None:
        self._channels = channels
        self._frames = 0
        self._peak = 0.0
        self._squares = np.zeros(channels)
        self._segments = SegmentSums(channels, lambda _: _LEVEL_SEGMENT_FRAMES)

    def feed(self, block: NDArray[np.floating]) -> None:
        """Take a block of shape (frames, channels) in; AudioError if not finite."""
        samples = checked_block(block, self._channels, "level meter", self._frames)
        self._frames += len(samples)
        self._peak = max(self._peak, float(np.max(np.abs(samples), initial=0.0)))
        for sums in self._segments.feed(samples):
            self._squares += sums

    @property
    def peak(self) -> float:
        """The largest absolute sample, full scale is 1."""
        return self._peak

    @property
    def peak_dbfs(self) -> float:
        """The peak in dB re full scale; −inf for silence."""
        return to_db(self._peak)

    @property
    def rms(self) -> float:
        """The root of the mean square over all channels, full scale is 1."""
        if not self._frames:
            return 0.0
        squares = float((self._squares + self._segments.unfinished()).sum())
        return math.sqrt(squares / (self._frames * self._channels))

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
