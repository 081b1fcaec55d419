# SPDX-License-Identifier: GPL-3.0-or-later
"""A filter with memory: one cascade run over a stream, block after block.

The only thing in this folder that keeps state. Cutting a stream into blocks of any size
changes no bit of the result.
"""

import numpy as np
from numpy.typing import NDArray

from tonebench.digital.cascade import Cascade


class Runner:
    """Run a cascade over blocks of shape (frames, channels)."""

    def __init__(self, cascade: Cascade, channels: int) -> None:
        # scipy's filter wants a writable array
        self._sections = cascade.sections.copy()
        self._state = np.zeros((len(self._sections), 2, channels))

    def process(self, block: NDArray[np.float64]) -> NDArray[np.float64]:
        """Filter one block; the next one goes on where it ended."""
        from scipy.signal import sosfilt  # 1 s to import: only what runs pays it

        if len(block) == 0:
            return block.copy()
        out, self._state = sosfilt(self._sections, block, axis=0, zi=self._state)
        result: NDArray[np.float64] = out
        return result

    def reset(self) -> None:
        """Forget all that was heard."""
        self._state[:] = 0
