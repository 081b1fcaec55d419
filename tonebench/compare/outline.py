# SPDX-License-Identifier: GPL-3.0-or-later
"""The outline of a take: how far it swings, piece by piece, for eyes to find a place.

Knows sound as peaks only.
"""

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]

#: As many pieces as a wide page has room for.
PIECES = 600


class Outline:
    """The peaks of a take of `frames` frames, in even pieces from start to end.

    Feed blocks of shape (frames, channels); the result doesn't depend on their sizes.

    Examples
    --------
    >>> outline = Outline(4, pieces=2)
    >>> outline.feed(np.array([[0.1], [-0.5], [0.2]]))
    >>> outline.peaks.tolist()
    [0.5, 0.2]
    """

    def __init__(self, frames: int, pieces: int = PIECES) -> None:
        self._pieces = max(1, min(pieces, frames))
        self._edges = np.arange(self._pieces) * frames // self._pieces
        self._done = 0
        self._peaks = np.zeros(self._pieces)

    def feed(self, block: Real) -> None:
        """Take a block in."""
        if not len(block):
            return
        end = self._done + len(block)
        first = int(np.searchsorted(self._edges, self._done, "right")) - 1
        last = int(np.searchsorted(self._edges, end, "left"))
        starts = np.maximum(self._edges[first:last] - self._done, 0)
        for column in block.T:
            high = np.maximum.reduceat(column, starts)
            low = np.minimum.reduceat(column, starts)
            peaks = self._peaks[first:last]
            np.maximum(peaks, np.maximum(high, -low), out=peaks)
        self._done = end

    @property
    def peaks(self) -> Real:
        """The greatest magnitude of each piece, over all channels, shape (pieces,)."""
        return self._peaks.copy()
