# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison measured: how loud every voice comes out, and how they are matched.

The first of two passes over the takes, in constant memory. Nothing is written.
"""

from collections.abc import Callable, Sequence
from contextlib import ExitStack, closing
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonebench.audio.bands import octave_meter
from tonebench.audio.files import TakeInfo, TakeReader
from tonebench.audio.levels import common_trim_db
from tonebench.audio.meters import Meters, Reading
from tonebench.audio.overlap import Behind, ahead
from tonebench.compare.matching import (
    Levels,
    Matched,
    by_hand,
    jump_db,
    match_pair,
    trim_words,
    with_dry,
)
from tonebench.compare.outline import Outline
from tonebench.compare.playing import Playing
from tonebench.compare.switching import Cue, Envelope, switch_cues
from tonebench.compare.voices import Pair, Voice, pairs_of
from tonebench.errors import RequestError
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.plan.comparison import Comparison, Match
from tonebench.render.offline import BLOCK_FRAMES, Progress
from tonebench.render.stream import played
from tonebench.study.headroom_words import clipping_notice
from tonebench.units import to_db

Real = NDArray[np.float64]


#: A shorter take has no level to go by.
_SHORTEST_MATCHED_S = 0.05
#: The highest share of the sample rate at which a gain can be matched.
_HIGHEST_MATCH = 0.45

_CURVES_OF_CIRCUITS = (
    "curves, and gains at one frequency, are those of the circuits alone, without what "
    "comes after"
)


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredPair:
    """A pairing on a take, measured: levels and gains in the order of its voices.

    `gains_db` holds the match and the trim of B by hand, without the common trim;
    `heard` is what the clips read with all three. `cues` tells where a clip may switch;
    `switch_frames` how long that clip is. `playing` tells how the take's channels play
    together, where they drive several inputs; `clipping` where a real unit would clip;
    `is_subtracted` whether a clip of B − A is asked for and can be made: no knob moves;
    `outline` holds the take's peaks, piece by piece.
    """

    pair: Pair
    levels: tuple[Levels, ...]
    matched: Matched
    gains_db: tuple[float, ...]
    cues: tuple[Cue, ...]
    switch_frames: int
    heard: tuple[Reading, ...] = ()
    playing: Playing | None = None
    clipping: tuple[str, ...] = ()
    trim_b_db: float = 0.0
    is_subtracted: bool = False
    outline: Real | None = None

    def jump_db(self, mode: str) -> float | None:
        """Return how much louder B is than A without matching; None if silent."""
        return jump_db(self.levels[0], self.levels[1], mode)

    @property
    def heard_lufs(self) -> tuple[float, ...]:
        """How loud the clips are."""
        return tuple(reading.loudness_lufs for reading in self.heard)

    @property
    def files(self) -> dict[str, str]:
        """The names of the clips to be written, by letter, and of the cues."""
        found = {voice.letter: voice.file for voice in self.pair.voices}
        if len(self.cues) > 1:
            found["switch"] = f"{self.pair.stem}-switch.wav"
            found["cues"] = f"{self.pair.stem}-cues.vtt"
        if self.is_subtracted:
            found["difference"] = f"{self.pair.stem}-difference.wav"
        return found

    @property
    def notices(self) -> tuple[str, ...]:
        """What a listener must know about the pair."""
        told = [self.matched.notice, trim_words(self.trim_b_db)]
        for voice in self.pair.voices:
            who = "the dry take" if voice.letter == "dry" else voice.letter.upper()
            told += [f"{who}: {notice}" for notice in voice.route.notices]
        told += self.clipping
        if self.pair.after is not None:
            told += [_CURVES_OF_CIRCUITS, *self.pair.after.notices]
        if self.pair.is_moving:
            told.append("curves show how the knobs stand at the start of the take")
        if self.playing is not None:
            told.append("curves show the inputs together as this take plays them")
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
            _refuse_match_hz(comparison.match, reader.info)
            pairs = pairs_of(comparison, take, reader.info, taken)

            def tell(share: float, number: int = number) -> None:
                progress((number + share) / len(comparison.takes))

            found += _measure_take(reader, pairs, comparison, tell)
    peaks = (
        level.true_peak_dbtp + gain
        for pair, _ in found
        for level, gain in zip(pair.levels, pair.gains_db, strict=True)
    )
    trim_db = common_trim_db(peaks)
    pairs_heard = (_with_heard(pair, meters, trim_db) for pair, meters in found)
    return Measured(comparison, tuple(pairs_heard), trim_db)


def _clipping(pair: Pair) -> tuple[str, ...]:
    """Return where a real unit would clip on the take and its clip doesn't."""
    told = (
        (voice.letter, clipping_notice(pair.take, voice.side.chain, voice.setting))
        for voice in (pair.a, pair.b)
    )
    return tuple(f"{letter.upper()}: {words}" for letter, words in told if words)


