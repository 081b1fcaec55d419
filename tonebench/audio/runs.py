# SPDX-License-Identifier: GPL-3.0-or-later
"""Runs of equal samples in one channel: flat tops of clipping, and gaps in the sound.

A run at the highest value is clipping if the wave would have gone on above it: by the
slopes at its ends. A crest that rounding has made flat is none. Knows nothing of files.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]

#: Fewer equal samples are no clipping (common practice, no source).
_LEAST_CLIPPED = 3
#: What counts as the highest value: the converter's, and a little below.
_NEAR = 0.999
#: By how much a wave must have wanted to go on, and how steep both ends must be
#: together: rounding to 16 bits makes low crests flat over many samples, with steps of
#: one at the ends; over few samples the steps may be three, but come to little.
_LEAST_EXCESS, _LEAST_STEPS = 8 * 2.0**-15, 4 * 2.0**-15
#: Fewer equal samples are no gap; and how far the sound must jump at its end.
_LEAST_GAP, _LEAST_JUMP = 16, 0.02
_MOST_GAPS = 10_000


@dataclass(frozen=True, slots=True)
class Runs:
    """How many runs there are, the longest in frames, and where the first begins."""

    count: int = 0
    longest: int = 0
    first_frame: int = 0

    def __or__(self, other: "Runs") -> "Runs":
        """Return the runs of both."""
        if not (self.count and other.count):
            return self if self.count else other
        return Runs(
            self.count + other.count,
            max(self.longest, other.longest),
            min(self.first_frame, other.first_frame),
        )


class _FlatTops:
    """Flat tops at the highest value so far, on one side of zero."""

    def __init__(self) -> None:
        self.peak, self._level, self._found = 0.0, 0.0, Runs()

    def add(self, level: float, length: int, frame: int) -> None:
        if level < _NEAR * self._level:
            return
        if self._level < _NEAR * level:  # those before were no tops
            self._found = Runs()
        self._level = max(self._level, level)
        self._found |= Runs(1, length, frame)

    @property
    def found(self) -> Runs:
        return self._found if self._level >= _NEAR * self.peak else Runs()


class RunFinder:
    """Looks for clipping and gaps in a channel; the same whatever the blocks."""

    def __init__(self) -> None:
        self._tops = {1: _FlatTops(), -1: _FlatTops()}
        self._gaps: list[tuple[int, int, float]] = []
        self._value, self._length, self._start = np.nan, 0, 0
        self._before, self._last, self._frames = np.nan, np.nan, 0

    def feed(self, samples: Real) -> None:
        """Take samples of shape (frames,) in."""
        if not len(samples):
            return
        self._tops[1].peak = max(self._tops[1].peak, float(samples.max()))
        self._tops[-1].peak = max(self._tops[-1].peak, float(-samples.min()))
        starts = np.flatnonzero(samples[1:] != samples[:-1]) + 1
        starts = np.concatenate([[0], starts])
        ends = np.append(starts[1:], len(samples))
        values, lengths = samples[starts], ends - starts
        before = np.concatenate([[self._last], samples[starts[1:] - 1]])
        frames = starts + self._frames
        if samples[0] == self._value:  # the run that was going on goes on
            lengths[0] += self._length
            frames[0], before[0] = self._start, self._before
        elif self._length:
            row = (self._start, self._length, self._value, self._before, samples[0])
            self._take(*(np.array([value]) for value in row))
        self._take(
            frames[:-1], lengths[:-1], values[:-1], before[:-1], samples[starts[1:]]
        )
        self._start, self._length = int(frames[-1]), int(lengths[-1])
        self._value, self._before = float(values[-1]), float(before[-1])
        self._last = float(samples[-1])
        self._frames += len(samples)

    def _take(
        self,
        frames: NDArray[Any],
        lengths: NDArray[Any],
        values: Real,
        before: Real,
        after: Real,
    ) -> None:
        """Take note of runs that ended: where, how long, and what is beside them."""
        long = lengths >= _LEAST_CLIPPED
        frames, lengths, values = frames[long], lengths[long], values[long]
        before, after = before[long], after[long]
        steps_in, steps_out = np.abs(values - before), np.abs(values - after)
        size, sides = np.abs(values), np.sign(values)
        excess = (steps_in + steps_out) * lengths / 8  # NaN at the start: no
        is_top = (before * sides < size) & (after * sides < size)
        is_top &= steps_in + steps_out >= _LEAST_STEPS
        for k in np.flatnonzero(is_top & (excess > _LEAST_EXCESS)).tolist():
            tops = self._tops[1 if values[k] > 0 else -1]
            if size[k] >= _NEAR * tops.peak:
                tops.add(float(size[k]), int(lengths[k]), int(frames[k]))
        # zeros after a jump; a value that is held jumps when it ends
        jumps = np.where(values == 0, steps_in, steps_out)
        least = _LEAST_JUMP * self._peak
        is_gap = (lengths >= _LEAST_GAP) & ~np.isnan(before) & (jumps > least)
        is_gap &= (values == 0) | (size < self._peak / 2)
        for k in np.flatnonzero(is_gap).tolist():
            if len(self._gaps) < _MOST_GAPS:
                self._gaps.append((int(frames[k]), int(lengths[k]), float(jumps[k])))

    @property
    def _peak(self) -> float:
        return max(tops.peak for tops in self._tops.values())

    @property
    def clipped(self) -> Runs:
        """Flat tops at the highest value of either side."""
        return self._tops[1].found | self._tops[-1].found

    @property
    def gaps(self) -> Runs:
        """Places where the sound breaks off into zeros, or a value is held."""
        found = Runs()
        for frame, length, jump in self._gaps:
            if jump >= _LEAST_JUMP * self._peak:
                found |= Runs(1, length, frame)
        return found
