# SPDX-License-Identifier: GPL-3.0-or-later
"""The clip that plays A and B by turns, written, with the file that tells its cues."""

from pathlib import Path
from typing import Self

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.meters import Meters
from tonebench.audio.outputs import write_whole
from tonebench.compare.measured import MeasuredPair
from tonebench.compare.switching import cue_text, share_of_b
from tonebench.compare.written import Clip, clip_writer
from tonebench.units import from_db

Real = NDArray[np.float64]


class SwitchWriter:
    """The clip that switches, while it is written."""

    def __init__(self, measured: MeasuredPair, trim_db: float, folder: Path) -> None:
        self._measured, self._trim_db, self._folder = measured, trim_db, folder
        self._gains = [from_db(gain_db + trim_db) for gain_db in measured.gains_db]
        pair = measured.pair
        self._rate, channels = pair.info.sample_rate_hz, pair.a.route.channels_out
        self._meters = Meters(self._rate, channels)
        self._path = folder / measured.files["switch"]
        self._writer = clip_writer(self._path, pair.info, channels)

    def __enter__(self) -> Self:
        self._writer.__enter__()
        return self

    def __exit__(self, *exception: object) -> None:
        self._writer.__exit__(*exception)

    def write(self, a: Real, b: Real, first_frame: int) -> None:
        """Take in a block of what A and B give."""
        frames = max(0, min(len(a), self._measured.switch_frames - first_frame))
        if frames == 0:
            return
        share = share_of_b(self._measured.cues, first_frame, frames, self._rate)
        a, b = a[:frames] * self._gains[0], b[:frames] * self._gains[1]
        mixed = a + share[:, None] * (b - a)
        self._writer.write(mixed)
        self._meters.feed(mixed)

    def clip(self) -> Clip:
        """Return the clip, and write its cues beside it."""
        pair = self._measured.pair
        names = {
            voice.letter: f"{voice.letter.upper()} {voice.name}: "
            + (voice.moving.words() or "nothing to set")
            for voice in pair.voices
        }
        cues, frames = self._measured.cues, self._measured.switch_frames
        path = self._folder / self._measured.files["cues"]
        write_whole(path, cue_text(cues, names, frames, self._rate).encode())
        return Clip(
            file=self._path.name,
            gain_db=self._trim_db,
            loudness_lufs=self._meters.loudness.integrated_lufs(),
            peak_dbfs=self._meters.level.peak_dbfs,
            true_peak_dbtp=self._meters.true_peak_dbtp,
            cues=path.name,
        )
