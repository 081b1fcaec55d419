# SPDX-License-Identifier: GPL-3.0-or-later
"""What meters count in a stream, in one pass: peak, sums of squares, loud segments.

The compiled kernel counts, or numpy and scipy; sums agree within 1e-12 of themselves,
peaks to the last bit. Turning counts into decibels is left to the meters.
"""

from collections.abc import Callable, Iterator
from typing import Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.blocks import checked_block
from tonebench.audio.true_peak import TAPS, Interpolated
from tonebench.digital.kernel.binding import KernelMeter, as_samples
from tonebench.digital.kernel.engine import Engine, chosen

Real = NDArray[np.float64]
Number = TypeVar("Number", int, NDArray[np.int64])

#: How finely loudness is kept: segments of 10 ms.
SEGMENTS_A_SECOND = 100
_LEVEL_SEGMENT_FRAMES = 4096
_CHUNK_FRAMES = 65536


class Tally(Protocol):
    """The counts of a stream, the same to the last bit whatever its blocks."""

    def feed(self, block: NDArray[np.floating], first_frame: int) -> Real:
        """Take a block in; `first_frame` is the number of its first frame, from 0.

        Returns the sums of squares of the weighted 10 ms segments that ended, shape
        (n, channels). AudioError, and nothing is taken in, if the block has another
        shape or a sample isn't finite.
        """

    @property
    def peak(self) -> float:
        """The largest absolute sample."""

    @property
    def true_peak(self) -> float:
        """The largest absolute value on or between the samples."""

    @property
    def squares(self) -> float:
        """The sum of squares over all frames and channels."""


def tally(
    name: str,
    channels: int,
    *,
    sample_rate_hz: int = 0,
    weighting: Real | None = None,
    with_true_peak: bool = False,
) -> Tally:
    """Return a new tally; peak and sum of squares are always counted.

    Parameters
    ----------
    name : str
        What an error calls the meter.
    channels : int
        How many channels the stream has.
    sample_rate_hz : int
        The sample rate, which the segments need.
    weighting : ndarray, shape (2, 6), optional
        The sections that weigh the segments; without them there are no segments.
    with_true_peak : bool
        Whether to look between the samples; if not, `true_peak` is `peak`.
    """
    engine = chosen()
    if engine is Engine.SCIPY:
        segments = None
        if weighting is not None:
            segments = _WeightedSegments(channels, sample_rate_hz, weighting)
        between = Interpolated(channels) if with_true_peak else None
        return _NumpyTally(name, channels, segments, between)
    taps = TAPS if with_true_peak else None
    return _KernelTally(engine, name, channels, sample_rate_hz, weighting, taps)


def segment_starts(first: int, count: int, sample_rate_hz: int) -> NDArray[np.int64]:
    """Return the first frames of `count` segments of 10 ms, halves rounded up.

    Where 10 ms aren't whole frames, segment k starts at the frame nearest to
    k · 10 ms, so that the error never adds up.

    >>> segment_starts(0, 5, 11_025).tolist()
    [0, 110, 221, 331, 441]
    """
    return _start(np.arange(first, first + count, dtype=np.int64), sample_rate_hz)


def _start(segment: Number, sample_rate_hz: int) -> Number:
    return (segment * sample_rate_hz + SEGMENTS_A_SECOND // 2) // SEGMENTS_A_SECOND


class _KernelTally:
    def __init__(
        self,
        engine: Engine,
        name: str,
        channels: int,
        sample_rate_hz: int,
        weighting: Real | None,
        taps: Real | None,
    ) -> None:
        self._name, self._channels = name, channels
        self._meter = KernelMeter(
            engine, channels, sample_rate_hz, SEGMENTS_A_SECOND, weighting, taps
        )

    def feed(self, block: NDArray[np.floating], first_frame: int) -> Real:
        samples = as_samples(block)
        if samples.ndim == 2 and samples.shape[1] == self._channels:
            ended = self._meter.feed(samples)
            if ended is not None:
                return ended
        checked_block(samples, self._channels, self._name, first_frame)  # says why
        raise AssertionError("a block that nothing is wrong with was refused")

    @property
    def peak(self) -> float:
        return self._meter.peak

    @property
    def true_peak(self) -> float:
        return self._meter.true_peak

    @property
    def squares(self) -> float:
        return self._meter.squares


class _NumpyTally:
    def __init__(
        self,
        name: str,
        channels: int,
        segments: "_WeightedSegments | None",
        between: Interpolated | None,
    ) -> None:
        self._name, self._channels = name, channels
        self._segments, self._between = segments, between
        self.peak = 0.0
        self._finished = np.zeros(channels)
        self._level = SegmentSums(channels, lambda _: _LEVEL_SEGMENT_FRAMES)

    def feed(self, block: NDArray[np.floating], first_frame: int) -> Real:
        samples = checked_block(block, self._channels, self._name, first_frame)
        self.peak = max(self.peak, float(np.max(np.abs(samples), initial=0.0)))
        for sums in self._level.feed(samples):
            self._finished += sums
        if self._between:
            self._between.feed(samples)
        ended = self._segments.feed(samples) if self._segments else []
        return np.array(ended).reshape(-1, self._channels)

    @property
    def true_peak(self) -> float:
        return max(self.peak, self._between.peak) if self._between else self.peak

    @property
    def squares(self) -> float:
        return float((self._finished + self._level.unfinished()).sum())


class _WeightedSegments:
    """Filters a stream, and sums up its squares over segments of 10 ms."""

    def __init__(self, channels: int, sample_rate_hz: int, weighting: Real) -> None:
        self._weighting = weighting
        self._state = np.zeros((len(weighting), 2, channels))
        self._sums = SegmentSums(
            channels,
            lambda k: _start(k + 1, sample_rate_hz) - _start(k, sample_rate_hz),
        )

    def feed(self, samples: Real) -> list[Real]:
        """Take samples in; return the sums of every segment that ended."""
        from scipy.signal import sosfilt  # 1 s to import: only what measures pays it

        ended: list[Real] = []
        for start in range(0, len(samples), _CHUNK_FRAMES):  # bounds the copies below
            chunk = samples[start : start + _CHUNK_FRAMES]
            weighted, self._state = sosfilt(
                self._weighting, chunk, axis=0, zi=self._state
            )
            ended += self._sums.feed(weighted)
        return ended


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

    def feed(self, samples: Real) -> Iterator[Real]:
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
                length = self._length_of(self._finished)
                if length != len(self._segment):
                    self._segment = np.empty((length, self._channels))
                yield sums

    def unfinished(self) -> Real:
        """Return the sums, shape (channels,), over the segment that isn't full yet."""
        sums: Real = np.square(self._segment[: self._filled]).sum(axis=0)
        return sums
