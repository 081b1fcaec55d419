# SPDX-License-Identifier: GPL-3.0-or-later
"""Everything that can be measured of a recording in one pass, in little memory.

Levels and loudness, the noise where it rests, DC, clipping, gaps, hum, silence, and how
its channels are alike. Knows numbers only, not what they mean for a take.
"""

from array import array
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.bands import centres_hz, in_bands
from tonebench.audio.blocks import regrouped
from tonebench.audio.hum import Hum, HumFinder
from tonebench.audio.meters import Meters, Reading
from tonebench.audio.runs import RunFinder, Runs
from tonebench.units import to_db

Real = NDArray[np.float64]

#: Levels are looked at in windows of 50 ms, four of which make one for noise.
_WINDOWS_A_SECOND, _WINDOWS_OF_NOISE = 20, 4
#: The noise floor is what the quietest twentieth stays under, the level of the playing
#: what the loudest twentieth stays above.
_QUIET_SHARE, _LOUD_SHARE = 0.05, 0.95
#: A sound begins and ends where it is this far below the highest sample.
_SOUND = 0.01
#: What is left of a power by rounding.
_ROUNDING = 1e-13
#: A third of an octave counts for "how low it goes" down to so far below the highest.
_LOWEST_DB = -20.0


@dataclass(frozen=True, slots=True)
class Channel:
    """What one channel is.

    Attributes
    ----------
    peak_dbfs, rms_dbfs : float
        The highest sample, and the RMS, with DC.
    dc : float
        The mean sample, full scale is 1.
    clipped, gaps : Runs
        Flat tops, and places where the sound breaks off.
    unlike_first_db, mirrored_first_db : float
        How loud its difference from the first channel is, and its sum with it, relative
        to the first, all without DC; −inf where there is none, NaN if the first is
        silent.
    """

    peak_dbfs: float
    rms_dbfs: float
    dc: float
    clipped: Runs
    gaps: Runs
    unlike_first_db: float
    mirrored_first_db: float


@dataclass(frozen=True, slots=True)
class TakeReading:
    """A recording, measured.

    Attributes
    ----------
    levels : Reading
        All channels together.
    channels : tuple of Channel
        Each of them.
    floor_dbfs, playing_dbfs : float
        RMS without DC of the quietest and the loudest of its windows of 200 ms (5 % of
        them lie below, and above), in the channel where it is highest; digital silence
        is left out. NaN if it is shorter.
    hum : Hum or None
        None if it is too short to say.
    leads_s, trails_s : float
        How long it is before and after the sound, 40 dB below the highest sample.
    silent_s : float
        How long all samples stay at one value, in windows of 50 ms.
    lowest_hz : float
        The centre of the lowest third of an octave within 20 dB of the strongest; NaN
        if it is too short to say.
    """

    levels: Reading
    channels: tuple[Channel, ...]
    floor_dbfs: float
    playing_dbfs: float
    hum: Hum | None
    leads_s: float
    trails_s: float
    silent_s: float
    lowest_hz: float


def measure_take(
    blocks: Iterable[NDArray[np.float64]], sample_rate_hz: int, channels: int
) -> TakeReading:
    """Measure a recording that comes block by block; the same whatever the blocks.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (frames, channels)
        The whole of it, full scale is ±1.
    sample_rate_hz, channels : int
        The sample rate, and how many channels there are.

    Raises
    ------
    AudioError
        If a sample isn't finite.
    """
    meter = _TakeMeter(sample_rate_hz, channels)
    for piece in regrouped(blocks, _WINDOWS_A_SECOND * meter.window):
        meter.feed(piece)
    return meter.reading()


