# SPDX-License-Identifier: GPL-3.0-or-later
"""How high a stream rises between its samples: true peak after ITU-R BS.1770-5.

Knows the standard's interpolation, and nothing of levels in dB.
"""

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]

# ITU-R BS.1770-5 (11/2023), Annex 2: 48 taps in 4 phases; the other two phases are
# these two, turned round.
_FIRST = (
    0.001708984375, 0.010986328125, -0.0196533203125, 0.033203125, -0.0594482421875,
    0.1373291015625, 0.97216796875, -0.102294921875, 0.047607421875, -0.026611328125,
    0.014892578125, -0.00830078125,
)  # fmt: skip
_SECOND = (
    -0.0291748046875, 0.029296875, -0.0517578125, 0.089111328125, -0.16650390625,
    0.465087890625, 0.77978515625, -0.2003173828125, 0.1015625, -0.0582275390625,
    0.0330810546875, -0.0189208984375,
)  # fmt: skip

#: Weights of a sample and the 11 before it, shape (12, 4): one column for each phase.
TAPS: Real = np.column_stack([_FIRST, _SECOND, _SECOND[::-1], _FIRST[::-1]])
TAPS.setflags(write=False)
_BEFORE = len(TAPS) - 1
_MOST_GAIN = float(np.abs(TAPS).sum(axis=0).max()) + 1e-12
_PIECE_FRAMES = 1024


class Interpolated:
    """The largest value between the samples of a stream, whatever its blocks.

    The standard's filter makes four values of each sample: at least 192 kHz from 48 kHz
    up, as Annex 2 asks. It is the same at other rates, since it is drawn relative to
    them.
    """

    def __init__(self, channels: int) -> None:
        self._before = np.zeros((_BEFORE, channels))
        self._peak = 0.0

    def feed(self, samples: Real) -> None:
        """Take samples of shape (frames, channels) in."""
        sound = np.concatenate([self._before, samples])
        for start in range(0, len(samples), _PIECE_FRAMES):
            piece = sound[start : start + _PIECE_FRAMES + _BEFORE]
            # what is too quiet to hold a new peak is passed over
            if np.abs(piece).max(initial=0.0) * _MOST_GAIN > self._peak:
                self._peak = max(self._peak, _largest_between(piece))
        self._before = sound[len(sound) - _BEFORE :].copy()

    @property
    def peak(self) -> float:
        """The largest absolute value so far, as if silence followed."""
        silence = np.zeros_like(self._before)
        ringing = _largest_between(np.concatenate([self._before, silence]))
        return max(self._peak, ringing)


def _largest_between(sound: Real) -> float:
    """Return the largest value between samples; the first 11 frames are the past."""
    frames, most = len(sound) - _BEFORE, 0.0
    for phase in TAPS.T:
        values = np.zeros((frames, sound.shape[1]))
        for k, weight in enumerate(phase):
            values += weight * sound[_BEFORE - k : _BEFORE - k + frames]
        most = max(most, float(np.abs(values).max(initial=0.0)))
    return most
