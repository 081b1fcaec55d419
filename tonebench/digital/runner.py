# SPDX-License-Identifier: GPL-3.0-or-later
"""A filter with memory: one cascade run over a stream, block after block.

Cutting a stream into blocks of any size changes no bit of the result. For several
filters over one stream see `bank.py`.
"""

import numpy as np
from numpy.typing import NDArray

from tonebench.digital.bank import BankRunner, side_by_side
from tonebench.digital.cascade import Cascade


class Runner:
    """Run a cascade over blocks of shape (frames, channels)."""

    def __init__(self, cascade: Cascade, channels: int) -> None:
        self._bank = BankRunner(channels, [side_by_side(cascade, channels)])

    def process(self, block: NDArray[np.floating]) -> NDArray[np.float64]:
        """Filter one block; the next one goes on where it ended."""
        (out,) = self._bank.process(block)
        return out

    def reset(self) -> None:
        """Forget all that was heard."""
        self._bank.reset()
