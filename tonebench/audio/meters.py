# SPDX-License-Identifier: GPL-3.0-or-later
"""All meters of one stream, fed together: each sample is looked at once.

The same path for a file and for what comes from a sound card. Knows nothing of files;
levels, loudness and bands are defined by the meters themselves.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.bands import BandMeter
from tonebench.audio.levels import LevelMeter
from tonebench.audio.loudness import LoudnessMeter, k_weighting_sos
from tonebench.audio.tally import tally
from tonebench.units import to_db


@dataclass(frozen=True, slots=True)
class Reading:
    """What the meters read; −inf for silence, and for what is too short to be read.

    Attributes
    ----------
    peak_dbfs, true_peak_dbtp : float
        The highest sample, and the highest value on or between samples.
    rms_dbfs : float
        Root of the mean square over everything; a full-scale sine has −3.01.
    loudness_lufs : float
        Gated loudness of the whole.
    momentary_max_lufs, short_term_max_lufs : float
        The loudest 400 ms and the loudest 3 s.
    range_lu : float
        The loudness range; NaN where there is none.
    octaves_dbfs : tuple of float or None
        RMS in each octave by `OCTAVE_NAMES`; empty if bands weren't measured.
    """

    peak_dbfs: float
    true_peak_dbtp: float
    rms_dbfs: float
    loudness_lufs: float
    momentary_max_lufs: float
    short_term_max_lufs: float
    range_lu: float
    octaves_dbfs: tuple[float | None, ...] = ()

    @property
    def crest_db(self) -> float:
        """The highest sample over the RMS in dB, a sine having 3.01; NaN for silence.

        The sample peak, not the true peak; both over the whole stream.
        """
        return self.peak_dbfs - self.rms_dbfs  # −inf − −inf is NaN


class Meters:
    """Level, loudness and true peak of a stream, the same whatever its blocks.

    Parameters
    ----------
    sample_rate_hz : int
        The sample rate, above 3364 Hz.
    channels : int
        How many channels the stream has.
    bands : BandMeter, optional
        What measures octaves beside; nothing does if left out.

    Attributes
    ----------
    level : LevelMeter
        Peak and RMS; read it, and feed the whole set.
    loudness : LoudnessMeter
        Loudness in LUFS; read it, and feed the whole set.
    bands : BandMeter or None
        Octaves; read it, and feed the whole set.
    """

    def __init__(
        self, sample_rate_hz: int, channels: int, bands: BandMeter | None = None
    ) -> None:
        self._tally = tally(
            "meter",
            channels,
            sample_rate_hz=sample_rate_hz,
            weighting=k_weighting_sos(sample_rate_hz),
            with_true_peak=True,
        )
        self.level = LevelMeter(channels, self._tally)
        self.loudness = LoudnessMeter(sample_rate_hz, channels, self._tally)
        self.bands = bands
        self._frames = 0

    def feed(self, block: NDArray[np.floating]) -> None:
        """Take a block of shape (frames, channels) in; AudioError if not finite."""
        ended = self._tally.feed(block, self._frames)
        self._frames += len(block)
        self.level.count(len(block))
        self.loudness.count(ended)
        if self.bands is not None:
            self.bands.feed(block)

    @property
    def true_peak(self) -> float:
        """The largest absolute value on or between the samples, full scale is 1."""
        return self._tally.true_peak

    @property
    def true_peak_dbtp(self) -> float:
        """The true peak in dB re full scale; −inf for silence."""
        return to_db(self.true_peak)

    def reading(self, gain_db: float = 0.0) -> Reading:
        """Return all that the meters read, as if the stream were turned by a gain."""
        octaves: tuple[float | None, ...] = ()
        if self.bands is not None:
            octaves = tuple(
                None if level is None else level + gain_db
                for level in self.bands.bands_db()
            )
        loudness = self.loudness
        return Reading(
            peak_dbfs=self.level.peak_dbfs + gain_db,
            true_peak_dbtp=self.true_peak_dbtp + gain_db,
            rms_dbfs=self.level.rms_dbfs + gain_db,
            loudness_lufs=loudness.integrated_lufs(gain_db),
            momentary_max_lufs=loudness.momentary_max_lufs + gain_db,
            short_term_max_lufs=loudness.short_term_max_lufs + gain_db,
            range_lu=loudness.range_lu(gain_db),
            octaves_dbfs=octaves,
        )