def _refuse_match_hz(match: Match, info: TakeInfo) -> None:
    if match.frequency_hz > _HIGHEST_MATCH * info.sample_rate_hz:
        raise RequestError(
            f"match_hz is {match.frequency_hz:g} Hz, but a take at "
            f"{info.sample_rate_hz} Hz holds no more than "
            f"{_HIGHEST_MATCH * info.sample_rate_hz:.0f} Hz"
        )


def _with_heard(
    pair: MeasuredPair, meters: Sequence[Meters], trim_db: float
) -> MeasuredPair:
    heard = (
        meter.reading(gain_db + trim_db)
        for meter, gain_db in zip(meters, pair.gains_db, strict=True)
    )
    return replace(pair, heard=tuple(heard))


def _measure_take(
    reader: TakeReader,
    pairs: Sequence[Pair],
    comparison: Comparison,
    progress: Progress,
) -> list[tuple[MeasuredPair, list[Meters]]]:
    rate = reader.info.sample_rate_hz
    voices = [voice for pair in pairs for voice in pair.voices]
    meters = [
        Meters(rate, out, octave_meter(rate, out, reader.info.frames))
        for out in (voice.route.channels_out for voice in voices)
    ]
    envelope, outline = Envelope(rate), Outline(reader.info.frames)
    channels = reader.info.channels
    is_by_input = channels > 1 and any(voice.route.is_summed for voice in voices)
    playing = Playing(rate, channels) if is_by_input else None

    with ExitStack() as stack:
        threads = [stack.enter_context(Behind(meter.feed)) for meter in meters]

        def take_in(played: Played) -> None:
            for thread, output in zip(threads, played.outputs, strict=True):
                thread.put(output)
            envelope.feed(played.block)
            outline.feed(played.block)
            if playing is not None:
                playing.feed(played.block)

        play(reader, voices, take_in, progress)
    cues = switch_cues(envelope)
    found = []
    for pair in pairs:
        mine, meters = meters[: len(pair.voices)], meters[len(pair.voices) :]
        levels = tuple(
            _levels(voice, meter, comparison.match.frequency_hz, playing)
            for voice, meter in zip(pair.voices, mine, strict=True)
        )
        duration_s = pair.info.duration_s
        match = comparison.match
        matched = match_pair(levels[0], levels[1], match.mode, duration_s)
        if duration_s < _SHORTEST_MATCHED_S:
            told = "not matched: the take is too short to have a level"
            matched = Matched(0.0, 0.0, False, told)
        gains: tuple[float, ...] = matched.gain_a_db, matched.gain_b_db
        if len(levels) > 2:
            a, b, dry = levels
            matched, gain_db = with_dry(matched, a, b, dry)
            gains = matched.gain_a_db, matched.gain_b_db, gain_db
        measured = MeasuredPair(
            pair,
            levels,
            matched,
            by_hand(gains, match.trim_b_db),
            cues,
            envelope.frames,
            playing=playing,
            clipping=_clipping(pair),
            trim_b_db=match.trim_b_db,
            is_subtracted=comparison.has_difference and not pair.is_moving,
            outline=outline.peaks,
        )
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
    routes, done = [voice.route for voice in voices], 0
    with (
        ahead(reader.blocks(BLOCK_FRAMES)) as blocks,
        closing(played(routes, blocks)) as stream,
    ):
        for block, outputs in stream:
            take_in(Played(done, block, outputs))
            done += len(block)
            progress(done / reader.info.frames)


def _levels(
    voice: Voice, meters: Meters, frequency_hz: float, playing: Playing | None
) -> Levels:
    gain = heard_gain(voice, [frequency_hz], playing)[0]
    return Levels(
        loudness_lufs=meters.loudness.integrated_lufs(),
        rms_dbfs=meters.level.rms_dbfs,
        peak_dbfs=meters.level.peak_dbfs,
        true_peak_dbtp=meters.true_peak_dbtp,
        gain_at_match_hz_db=to_db(float(gain)),
    )


def heard_gain(
    voice: Voice, frequency_hz: ArrayLike, playing: Playing | None = None
) -> Real:
    """Return a voice's gain as a magnitude, shape (F,), from the pickup's own voltage.

    Several inputs count together: all driven alike, or as the take's channels play.
    """
    found = response(Network(voice.side.chain), voice.setting, frequency_hz)
    if playing is not None and voice.route.is_summed:
        return playing.gain(found, frequency_hz)
    gain: Real = np.abs(found.sum(axis=0))
    return gain
