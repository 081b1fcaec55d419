# SPDX-License-Identifier: GPL-3.0-or-later
"""What a take holds in each third of an octave over its whole length, through A and B.

The bands are those of IEC 61260-1, base ten. Says nothing in words.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.bands import BandMeter, centres_hz
from tonebench.audio.files import TakeReader
from tonebench.audio.take import Take
from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain
from tonebench.errors import RequestError
from tonebench.render.route import route
from tonebench.render.runner import RouteRunner

Real = NDArray[np.float64]

_BLOCK_FRAMES = 65536
#: Silence, in dB re full scale.
_FLOOR = 1e-20


@dataclass(frozen=True, slots=True, eq=False)
class BandLevels:
    """A take by thirds of an octave, through A and perhaps through B.

    Attributes
    ----------
    centre_hz : ndarray, shape (N,)
        Exact centres of the bands.
    levels_db : tuple of ndarray, shape (N,)
        By side: power in the band in dB; a sine at digital full scale has −3.01.
    offset_db : float
        B − A of the whole (RMS), 0 with one side.
    """

    centre_hz: Real
    levels_db: tuple[Real, ...]
    offset_db: float

    @property
    def difference_db(self) -> Real:
        """B − A in each band at one level (RMS), shape (N,)."""
        return self.levels_db[1] - self.levels_db[0] - self.offset_db


def band_levels(take: Take, sides: Sequence[tuple[Chain, Settings]]) -> BandLevels:
    """Return a take by thirds of an octave through one chain, or through A and B.

    Raises
    ------
    RequestError
        If nothing comes out.
    """
    powers = []
    for chain, changes in sides:
        with TakeReader(take.audio) as reader:
            info = reader.info
            plan = route(chain, changes, info.sample_rate_hz, info.channels, take)
            runner = RouteRunner(plan)
            is_heard = False
            meter = BandMeter(info.sample_rate_hz, plan.channels_out)
            for block in reader.blocks(_BLOCK_FRAMES):
                is_heard = is_heard or bool(block.any())
                meter.feed(runner.process(block))
        powers.append(meter.bands())
        if not powers[-1].any():
            if not is_heard:
                raise RequestError(f"{take.name} holds silence: it has no spectrum")
            name = chain.circuit.name
            raise RequestError(f"nothing comes out of {name} here; turn something up")
    totals = [10 * np.log10(power.sum()) for power in powers]
    return BandLevels(
        centre_hz=centres_hz(),
        levels_db=tuple(10 * np.log10(np.maximum(power, _FLOOR)) for power in powers),
        offset_db=float(totals[1] - totals[0]) if len(totals) > 1 else 0.0,
    )
