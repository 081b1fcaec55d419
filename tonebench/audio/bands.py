# SPDX-License-Identifier: GPL-3.0-or-later
"""What a stream holds in each octave, or third of one: the bands of IEC 61260-1.

The spectrum is a mean over windows of Hann, half of one over the next (P. D. Welch,
IEEE Trans. Audio Electroacoust. 15(2), 1967). Knows nothing of loudness and of files.
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]

#: A window lasts this long at least, in seconds, so that the lowest band has several
#: lines: 0.75 Hz apart for thirds, 3 Hz for octaves.
_WINDOW_S = {1: 0.33, 3: 1.35}
#: Bands by number, f = 1000·10^(3k/10/n): octaves from 31.5 Hz, thirds from 25 Hz, both
#: to 16 kHz by their nominal names.
_NUMBERS = {1: range(-5, 5), 3: range(-16, 13)}
#: Nominal names of the octaves (IEC 61260-1, annex on nominal frequencies).
OCTAVE_NAMES = ("31.5", "63", "125", "250", "500", "1k", "2k", "4k", "8k", "16k")
#: The squares of overlapping windows of Hann add up to this on the mean.
_OVERLAPPED = 0.75
#: What `octave_meter` looks at, at most.
_MOST_WINDOWS = 200


def centres_hz(per_octave: int = 3) -> Real:
    """Return the exact centres of the bands, base ten; `per_octave` is 1 or 3.

    Examples
    --------
    >>> centres_hz()[[0, 16, -1]].round(2).tolist()
    [25.12, 1000.0, 15848.93]
    >>> centres_hz(1)[[0, 5, -1]].round(2).tolist()
    [31.62, 1000.0, 15848.93]
    """
    step = 3 / (10 * per_octave)
    return np.asarray(1000 * 10 ** (step * np.array(_NUMBERS[per_octave])))


def in_bands(power: Real, width_hz: float, per_octave: int = 3) -> Real:
    """Return the power in each band from that of lines `width_hz` apart, from 0 Hz.

    A line counts for a band by the share of it that lies inside.
    """
    edges = (np.arange(len(power) + 1) - 0.5) * width_hz
    below = np.concatenate([[0.0], np.cumsum(power)])
    centre, half = centres_hz(per_octave), 10 ** (3 / (20 * per_octave))
    low, high = (np.interp(centre * f, edges, below) for f in (1 / half, half))
    return np.asarray(high - low)


class Windows:
    """A stream cut into windows that overlap by half, as power spectra.

    The same to the last bit whatever the blocks. Half a window of silence goes in
    front, and what the stream ends with is filled up: so every sample weighs the same.

    Parameters
    ----------
    sample_rate_hz : float
        The sample rate.
    channels : int
        How many channels the stream has.
    window_s : float
        How long a window lasts at least, in seconds.
    every : int
        Look at one window in so many: a long stream is then sampled evenly.
    """

    def __init__(
        self, sample_rate_hz: float, channels: int, window_s: float, every: int = 1
    ) -> None:
        self.length = 1 << int(np.ceil(np.log2(window_s * sample_rate_hz)))
        self.width_hz = sample_rate_hz / self.length
        self._window = np.hanning(self.length + 1)[:-1, None]
        self._held = np.zeros((self.length, channels))
        # windows that are all looked at begin with half a window of silence
        self._filled = self.length // 2 if every == 1 else 0
        self._skipped = 0  # frames to pass over before the next window
        self._every = every

    def feed(self, block: NDArray[np.floating]) -> Iterator[Real]:
        """Take a block of shape (frames, channels) in; yield each full window.

        A window is the power of its lines, shape (lines, channels), scaled so that
        their sum is the mean square of what is under the window.
        """
        at, hop = 0, self.length // 2
        while True:
            passed = min(self._skipped, len(block) - at)
            self._skipped -= passed
            at += passed
            count = min(self.length - self._filled, len(block) - at)
            end = self._filled + count
            self._held[self._filled : end] = block[at : at + count]
            self._filled = end
            at += count
            if end < self.length:
                return
            yield self._power(self._held)
            if self._every == 1:
                self._held[:hop] = self._held[hop:]
                self._filled = hop
            else:
                self._filled = 0
                self._skipped = self._every * hop - self.length

    def rest(self) -> Iterator[Real]:
        """Yield the windows that the stream would end with; it may go on after that.

        None if only one window in so many is looked at.
        """
        starts = range(0, self._filled, self.length // 2) if self._every == 1 else ()
        for start in starts:
            padded = np.zeros_like(self._held)
            padded[: self._filled - start] = self._held[start : self._filled]
            yield self._power(padded)

    def _power(self, samples: Real) -> Real:
        lines = np.fft.rfft(samples * self._window, axis=0)
        power: Real = lines.real**2 + lines.imag**2
        power *= 2 / (self.length**2 * _OVERLAPPED / 2)
        return power


class BandMeter:
    """Mean power of a stream by octaves or thirds, the mean over its channels.

    Parameters
    ----------
    sample_rate_hz : float
        The sample rate.
    channels : int
        How many channels the stream has.
    per_octave : int
        1 for octaves, 3 for thirds.
    every : int
        Look at one window in so many; see `Windows`.
    """

    def __init__(
        self,
        sample_rate_hz: float,
        channels: int,
        per_octave: int = 3,
        every: int = 1,
    ) -> None:
        window_s = _WINDOW_S[per_octave]
        self._windows = Windows(sample_rate_hz, channels, window_s, every)
        self._rate, self._per_octave, self._every = sample_rate_hz, per_octave, every
        self._power = np.zeros(self._windows.length // 2 + 1)
        self._used, self._frames = 0, 0

    def feed(self, block: NDArray[np.floating]) -> None:
        """Take a block of shape (frames, channels) in."""
        self._frames += len(block)
        for power in self._windows.feed(block):
            self._power += power.mean(axis=1)
            self._used += 1

    def bands(self) -> Real:
        """Return the mean power in each band so far, shape (bands,).

        A full-scale sine has 0.5.
        """
        power, used = self._power.copy(), self._used
        for last in self._windows.rest():
            power += last.mean(axis=1)
            used += 1
        hop = self._windows.length // 2
        if self._every == 1:  # every sample is in two windows
            power *= hop / max(self._frames, 1)
        else:
            power /= max(used, 1)
        return in_bands(power, self._windows.width_hz, self._per_octave)

    def bands_db(self) -> tuple[float | None, ...]:
        """Return the level in each band in dB re full scale, a sine having −3.01.

        None where there is nothing, and for a band whose centre is above half the
        sample rate; one that reaches above it is told as far as it goes.
        """
        top_hz = self._rate / 2
        found = zip(self.bands().tolist(), centres_hz(self._per_octave), strict=True)
        return tuple(
            float(10 * np.log10(power)) if power > 1e-20 and hz < top_hz else None
            for power, hz in found
        )


def octave_meter(sample_rate_hz: float, channels: int, frames: int) -> BandMeter:
    """Return a meter of octaves for a stream of known length, at next to no cost.

    Up to half a minute all of it is looked at; a longer stream is sampled evenly, by
    some 200 windows of a third of a second.
    """
    hop = Windows(sample_rate_hz, channels, _WINDOW_S[1]).length // 2
    return BandMeter(sample_rate_hz, channels, 1, 1 + frames // (hop * _MOST_WINDOWS))
