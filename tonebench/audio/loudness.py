# SPDX-License-Identifier: GPL-3.0-or-later
"""Gated loudness after Recommendation ITU-R BS.1770-5, for any sample rate.

Filters as the ear hears (K-weighting), keeps one number for every 10 ms, and reads the
integrated, momentary and short-term loudness in LUFS, and the loudness range, from
those. Knows nothing of files, and doesn't measure true peak.
"""

import math
from array import array

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.tally import Tally, segment_starts, tally
from tonebench.errors import AudioError
from tonebench.units import from_db

# BS.1770-5 Annex 1: eq. 2 (offset), eq. 4 to 7 (gates), blocks of 400 ms that overlap
# by 75 %; EBU Tech 3341 section 2.2: momentary 400 ms, short-term 3 s, both ungated.
_OFFSET_DB = -0.691
_ABSOLUTE_GATE_LUFS = -70.0
_RELATIVE_GATE_LU = -10.0
#: In hops of 100 ms; the momentary maximum is sought in steps of 10 ms, as case 13 of
#: Tech 3341 asks for.
_MOMENTARY_HOPS = 4
_SHORT_TERM_HOPS = 30
_SEGMENTS_A_HOP = 10
# EBU Tech 3342 (11/2023), section 3.1: its own relative gate, and two percentiles
_RANGE_GATE_LU = -20.0
_RANGE_LOW, _RANGE_HIGH = 0.10, 0.95

# The analogue shapes behind the tables of BS.1770-5 for 48 kHz (Annex 1, tables 1 and
# 2): a shelf for the head and a high-pass. The bilinear transform of these, prewarped
# at f0, gives the printed coefficients.
_SHELF_HZ = 1681.974450955533
_SHELF_DB = 3.999843853973347
_SHELF_Q = 0.7071752369554196
_SHELF_BAND_EXPONENT = 0.4996667741545416
_HIGH_PASS_HZ = 38.13547087602444
_HIGH_PASS_Q = 0.5003270373238773


def k_weighting_sos(sample_rate_hz: int) -> NDArray[np.float64]:
    """Return the two K-weighting sections for a sample rate.

    Parameters
    ----------
    sample_rate_hz : int
        The sample rate; the shelf must stand below half of it.

    Returns
    -------
    ndarray, shape (2, 6)
        The shelf and the high-pass as rows b0, b1, b2, 1, a1, a2. At 48 kHz these are
        tables 1 and 2 of BS.1770-5 Annex 1. As printed there, the high-pass's b is
        1, −2, 1 at every rate.

    Raises
    ------
    AudioError
        If the sample rate is too low.
    """
    if not sample_rate_hz > 2 * _SHELF_HZ:
        raise AudioError(
            f"loudness needs a sample rate above {2 * _SHELF_HZ:.0f} Hz, "
            f"got {sample_rate_hz} Hz"
        )
    k = math.tan(math.pi * _SHELF_HZ / sample_rate_hz)
    high = 10 ** (_SHELF_DB / 20)
    band = high**_SHELF_BAND_EXPONENT
    a0 = 1 + k / _SHELF_Q + k * k
    shelf = [
        (high + band * k / _SHELF_Q + k * k) / a0,
        2 * (k * k - high) / a0,
        (high - band * k / _SHELF_Q + k * k) / a0,
        1.0,
        2 * (k * k - 1) / a0,
        (1 - k / _SHELF_Q + k * k) / a0,
    ]
    k = math.tan(math.pi * _HIGH_PASS_HZ / sample_rate_hz)
    a0 = 1 + k / _HIGH_PASS_Q + k * k
    high_pass = [
        1.0,
        -2.0,
        1.0,
        1.0,
        2 * (k * k - 1) / a0,
        (1 - k / _HIGH_PASS_Q + k * k) / a0,
    ]
    return np.array([shelf, high_pass])


def channel_weights(channels: int) -> NDArray[np.float64]:
    """Return the weight of each channel's power, from its place (BS.1770-5 table 3).

    Five channels are left, right, centre and two surrounds (1.41), six have the
    low-frequency channel (left out) in fourth place; for any other number every
    channel counts as a front one (1.0).
    """
    match channels:
        case 5:
            return np.array([1.0, 1.0, 1.0, 1.41, 1.41])
        case 6:
            return np.array([1.0, 1.0, 1.0, 0.0, 1.41, 1.41])
        case _:
            return np.ones(channels)