class _TakeMeter:
    def __init__(self, sample_rate_hz: int, channels: int) -> None:
        self._rate, self._channels = sample_rate_hz, channels
        self.window = max(1, round(sample_rate_hz / _WINDOWS_A_SECOND))
        self._meters = Meters(sample_rate_hz, channels)
        self._hum = HumFinder(sample_rate_hz, channels)
        self._runs = [RunFinder() for _ in range(channels)]
        self._sums, self._squares = np.zeros(channels), np.zeros(channels)
        self._unlike, self._mirrored = np.zeros(channels), np.zeros(channels)
        self._peaks = np.zeros(channels)
        # by window: sums and sums of squares by channel, peak of all, whether it moves
        self._window_sums, self._window_squares = array("d"), array("d")
        self._window_peaks = array("d")
        self._still = array("b")
        self._frames = 0

    def feed(self, piece: Real) -> None:
        """Take a piece in: whole windows, but for the last piece."""
        self._meters.feed(piece)
        self._hum.feed(piece)
        for finder, column in zip(self._runs, piece.T, strict=True):
            finder.feed(np.ascontiguousarray(column))
        first = piece[:, :1]
        self._sums += piece.sum(axis=0)
        self._squares += np.square(piece).sum(axis=0)
        self._unlike += np.square(piece - first).sum(axis=0)
        self._mirrored += np.square(piece + first).sum(axis=0)
        self._peaks = np.maximum(self._peaks, np.abs(piece).max(axis=0))
        self._frames += len(piece)
        whole = len(piece) // self.window * self.window
        windows = piece[:whole].reshape(-1, self.window, self._channels)
        self._window_sums.frombytes(windows.sum(axis=1).tobytes())
        self._window_squares.frombytes(np.square(windows).sum(axis=1).tobytes())
        self._still.frombytes(np.all(windows == windows[:, :1], axis=(1, 2)).tobytes())
        self._window_peaks.frombytes(np.abs(windows).max(axis=(1, 2)).tobytes())
        if whole < len(piece):
            self._window_peaks.append(float(np.abs(piece[whole:]).max()))

    def reading(self) -> TakeReading:
        floor, playing = self._floor_and_playing()
        leads, trails = self._around()
        return TakeReading(
            levels=self._meters.reading(),
            channels=tuple(self._channel(k) for k in range(self._channels)),
            floor_dbfs=floor,
            playing_dbfs=playing,
            hum=self._hum.found(),
            leads_s=leads,
            trails_s=trails,
            silent_s=sum(self._still) * self.window / self._rate,
            lowest_hz=self._lowest_hz(),
        )

    def _channel(self, k: int) -> Channel:
        frames = max(1, self._frames)
        mean = self._sums / frames
        first = self._squares[0] / frames - mean[0] ** 2

        def against(squares: float, dc: float) -> float:
            power = max(0.0, squares / frames - dc**2)
            if power < _ROUNDING * self._squares[0] / frames:
                power = 0.0
            return to_db(float(np.sqrt(power / first))) if first > 0 else np.nan

        return Channel(
            peak_dbfs=to_db(float(self._peaks[k])),
            rms_dbfs=to_db(float(np.sqrt(self._squares[k] / frames))),
            dc=float(mean[k]),
            clipped=self._runs[k].clipped,
            gaps=self._runs[k].gaps,
            unlike_first_db=against(self._unlike[k], mean[k] - mean[0]),
            mirrored_first_db=against(self._mirrored[k], mean[k] + mean[0]),
        )

    def _floor_and_playing(self) -> tuple[float, float]:
        count = len(self._still) // _WINDOWS_OF_NOISE * _WINDOWS_OF_NOISE
        shape = (-1, _WINDOWS_OF_NOISE, self._channels)

        def grouped(values: "array[float]") -> Real:
            found = np.array(values)[: count * self._channels].reshape(shape)
            return np.asarray(found.sum(axis=1))

        still = np.array(self._still)[:count].reshape(-1, _WINDOWS_OF_NOISE)
        frames = _WINDOWS_OF_NOISE * self.window
        mean = grouped(self._window_sums) / frames
        power = grouped(self._window_squares) / frames - mean**2
        power = np.sort(power[~still.any(axis=1)], axis=0)
        if not len(power):
            return np.nan, np.nan
        quiet, loud = (
            float(np.maximum(power[int(share * (len(power) - 1))], 0).max())
            for share in (_QUIET_SHARE, _LOUD_SHARE)
        )
        return to_db(quiet**0.5), to_db(loud**0.5)

    def _around(self) -> tuple[float, float]:
        """Return the seconds before and after the sound."""
        peaks = np.array(self._window_peaks)
        sounding = np.flatnonzero(peaks > _SOUND * peaks.max(initial=0.0))
        if not len(sounding):
            return self._frames / self._rate, 0.0
        window_s = self.window / self._rate
        end_s = (int(sounding[-1]) + 1) * window_s
        trails_s = max(0.0, self._frames / self._rate - end_s)
        return int(sounding[0]) * window_s, trails_s

    def _lowest_hz(self) -> float:
        power = self._hum.power.copy()
        power[:2] = 0  # DC
        bands = in_bands(power, self._hum.width_hz)
        if not bands.any():
            return np.nan
        heard = np.flatnonzero(bands >= bands.max() * 10 ** (_LOWEST_DB / 10))
        return float(centres_hz()[heard[0]])
