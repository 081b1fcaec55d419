# SPDX-License-Identifier: GPL-3.0-or-later
"""Samples turned into the numbers that a clip stores: rounded, dithered, or as float.

Keeps account of what doesn't fit and where, and leaves it to others to refuse it.
Knows nothing of files, of seconds, or of how the numbers are packed into bytes.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.formats import SAMPLE_BYTES, Subtype
from tonebench.errors import AudioError

#: The seed of the 16-bit dither, the same for every clip, so that A − A stays silent.
DITHER_SEED = 1616

_FLOAT_MAX = float(np.finfo(np.float32).max)


class Quantiser:
    """A stream of samples on its way into a clip; the same whatever its blocks.

    Integers are rounded half to even, in steps of 2^−23 or 2^−15; 16-bit ones carry
    triangular dither of ±1 step, seeded, in frame order. A sample is over full scale
    when it rounds, without dither, to an integer that the subtype doesn't have.

    Parameters
    ----------
    subtype : str
        ``"float"`` (32 bits), ``"pcm24"`` or ``"pcm16"``.
    name : str
        What an error calls the stream, usually its file.
    dither_seed : int
        The seed of the 16-bit dither.

    Attributes
    ----------
    frames : int
        How many frames were taken in so far.
    peak : float
        The largest absolute sample so far, full scale is 1.
    worst : float
        The largest absolute sample that is over full scale; 0 as long as all fit.
    worst_frame : int
        The number of its frame, counted from 0; the first of several as large.
    """

    def __init__(
        self, subtype: Subtype, name: str, dither_seed: int = DITHER_SEED
    ) -> None:
        self._subtype, self._name = subtype, name
        self._scale = 2.0 ** (8 * SAMPLE_BYTES[subtype] - 1)
        self._dither = np.random.Generator(np.random.PCG64(dither_seed))
        self._scratch = np.empty(0)
        self.frames = 0
        self.peak = 0.0
        self.worst, self.worst_frame = 0.0, 0

    def process(self, samples: NDArray[np.float64]) -> NDArray[Any]:
        """Return the numbers to store, in the shape of `samples`.

        Parameters
        ----------
        samples : ndarray, shape (frames, channels)
            Finite samples, full scale is ±1.

        Returns
        -------
        ndarray of float32, int32 (pcm24) or int16 (pcm16)
            What is over full scale stands at the end of the integers' range, and is
            told by `worst`.

        Raises
        ------
        AudioError
            If a sample doesn't fit into a 32-bit float.
        """
        highest = float(samples.max(initial=0.0))
        lowest = float(samples.min(initial=0.0))
        self.peak = max(self.peak, highest, -lowest)
        if self._subtype == "float":
            values = self._narrowed(samples)
        else:
            values = self._rounded(samples, highest, lowest)
        self.frames += len(samples)
        return values

    def _narrowed(self, samples: NDArray[np.float64]) -> NDArray[np.float32]:
        if self.peak > _FLOAT_MAX:
            raise AudioError(
                f"{self._name}: every sample must fit into 32-bit float, "
                f"got {self.peak:g}"
            )
        return samples.astype(np.float32)

    def _rounded(
        self, samples: NDArray[np.float64], highest: float, lowest: float
    ) -> NDArray[Any]:
        steps = self._room(samples.shape)  # in place: fresh pages cost more than sums
        np.multiply(samples, self._scale, out=steps)  # exact: a power of two
        bottom, top = -self._scale, self._scale - 1
        if round(highest * self._scale) > top or round(lowest * self._scale) < bottom:
            rounded = np.rint(steps)
            is_over = (rounded > top) | (rounded < bottom)
            self._note_excess(np.where(is_over, np.abs(samples), 0.0).max(axis=1))
        if self._subtype == "pcm16":
            drawn = self._dither.random((*samples.shape, 2))
            steps += drawn[..., 0] - drawn[..., 1]
        np.rint(steps, out=steps)
        np.clip(steps, bottom, top, out=steps)
        return steps.astype(np.int16 if self._subtype == "pcm16" else np.int32)

    def _room(self, shape: tuple[int, ...]) -> NDArray[np.float64]:
        """Return an array to compute in, the same memory every time."""
        size = math.prod(shape)
        if size > self._scratch.size:
            self._scratch = np.empty(size)
        return self._scratch[:size].reshape(shape)

    def _note_excess(self, excess: NDArray[np.float64]) -> None:
        """Keep the highest of the frames' excesses, 0 where a frame fits."""
        if excess.max() > self.worst:
            self.worst = float(excess.max())
            self.worst_frame = self.frames + int(excess.argmax())
