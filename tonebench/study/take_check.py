# SPDX-License-Identifier: GPL-3.0-or-later
"""Whether a recording is fit to be played through circuits, and what to mind.

Judges what was measured. Limits are common practice, no source. Says nothing in words.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from tonebench.audio.files import TakeInfo, TakeReader
from tonebench.audio.runs import Runs
from tonebench.audio.take import Take
from tonebench.audio.take_meter import Channel, TakeReading, measure_take

#: A recording, or a channel, whose highest sample is lower holds nothing.
SILENT_DBFS = -80.0
#: What is lower than this could have been recorded higher; and higher, at a risk.
LOW_DBFS, HIGH_DBTP = -30.0, -1.0
#: Channels that differ, or add up, by less than this are one.
ALIKE_DB = -60.0
#: DC above this share of full scale is told, and noise and hum closer to the playing.
_DC, _NOISE_DB, _HUM_DB = 0.001, 50.0, 60.0
#: A wave of this frequency that is cut off has a mean too: peak/(π·f·seconds) at most.
_CUT_HZ = 40.0
#: What the quietest stretch must be below the playing to be a rest.
REST_DB = 30.0
_SHORT_S = 3.0


class Kind(Enum):
    """What there is to say of a take; the first three make it unfit."""

    SILENT = "silent"
    CLIPPED = "clipped"
    GAPS = "gaps"
    EMPTY_CHANNEL = "empty channel"
    IDENTICAL = "identical channels"
    MIRRORED = "mirrored channels"
    LOW = "low"
    HIGH = "high"
    DC = "dc"
    HUM = "hum"
    NOISE = "noise"
    SHORT = "short"
    LOAD_UNKNOWN = "load unknown"

    @property
    def is_fault(self) -> bool:
        """Whether a take of which this is true isn't fit."""
        return self in (Kind.SILENT, Kind.CLIPPED, Kind.GAPS)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing to say; `channels` are those it is true of, counted from 1."""

    kind: Kind
    channels: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class TakeCheck:
    """A take, what was measured of it, and what that means; faults come first."""

    take: Take
    info: TakeInfo
    reading: TakeReading
    findings: tuple[Finding, ...]

    @property
    def is_fit(self) -> bool:
        """Whether nothing makes it unfit."""
        return not any(finding.kind.is_fault for finding in self.findings)

    @property
    def has_rest(self) -> bool:
        """Whether it rests long enough for its noise to be told."""
        return has_rest(self.reading)

    @property
    def has_long_rest(self) -> bool:
        """Whether it rests long enough for hum to be told from notes."""
        return has_long_rest(self.reading)

    @property
    def clipped(self) -> Runs:
        """The clipping of all channels."""
        return _together(channel.clipped for channel in self.reading.channels)

    @property
    def gaps(self) -> Runs:
        """The gaps of all channels."""
        return _together(channel.gaps for channel in self.reading.channels)

    def __contains__(self, kind: Kind) -> bool:
        return any(finding.kind is kind for finding in self.findings)


def check_take(take: Take) -> TakeCheck:
    """Measure a take, block by block, and judge it.

    Raises
    ------
    AudioError
        If it can't be read.
    """
    with TakeReader(take.audio) as reader:
        info = reader.info
        blocks = reader.blocks()
        reading = measure_take(blocks, info.sample_rate_hz, info.channels)
    return TakeCheck(take, info, reading, tuple(_findings(take, info, reading)))


def has_rest(reading: TakeReading) -> bool:
    """Return whether the quietest 200 ms are well below the playing."""
    return reading.playing_dbfs - reading.floor_dbfs >= REST_DB


def has_long_rest(reading: TakeReading) -> bool:
    """Return whether a stretch of more than a second is well below the playing."""
    hum = reading.hum
    return hum is not None and reading.playing_dbfs - hum.quiet_dbfs >= REST_DB


def _together(runs: Iterator[Runs]) -> Runs:
    found = Runs()
    for each in runs:
        found |= each
    return found


def _findings(take: Take, info: TakeInfo, reading: TakeReading) -> Iterator[Finding]:
    levels, channels = reading.levels, reading.channels
    if levels.peak_dbfs < SILENT_DBFS:
        yield Finding(Kind.SILENT)
        return
    numbered = list(enumerate(channels, 1))
    for kind, found in (
        (Kind.CLIPPED, [k for k, x in numbered if x.clipped.count]),
        (Kind.GAPS, [k for k, x in numbered if x.gaps.count]),
        (Kind.EMPTY_CHANNEL, [k for k, x in numbered if x.peak_dbfs < SILENT_DBFS]),
        (Kind.IDENTICAL, _like_the_first(channels, "unlike_first_db")),
        (Kind.MIRRORED, _like_the_first(channels, "mirrored_first_db")),
    ):
        if found:
            yield Finding(kind, tuple(found))
    if levels.peak_dbfs < LOW_DBFS:
        yield Finding(Kind.LOW)
    if levels.true_peak_dbtp > HIGH_DBTP:
        yield Finding(Kind.HIGH)
    cut = 10 ** (levels.peak_dbfs / 20) / (math.pi * _CUT_HZ * info.duration_s)
    if lifted := [k for k, x in numbered if abs(x.dc) > _DC + cut]:
        yield Finding(Kind.DC, tuple(lifted))
    hum, playing = reading.hum, reading.playing_dbfs
    if hum and has_long_rest(reading) and playing - hum.level_dbfs < _HUM_DB:
        yield Finding(Kind.HUM)
    # what is quiet for more than a second is noise, not the end of a note
    if has_long_rest(reading) and playing - reading.floor_dbfs < _NOISE_DB:
        yield Finding(Kind.NOISE)
    if info.duration_s < _SHORT_S:
        yield Finding(Kind.SHORT)
    if take.recorded is None:
        yield Finding(Kind.LOAD_UNKNOWN)


def _like_the_first(channels: tuple[Channel, ...], measure: str) -> list[int]:
    """Return the first channel's number and those of its likes; nothing if none."""
    if channels[0].peak_dbfs < SILENT_DBFS:
        return []
    likes = [
        k
        for k, channel in enumerate(channels[1:], 2)
        if channel.peak_dbfs >= SILENT_DBFS
        and not math.isnan(getattr(channel, measure))
        and getattr(channel, measure) <= ALIKE_DB
    ]
    return [1, *likes] if likes else []
