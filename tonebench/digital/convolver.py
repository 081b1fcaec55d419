# SPDX-License-Identifier: GPL-3.0-or-later
"""Convolution with a long response, block by block, in constant memory.

The stream is cut on a grid counted from its start, never by the blocks that come in,
so that no block size changes a bit. Knows nothing of where a response comes from.
"""

import numpy as np
from numpy.typing import NDArray

from tonebench.errors import RequestError

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

#: Frames that are worked on at once; what comes out is behind by less than that.
HOP_FRAMES = 65536
_SHORTEST_PART, _LONGEST_PART = 1024, 32768


class Convolver:
    """Convolve a stream with a response; what comes out is as long as what goes in.

    Uniformly partitioned overlap-save (T. G. Stockham, "High-speed convolution and
    correlation", 1966): the response is cut into parts of one length P, the stream into
    steps of P, and every step's spectrum of 2P frames is kept for as many steps as the
    response has parts. Costs per frame hardly depend on the response's length.

    Parameters
    ----------
    response : ndarray, shape (taps, 1) or (taps, channels)
        One response for all channels, or one for each.
    channels : int
        How many channels the stream has.
    origin : int
        The frame of the response that stands for no delay; what comes before it
        answers ahead of the sound.

    Raises
    ------
    RequestError
        If the response has no frame, other channels, or its origin lies outside it.
    """

    def __init__(self, response: Real, channels: int, origin: int = 0) -> None:
        taps, own = response.shape
        if not taps or own not in (1, channels) or not 0 <= origin < taps:
            raise RequestError(
                f"a response for {channels} channels must have the shape (frames, 1) "
                f"or (frames, {channels}) and hold its origin, got {response.shape} "
                f"and {origin}"
            )
        part = 1 << max(taps // 4, 1).bit_length()
        part = min(max(part, _SHORTEST_PART), _LONGEST_PART)
        count = -(-taps // part)
        padded = np.zeros((own, count * part))
        padded[:, :taps] = response.T
        parts = padded.reshape(own, count, part)
        spectra: Complex = np.fft.rfft(parts, 2 * part, axis=-1)
        self._lanes = [_Lane(spectra[k % own]) for k in range(channels)]
        self._channels, self._origin = channels, origin
        self.reset()

    def reset(self) -> None:
        """Forget all that was heard."""
        for lane in self._lanes:
            lane.reset()
        self._held = np.zeros((0, self._channels))
        self._frames = self._given = 0
        self._early = self._origin

    def process(self, block: Real) -> Real:
        """Take a block in; return the frames that are settled.

        They come in order, and later than their input by up to `HOP_FRAMES` and the
        origin; `finish` gives the rest.
        """
        self._frames += len(block)
        held = np.concatenate([self._held, block]) if len(self._held) else block
        done = []
        while len(held) >= HOP_FRAMES:
            done.append(self._hop(held[:HOP_FRAMES]))
            held = held[HOP_FRAMES:]
        self._held = held.copy() if held.base is not None else held
        out = np.concatenate(done) if done else np.zeros((0, self._channels))
        cut = min(self._early, len(out))
        self._early -= cut
        self._given += len(out) - cut
        return out[cut:]

    def finish(self) -> Real:
        """Return what is still to come, cut where the stream ended; then start anew."""
        left = self._frames - self._given
        silence = np.zeros((HOP_FRAMES + self._origin, self._channels))
        rest = self.process(silence)[:left]
        self.reset()
        return rest

    def _hop(self, block: Real) -> Real:
        """Convolve one hop of the grid."""
        out = np.empty((HOP_FRAMES, self._channels))
        for column, lane in enumerate(self._lanes):
            out[:, column] = lane.hop(block[:, column])
        return out


class _Lane:
    """One channel, hop by hop; its arrays are made once, since new ones cost more."""

    def __init__(self, spectra: Complex) -> None:
        self._parts = spectra
        self._count, bins = spectra.shape
        self._part = bins - 1
        self._steps = HOP_FRAMES // self._part
        self._heard = np.zeros(self._part + HOP_FRAMES)
        self._spectra = np.zeros((self._count - 1 + self._steps, bins), complex)
        self._total = np.empty((self._steps, bins), complex)
        self._term = np.empty_like(self._total)
        self._out = np.empty((self._steps, 2 * self._part))

    def reset(self) -> None:
        self._heard[:] = 0
        self._spectra[:] = 0

    def hop(self, block: Real) -> Real:
        """Return one hop; its array is overwritten by the next one."""
        part, steps, before = self._part, self._steps, self._count - 1
        heard, spectra, total = self._heard, self._spectra, self._total
        heard[:part], heard[part:] = heard[-part:].copy(), block
        windows = np.lib.stride_tricks.sliding_window_view(heard, 2 * part)[::part]
        for step in range(before):  # one by one: they may overlap
            spectra[step] = spectra[steps + step]
        np.fft.rfft(windows, axis=-1, out=spectra[before:])
        np.multiply(self._parts[0], spectra[before:], out=total)
        for k in range(1, self._count):
            late = spectra[before - k : before - k + steps]
            total += np.multiply(self._parts[k], late, out=self._term)
        np.fft.irfft(total, axis=-1, out=self._out)
        return self._out[:, part:].reshape(-1)
