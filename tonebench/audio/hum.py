# SPDX-License-Identifier: GPL-3.0-or-later
"""Hum of the mains: lines at 50 or 60 Hz and their multiples, where a take rests.

Looks at the quietest windows of more than a second, takes the least that any of them
holds at each multiple (a hum is steady, a note decays), and holds it against the noise
beside it. Knows nothing of files.
"""

import heapq
import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.bands import Windows

Real = NDArray[np.float64]

MAINS_HZ = (50, 60)
MULTIPLES = range(1, 7)
#: Lines are 0.75 Hz apart or less: a window lasts this long at least.
WINDOW_S = 1.35
_MOST_WINDOWS = 6
_TOP_HZ = 400.0
#: A line counts if it stands so far above the noise beside it.
_LEAST_ABOVE_DB = 10.0
#: The window's own width in lines, to either side, and where "beside" is.
_OWN, _BESIDE_FROM, _BESIDE_TO = 2, 4, 14
#: A window rests as the quietest does up to so many times its power: 10 dB.
_ALIKE = 10.0
#: Below this it is digital silence, in which there is nothing to see.
_SILENT = 1e-17


@dataclass(frozen=True, slots=True)
class HumLine:
    """A multiple of the mains: its level (RMS), and how far it is above the noise."""

    frequency_hz: int
    level_dbfs: float
    above_noise_db: float

    @property
    def is_there(self) -> bool:
        """Whether it stands out."""
        return self.above_noise_db >= _LEAST_ABOVE_DB


@dataclass(frozen=True, slots=True)
class Hum:
    """The hum of one mains frequency; `quiet_dbfs` is how loud the quietest window is.

    `lines` are all multiples that were looked at.
    """

    mains_hz: int
    lines: tuple[HumLine, ...]
    quiet_dbfs: float

    @property
    def is_there(self) -> bool:
        """Whether the mains frequency itself stands out, or two of its multiples."""
        found = [line.is_there for line in self.lines]
        return found[0] or sum(found) >= 2

    @property
    def level_dbfs(self) -> float:
        """The level of all lines that stand out together; −inf if there is no hum."""
        if not self.is_there:
            return -np.inf
        power = sum(10 ** (x.level_dbfs / 10) for x in self.lines if x.is_there)
        return float(10 * np.log10(power))


class HumFinder:
    """Looks for hum in a stream; holds a few short spectra of it."""

    def __init__(self, sample_rate_hz: float, channels: int) -> None:
        self._windows = Windows(sample_rate_hz, channels, WINDOW_S)
        self._rate = sample_rate_hz
        self._lines = 1 + int(min(_TOP_HZ, sample_rate_hz / 2) / self._windows.width_hz)
        self._quietest: list[tuple[float, int, Real]] = []
        self._number = itertools.count()
        self.power = np.zeros(self._windows.length // 2 + 1)
        self.width_hz = self._windows.width_hz

    def feed(self, block: NDArray[np.floating]) -> None:
        """Take a block of shape (frames, channels) in."""
        for power in self._windows.feed(block):
            mean = power.mean(axis=1)
            self.power += mean
            number = next(self._number)
            total = float(mean[_OWN:].sum())
            if number == 0 or total <= _SILENT:  # the first one is half silence of ours
                continue
            entry = (-total, number, mean[: self._lines].copy())
            if len(self._quietest) < _MOST_WINDOWS:
                heapq.heappush(self._quietest, entry)
            else:
                heapq.heappushpop(self._quietest, entry)

    def found(self) -> Hum | None:
        """Return the stronger of both hums; None if the stream is too short to say."""
        if not self._quietest:
            return None
        quiet = -max(entry[0] for entry in self._quietest)
        # of the others those that rest as well
        spectra = np.array(
            [lines for total, _, lines in self._quietest if -total <= _ALIKE * quiet]
        )
        quiet_dbfs = float(10 * np.log10(quiet))
        hums = [Hum(hz, self._lines_of(hz, spectra), quiet_dbfs) for hz in MAINS_HZ]
        return max(hums, key=lambda hum: hum.level_dbfs)

    def _lines_of(self, mains_hz: int, spectra: Real) -> tuple[HumLine, ...]:
        found = []
        for hz in (mains_hz * k for k in MULTIPLES):
            at = round(hz / self.width_hz)
            if at + _BESIDE_TO >= self._lines:
                break
            own = spectra[:, at - _OWN : at + _OWN + 1].sum(axis=1)
            low = spectra[:, at - _BESIDE_TO : at - _BESIDE_FROM]
            high = spectra[:, at + _BESIDE_FROM + 1 : at + _BESIDE_TO + 1]
            beside = np.median(np.hstack([low, high]), axis=1) * (2 * _OWN + 1)
            # the power of noise in a line has its median at ln 2 of the mean
            level, noise = float(own.min()), float(np.median(beside)) / np.log(2)
            above = 10 * np.log10(max(level, 1e-30) / max(noise, 1e-30))
            level_dbfs = 10 * np.log10(max(level, 1e-30))
            found.append(HumLine(hz, float(level_dbfs), float(above)))
        return tuple(found)