class LoudnessMeter:
    """Loudness of a stream of blocks, the same to the last bit whatever their sizes.

    A mono clip counts as one channel: the same sound on two channels reads 3.01 LU
    more. Memory grows by one number for every 10 ms.

    Parameters
    ----------
    sample_rate_hz : int
        The sample rate, above 3364 Hz.
    channels : int
        How many channels the stream has; see `channel_weights` for their order.
    counts : Tally, optional
        What counts, with `k_weighting_sos`; a new tally of its own if left out.
    """

    def __init__(
        self, sample_rate_hz: int, channels: int, counts: Tally | None = None
    ) -> None:
        self._rate = sample_rate_hz
        self._weights = channel_weights(channels)
        self._tally = counts or tally(
            "loudness meter",
            channels,
            sample_rate_hz=sample_rate_hz,
            weighting=k_weighting_sos(sample_rate_hz),
        )
        self._energies = array("d")
        self._frames = 0

    def feed(self, block: NDArray[np.floating]) -> None:
        """Take a block of shape (frames, channels) in; AudioError if not finite."""
        ended = self._tally.feed(block, self._frames)
        self._frames += len(block)
        self.count(ended)

    def count(self, ended: NDArray[np.float64]) -> None:
        """Take note of segments that ended: sums of squares, shape (n, channels)."""
        self._energies.frombytes((self._weights * ended).sum(axis=1).tobytes())

    def integrated_lufs(self, gain_db: float = 0.0) -> float:
        """Return the gated loudness of all that was fed, in LUFS, turned by a gain.

        −inf when it is shorter than 400 ms or never rises above the absolute gate of
        −70 LUFS; an incomplete last block doesn't count (BS.1770-5 Annex 1). That gate
        stands where it is, whatever the gain.
        """
        power = self._mean_powers(_MOMENTARY_HOPS) * from_db(2 * gain_db)
        loudness = _lufs(power)
        above = loudness > _ABSOLUTE_GATE_LUFS
        if not above.any():
            return -math.inf
        relative_gate = float(_lufs(power[above].mean())) + _RELATIVE_GATE_LU
        return float(_lufs(power[above & (loudness > relative_gate)].mean()))

    def momentary_lufs(self) -> NDArray[np.float64]:
        """Return the loudness of each 400 ms, one value per 100 ms; −inf for silence.

        The first value is complete 400 ms after the start.
        """
        return _lufs(self._mean_powers(_MOMENTARY_HOPS))

    @property
    def momentary_max_lufs(self) -> float:
        """The loudest 400 ms, sought in steps of 10 ms; −inf if there are none."""
        width = _MOMENTARY_HOPS * _SEGMENTS_A_HOP
        powers = _means(np.array(self._energies), width, 1, self._rate)
        return float(_lufs(powers).max(initial=-math.inf))

    @property
    def short_term_max_lufs(self) -> float:
        """The loudest 3 s, sought in steps of 100 ms; −inf if there are none."""
        return float(self.short_term_lufs().max(initial=-math.inf))

    def range_lu(self, gain_db: float = 0.0) -> float:
        """Return the loudness range (EBU Tech 3342) of the stream turned by a gain.

        From the 10th to the 95th percentile of the short-term loudness, of what is
        above −70 LUFS and no more than 20 LU below the mean of that; NaN if nothing
        is. A few notes between silences read misleadingly high, as the standard says.
        """
        loudness = self.short_term_lufs() + gain_db
        loudness = loudness[loudness >= _ABSOLUTE_GATE_LUFS]
        if len(loudness) == 0:
            return math.nan
        mean_lufs = 10 * np.log10(np.mean(10 ** (loudness / 10)))
        loudness = np.sort(loudness[loudness >= mean_lufs + _RANGE_GATE_LU])
        low, high = (
            loudness[math.floor((len(loudness) - 1) * share + 0.5)]
            for share in (_RANGE_LOW, _RANGE_HIGH)
        )
        return float(high - low)

    def short_term_lufs(self) -> NDArray[np.float64]:
        """Return the loudness of each 3 s, one value per 100 ms; −inf for silence."""
        return _lufs(self._mean_powers(_SHORT_TERM_HOPS))

    def _mean_powers(self, width: int) -> NDArray[np.float64]:
        """Mean square over every run of `width` hops of 100 ms, channels weighted."""
        hops = len(self._energies) // _SEGMENTS_A_HOP
        energies = np.array(self._energies[: hops * _SEGMENTS_A_HOP])
        energies = energies.reshape(hops, _SEGMENTS_A_HOP).sum(axis=1)
        return _means(energies, width, _SEGMENTS_A_HOP, self._rate)


def _means(
    energies: NDArray[np.float64], width: int, segments: int, sample_rate_hz: int
) -> NDArray[np.float64]:
    """Mean square over every run of `width` energies, each of so many segments."""
    if len(energies) < width:
        return np.empty(0)
    runs = np.lib.stride_tricks.sliding_window_view(energies, width).sum(axis=1)
    count = len(energies) * segments + 1
    starts = segment_starts(0, count, sample_rate_hz)[::segments]
    means: NDArray[np.float64] = runs / (starts[width:] - starts[:-width])
    return means


def _lufs(power: NDArray[np.float64]) -> NDArray[np.float64]:
    with np.errstate(divide="ignore"):
        return _OFFSET_DB + 10 * np.log10(power)


def loudness_lufs(samples: NDArray[np.floating], sample_rate_hz: int) -> float:
    """Return the integrated loudness of `samples` (frames, channels) in LUFS.

    See `LoudnessMeter`; −inf for silence and for less than 400 ms.
    """
    channels = samples.shape[1] if samples.ndim == 2 else 1  # feed says what is wrong
    meter = LoudnessMeter(sample_rate_hz, channels)
    meter.feed(samples)
    return meter.integrated_lufs()
