# SPDX-License-Identifier: GPL-3.0-or-later
"""How the channels of a take play together: their cross-spectra, third by third.

Two pickups hear one string at two places, so what several inputs sum to depends on the
playing. Knows sound as spectra only, and circuits not at all.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

_FRAMES = 8192
_HOP = _FRAMES // 2
_HALF_BAND = 2 ** (1 / 6)  # a third of an octave, from its middle to its edge
_LEAST_BINS = 3


class Playing:
    """The averaged cross-spectra of a stream (P. D. Welch, 1967: Hann, half overlap).

    Feed blocks of shape (frames, channels); the result doesn't depend on their sizes.
    """

    def __init__(self, sample_rate_hz: int, channels: int) -> None:
        self._rate = sample_rate_hz
        self._held = np.zeros((0, channels))
        self._window = np.hanning(_FRAMES + 1)[:-1, None]
        bins = _FRAMES // 2 + 1
        self._sums = np.zeros((bins, channels, channels), complex)

    def feed(self, block: Real) -> None:
        """Take a block in."""
        self._held = np.concatenate([self._held, block])
        while len(self._held) >= _FRAMES:
            self._add(self._held[:_FRAMES])
            self._held = self._held[_HOP:]

    def _add(self, piece: Real) -> None:
        spectra = np.fft.rfft(piece * self._window, axis=0)
        self._sums += spectra[:, :, None] * spectra[:, None, :].conj()

    def weights(self, frequency_hz: ArrayLike) -> Complex:
        """Return the cross-spectra around frequencies, shape (F, channels, channels).

        Averaged over a third of an octave; the channels' powers, on the diagonal, add
        to 1. A silent stream, or one shorter than 8192 frames, counts as channels of
        one level that know nothing of each other.
        """
        hz = np.asarray(frequency_hz, dtype=float)
        width = self._rate / _FRAMES
        low = np.floor(hz / _HALF_BAND / width).astype(int)
        high = np.ceil(hz * _HALF_BAND / width).astype(int) + 1
        low = np.clip(low, 0, len(self._sums) - _LEAST_BINS)
        high = np.clip(high, low + _LEAST_BINS, len(self._sums))
        below = np.concatenate([np.zeros_like(self._sums[:1]), self._sums.cumsum(0)])
        sums = below[high] - below[low]
        power = np.trace(sums, axis1=1, axis2=2).real
        channels = sums.shape[1]
        even = np.broadcast_to(np.eye(channels) / channels, sums.shape)
        is_heard = power > 0
        found = np.where(
            is_heard[:, None, None],
            sums / np.where(is_heard, power, 1)[:, None, None],
            even,
        )
        return np.asarray(found, dtype=complex)

    def gain(self, responses: Complex, frequency_hz: ArrayLike) -> Real:
        """Return what comes out per what the channels hold, as a magnitude, shape (F,).

        Parameters
        ----------
        responses : ndarray of complex, shape (channels, F)
            From each channel to the sum.
        frequency_hz : array-like, shape (F,)
            Where.
        """
        weights = self.weights(frequency_hz)
        power = np.einsum("if,fij,jf->f", responses, weights, responses.conj())
        gain: Real = np.sqrt(np.maximum(power.real, 0))
        return gain
