# SPDX-License-Identifier: GPL-3.0-or-later
"""What a take holds in each third of an octave over its whole length, through A and B.

The bands are those of IEC 61260-1, base ten. The spectrum is a mean over windows of
more than a second, so that the lowest bands hold several lines. Says nothing in words.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.files import TakeReader
from tonebench.audio.take import Take
from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain
from tonebench.errors import RequestError
from tonebench.render.route import route
from tonebench.render.runner import RouteRunner

Real = NDArray[np.float64]

_BLOCK_FRAMES = 65536
#: A window lasts this long at least, in seconds: lines of 0.75 Hz or less.
_WINDOW_S = 1.35
#: Bands by number: f = 1000·10^(k/10), from 25 Hz to 16 kHz.
_NUMBERS = range(-16, 13)
_HALF = 10 ** (1 / 20)
#: Silence, in dB re full scale.
_FLOOR = 1e-20


@dataclass(frozen=True, slots=True, eq=False)
class BandLevels:
    """A take by thirds of an octave, through A and perhaps through B.

    Attributes
    ----------
    centre_hz : ndarray, shape (N,)
        Exact centres of the bands.
    levels_db : tuple of ndarray, shape (N,)
        By side: power in the band in dB; a sine at digital full scale has −3.01.
    offset_db : float
        B − A of the whole (RMS), 0 with one side.
    """

    centre_hz: Real
    levels_db: tuple[Real, ...]
    offset_db: float

    @property
    def difference_db(self) -> Real:
        """B − A in each band at one level (RMS), shape (N,)."""
        return self.levels_db[1] - self.levels_db[0] - self.offset_db


def centres_hz() -> Real:
    """Return the exact centres of the bands, 25 Hz to 16 kHz by nominal names.

    Examples
    --------
    >>> centres_hz()[[0, 16, -1]].round(2).tolist()
    [25.12, 1000.0, 15848.93]
    """
    return np.asarray(1000 * 10 ** (np.array(_NUMBERS) / 10))


class BandMeter:
    """Mean power of a stream by thirds of an octave, summed over its channels.

    Windows of Hann, half of one over the next (P. D. Welch, IEEE Trans. Audio
    Electroacoust. 15(2), 1967); what a stream ends with is filled up with silence.
    """

    def __init__(self, sample_rate_hz: float, channels: int) -> None:
        self._rate = sample_rate_hz
        self._length = 1 << int(np.ceil(np.log2(_WINDOW_S * sample_rate_hz)))
        self._window = np.hanning(self._length + 1)[:-1]
        # half a window of silence in front: with it every sample weighs the same
        self._held = np.zeros((self._length // 2, channels))
        self._power = np.zeros(self._length // 2 + 1)
        self._frames = 0

    def feed(self, block: Real) -> None:
        """Take a block of shape (frames, channels) in."""
        self._frames += len(block)
        self._held = np.concatenate([self._held, block])
        while len(self._held) >= self._length:
            self._add(self._held[: self._length])
            self._held = self._held[self._length // 2 :]

    def _add(self, samples: Real) -> None:
        lines = np.fft.rfft(samples * self._window[:, None], axis=0)
        self._power += (np.abs(lines) ** 2).sum(axis=1)

    def bands(self) -> Real:
        """Return the mean power in each band so far, shape (bands,).

        A line counts for a band by the share of it that lies inside.
        """
        power = self._power.copy()
        rest = self._held
        while len(rest) > 0:
            padded = np.zeros((self._length, rest.shape[1]))
            padded[: len(rest)] = rest[: self._length]
            lines = np.fft.rfft(padded * self._window[:, None], axis=0)
            power += (np.abs(lines) ** 2).sum(axis=1)
            rest = rest[self._length // 2 :]
        # each sample is in two windows, whose squares add up to 3/4 on the mean
        power *= 2 / (self._length * 0.75 * max(self._frames, 1))
        width = self._rate / self._length
        edges = (np.arange(len(power) + 1) - 0.5) * width
        below = np.concatenate([[0.0], np.cumsum(power)])
        centre = centres_hz()
        low, high = (np.interp(centre * f, edges, below) for f in (1 / _HALF, _HALF))
        return np.asarray(high - low)


def band_levels(take: Take, sides: Sequence[tuple[Chain, Settings]]) -> BandLevels:
    """Return a take by thirds of an octave through one chain, or through A and B.

    Raises
    ------
    RequestError
        If nothing comes out.
    """
    powers = []
    for chain, changes in sides:
        with TakeReader(take.audio) as reader:
            info = reader.info
            plan = route(chain, changes, info.sample_rate_hz, info.channels, take)
            runner = RouteRunner(plan)
            is_heard = False
            meter = BandMeter(info.sample_rate_hz, plan.channels_out)
            for block in reader.blocks(_BLOCK_FRAMES):
                is_heard = is_heard or bool(block.any())
                meter.feed(runner.process(block))
        powers.append(meter.bands())
        if not powers[-1].any():
            if not is_heard:
                raise RequestError(f"{take.name} holds silence: it has no spectrum")
            name = chain.circuit.name
            raise RequestError(f"nothing comes out of {name} here; turn something up")
    totals = [10 * np.log10(power.sum()) for power in powers]
    return BandLevels(
        centre_hz=centres_hz(),
        levels_db=tuple(10 * np.log10(np.maximum(power, _FLOOR)) for power in powers),
        offset_db=float(totals[1] - totals[0]) if len(totals) > 1 else 0.0,
    )
