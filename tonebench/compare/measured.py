# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison measured: how loud every voice comes out, and how they are matched.

The first of two passes over the takes, in constant memory. Nothing is written.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonebench.audio.files import TakeReader
from tonebench.audio.levels import LevelMeter, common_trim_db
from tonebench.audio.loudness import LoudnessMeter
from tonebench.audio.overlap import Behind, ahead
from tonebench.circuit.controls import Settings
from tonebench.compare.matching import Levels, Matched, jump_db, match_pair, with_dry
from tonebench.compare.switching import Cue, Envelope, switch_cues
from tonebench.compare.voices import Pair, Voice, pairs_of
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.plan.comparison import Comparison, Side
from tonebench.render.offline import BLOCK_FRAMES, Progress
from tonebench.render.route import RouteRunner
from tonebench.units import to_db

Real = NDArray[np.float64]


class Meters:
    """Everything that is measured on one voice's sound."""

    def __init__(self, sample_rate_hz: int, channels: int) -> None:
        self.loudness = LoudnessMeter(sample_rate_hz, channels)
        self.level = LevelMeter(channels)

    def feed(self, block: Real) -> None:
        """Take a block in."""
        self.loudness.feed(block)
        self.level.feed(block)


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredPair:
    """A pairing on a take, measured: levels and gains in the order of its voices.

    `gains_db` holds the match alone, without the common trim; `heard_lufs` is how loud
    the clips are with both. `cues` tells where a clip may switch; `switch_frames` how
    long that clip is.
    """

    pair: Pair
    levels: tuple[Levels, ...]
    matched: Matched
    gains_db: tuple[float, ...]
    cues: tuple[Cue, ...]
    switch_frames: int
    heard_lufs: tuple[float, ...] = ()

    def jump_db(self, mode: str) -> float | None:
        """Return how much louder B is than A without matching; None if silent."""
        return jump_db(self.levels[0], self.levels[1], mode)

    @property
    def files(self) -> dict[str, str]:
        """The names of the clips to be written, by letter, and of the cues."""
        found = {voice.letter: voice.file for voice in self.pair.voices}
        if len(self.cues) > 1:
            found["switch"] = f"{self.pair.stem}-switch.wav"
            found["cues"] = f"{self.pair.stem}-cues.vtt"
        return found

    @property
    def notices(self) -> tuple[str, ...]:
        """What a listener must know about the pair."""
        told = [self.matched.notice]
        for voice in self.pair.voices:
            who = "the dry take" if voice.letter == "dry" else voice.letter.upper()
            told += [f"{who}: {notice}" for notice in voice.route.notices]
        return tuple(notice for notice in told if notice)


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """A comparison after its first pass; `trim_db` is one gain for all its clips."""

    comparison: Comparison
    pairs: tuple[MeasuredPair, ...]
    trim_db: float


def measure(
    comparison: Comparison, progress: Progress = lambda share: None
) -> Measured:
    """Measure every pairing on every take.

    Raises
    ------
    AudioError, CircuitError
        If a take can't be read, or a circuit has no answer at a setting.
    """
    found: list[tuple[MeasuredPair, list[Meters]]] = []
    taken: set[str] = set()
    for number, take in enumerate(comparison.takes):
        with TakeReader(take.audio) as reader:
            pairs = pairs_of(comparison, take, reader.info, taken)

            def tell(share: float, number: int = number) -> None:
                progress((number + share) / len(comparison.takes))

            found += _measure_take(reader, pairs, comparison, tell)
    peaks = (
        level.peak_dbfs + gain
        for pair, _ in found
        for level, gain in zip(pair.levels, pair.gains_db, strict=True)
    )
    trim_db = common_trim_db(peaks)
    pairs_heard = (_with_heard(pair, meters, trim_db) for pair, meters in found)
    return Measured(comparison, tuple(pairs_heard), trim_db)


def _with_heard(
    pair: MeasuredPair, meters: Sequence[Meters], trim_db: float
) -> MeasuredPair:
    heard_lufs = (
        meter.loudness.integrated_lufs(gain_db + trim_db)
        for meter, gain_db in zip(meters, pair.gains_db, strict=True)
    )
    return replace(pair, heard_lufs=tuple(heard_lufs))


def _measure_take(
    reader: TakeReader,
    pairs: Sequence[Pair],
    comparison: Comparison,
    progress: Progress,
) -> list[tuple[MeasuredPair, list[Meters]]]:
    rate = reader.info.sample_rate_hz
    voices = [voice for pair in pairs for voice in pair.voices]
    meters = [Meters(rate, voice.route.channels_out) for voice in voices]
    envelope = Envelope(rate)

    def take_in(played: Played) -> None:
        envelope.feed(played.block)
        for meter, output in zip(meters, played.outputs, strict=True):
            meter.feed(output)

    with Behind(take_in) as behind:
        play(reader, voices, behind.put, progress)
    cues = switch_cues(envelope)
    found = []
    for pair in pairs:
        mine, meters = meters[: len(pair.voices)], meters[len(pair.voices) :]
        levels = tuple(
            _levels(voice, meter, comparison.match.frequency_hz)
            for voice, meter in zip(pair.voices, mine, strict=True)
        )
        matched = match_pair(levels[0], levels[1], comparison.match.mode)
        gains: tuple[float, ...] = matched.gain_a_db, matched.gain_b_db
        if len(levels) > 2:
            a, b, dry = levels
            mode = comparison.match.mode
            matched, gain_db = with_dry(matched, a, b, dry, mode)
            gains = matched.gain_a_db, matched.gain_b_db, gain_db
        measured = MeasuredPair(pair, levels, matched, gains, cues, envelope.frames)
        found.append((measured, mine))
    return found


class Played(NamedTuple):
    """A block of a take, from this frame on, and what comes out of every voice."""

    first_frame: int
    block: Real
    outputs: list[Real]


def play(
    reader: TakeReader,
    voices: Sequence[Voice],
    take_in: Callable[[Played], object],
    progress: Progress,
) -> None:
    """Play a take through voices; what comes out is handed over block by block."""
    runners = [RouteRunner(voice.route) for voice in voices]
    done = 0
    with ahead(reader.blocks(BLOCK_FRAMES)) as blocks:
        for block in blocks:
            outputs = [runner.process(block) for runner in runners]
            take_in(Played(done, block, outputs))
            done += len(block)
            progress(done / reader.info.frames)


def _levels(voice: Voice, meters: Meters, frequency_hz: float) -> Levels:
    gain = summed_response(voice.side, voice.setting, [frequency_hz])[0]
    return Levels(
        loudness_lufs=meters.loudness.integrated_lufs(),
        rms_dbfs=meters.level.rms_dbfs,
        peak_dbfs=meters.level.peak_dbfs,
        gain_at_match_hz_db=to_db(float(abs(gain))),
    )


def summed_response(
    side: Side, setting: Settings, frequency_hz: ArrayLike
) -> NDArray[np.complex128]:
    """Return a side's complex response, shape (F,); all its inputs driven alike."""
    total: NDArray[np.complex128] = response(
        Network(side.chain), setting, frequency_hz
    ).sum(axis=0)
    return total
