# SPDX-License-Identifier: GPL-3.0-or-later
"""What a comparison left when it was run: its clips, how they were turned, how loud.

Frozen values, and the one kind of file that all clips are.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from tonebench.audio.clip_files import ClipWriter
from tonebench.audio.files import TakeInfo
from tonebench.compare.measured import Measured, MeasuredPair
from tonebench.plan.comparison import Comparison

#: More than a browser holds of each clip, decoded: frames times channels, half an hour
#: of one channel at 48 kHz.
MOST_PLAYED_SAMPLES = 90_000_000


@dataclass(frozen=True, slots=True)
class Clip:
    """A written clip: how it was turned, and how loud it is.

    `cues` names the file that tells what is heard when, for the clip that switches;
    `below_a_db` is how far the difference lies below A, and `is_turned_over` whether B
    was inverted for it.
    """

    file: str
    gain_db: float
    loudness_lufs: float
    peak_dbfs: float
    true_peak_dbtp: float
    sha256: str = ""
    cues: str = ""
    below_a_db: float | None = None
    is_turned_over: bool = False


@dataclass(frozen=True, slots=True)
class PairClips:
    """A measured pair with its clips: a, b; dry, switch and difference if made."""

    measured: MeasuredPair
    clips: Mapping[str, Clip]


@dataclass(frozen=True, slots=True)
class Compared:
    """A comparison that was run.

    `is_packed` tells whether its clips were packed for a page, which has pictures too.
    """

    measured: Measured
    take_sha256: Mapping[str, str]
    pairs: tuple[PairClips, ...]
    is_packed: bool

    @property
    def comparison(self) -> Comparison:
        """What was asked for."""
        return self.measured.comparison


def can_be_played(frames: int, channels: int) -> bool:
    """Return whether a take is short enough to be played in a page."""
    return frames * channels <= MOST_PLAYED_SAMPLES


def clip_writer(path: Path, info: TakeInfo, channels: int) -> ClipWriter:
    """Return a writer of a 24-bit clip as long as a take."""
    return ClipWriter(
        path,
        info.sample_rate_hz,
        channels,
        subtype="pcm24",
        frames_expected=info.frames,
    )
