# SPDX-License-Identifier: GPL-3.0-or-later
"""The clip of what is left when A is taken from B, both at one level.

Filters answer a little early, each by its own lead; both are brought back to their
circuits' own time before they are subtracted, else their leads alone would be heard.
"""

from contextlib import ExitStack
from pathlib import Path
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.meters import Meters
from tonebench.compare.measured import MeasuredPair
from tonebench.compare.voices import Voice
from tonebench.compare.written import Clip, clip_writer
from tonebench.digital.delay import LATENCY_FRAMES, Delay
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.units import from_db, to_db

Real = NDArray[np.float64]

#: Two clips that just fit can make one of twice the size.
_TRIM_DB = to_db(0.5)
_POLARITY_HZ = np.geomspace(40, 5_000, 61)


class DifferenceWriter:
    """B − A while it is written, 6 dB down so that it always fits.

    Feed it what A and B give, block by block; the clip is as long as the take and
    aligned with it.

    Parameters
    ----------
    measured : MeasuredPair
        The pair, whose knobs stand still.
    trim_db : float
        The gain of all clips of the comparison.
    folder : Path
        Where to.
    """

    def __init__(self, measured: MeasuredPair, trim_db: float, folder: Path) -> None:
        pair = measured.pair
        rate, channels = pair.info.sample_rate_hz, pair.a.route.channels_out
        self._path = folder / measured.files["difference"]
        self._gain_db = trim_db + _TRIM_DB
        self._is_over = are_opposite(pair.a, pair.b)
        signs = (-1.0, -1.0 if self._is_over else 1.0)
        self._gains = [
            sign * from_db(gain_db + self._gain_db)
            for sign, gain_db in zip(signs, measured.gains_db[:2], strict=True)
        ]
        self._delays = [
            Delay(voice.route.lead_frames, channels) for voice in (pair.a, pair.b)
        ]
        self._meters = Meters(rate, channels)
        self._a_dbfs = measured.levels[0].rms_dbfs + measured.gains_db[0] + trim_db
        self._channels, self._early = channels, LATENCY_FRAMES
        self._writer = clip_writer(self._path, pair.info, channels)

    def __enter__(self) -> Self:
        with ExitStack() as stack:
            stack.enter_context(self._writer)
            stack.push(self._end)
            self._leave = stack.pop_all().__exit__
        return self

    def __exit__(self, *exception: Any) -> None:
        self._leave(*exception)

    def _end(self, kind: type[BaseException] | None, *rest: object) -> None:
        if kind is None:
            silence = np.zeros((LATENCY_FRAMES, self._channels))
            self.write(silence, silence)

    def write(self, a: Real, b: Real) -> None:
        """Take in a block of what A and B give."""
        left = sum(
            delay.process(block) * gain
            for delay, block, gain in zip(
                self._delays, (a, b), self._gains, strict=True
            )
        )
        late = np.asarray(left)[self._early :]
        self._early = max(0, self._early - len(a))
        if len(late):
            self._writer.write(late)
            self._meters.feed(late)

    def clip(self) -> Clip:
        """Return the clip; all must have been taken in, and the block be left."""
        meters = self._meters
        left_dbfs = meters.level.rms_dbfs - _TRIM_DB  # −inf: they are the same
        return Clip(
            file=self._path.name,
            gain_db=self._gain_db,
            loudness_lufs=meters.loudness.integrated_lufs(),
            peak_dbfs=meters.level.peak_dbfs,
            true_peak_dbtp=meters.true_peak_dbtp,
            below_a_db=self._a_dbfs - left_dbfs if meters.level.rms else np.inf,
            is_turned_over=self._is_over,
        )


def are_opposite(a: Voice, b: Voice) -> bool:
    """Return whether B is inverted against A, from 40 Hz to 5 kHz on the whole."""
    gains = []
    for voice in (a, b):
        found = response(Network(voice.side.chain), voice.setting, _POLARITY_HZ)
        gains.append(found.sum(axis=0))
    both = gains[0].conj() * gains[1]
    size = np.abs(both)
    return float((both.real[size > 0] / size[size > 0]).sum()) < 0
