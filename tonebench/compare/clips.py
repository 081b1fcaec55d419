# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison's clips: one take through A and B for every pairing, at one level.

Two passes over the take, in constant memory: the first measures every result as it
comes out of its circuit, the second writes all of them with their gains.
"""

import re
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tonebench.audio.files import ClipWriter, TakeInfo, TakeReader
from tonebench.audio.levels import LevelMeter, common_trim_db
from tonebench.audio.loudness import LoudnessMeter
from tonebench.audio.outputs import sha256_of
from tonebench.circuit.controls import Settings
from tonebench.compare.matching import Levels, Matched, match_pair
from tonebench.errors import AudioError
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.plan.comparison import Comparison, Pairing, Side
from tonebench.render.offline import BLOCK_FRAMES, Progress, Route, RouteRunner, route
from tonebench.units import from_db, to_db


@dataclass(frozen=True, slots=True)
class Clip:
    """A written clip: which side at which setting, how loud before and after."""

    chain: str
    setting: Settings
    file: str
    levels: Levels
    gain_db: float
    loudness_lufs: float
    peak_dbfs: float
    lead_frames: float
    sha256: str


@dataclass(frozen=True, slots=True)
class PairingClips:
    """A and B of one pairing; `notices` says what a listener must know about them.

    The names of all its files start with `stem`.
    """

    pairing: Pairing
    stem: str
    a: Clip
    b: Clip
    matched: Matched
    notices: tuple[str, ...]

    @property
    def name(self) -> str:
        """What the pairing is called."""
        return self.pairing.name


@dataclass(frozen=True, slots=True)
class Compared:
    """A comparison that was run."""

    comparison: Comparison
    take: TakeInfo
    take_sha256: str
    trim_db: float
    pairings: tuple[PairingClips, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Voice:
    """One side at one setting: its route, and the file it goes to."""

    side: Side
    setting: Settings
    route: Route
    stem: str
    file: str


class _Meters:
    """Everything that is measured on one voice's sound."""

    def __init__(self, sample_rate_hz: int, channels: int) -> None:
        self.loudness = LoudnessMeter(sample_rate_hz, channels)
        self.level = LevelMeter(channels)

    def feed(self, block: np.ndarray) -> None:
        self.loudness.feed(block)
        self.level.feed(block)


def make_clips(
    comparison: Comparison,
    folder: Path,
    *,
    force: bool = False,
    progress: Progress = lambda share: None,
) -> Compared:
    """Render every pairing's A and B as 24-bit WAV into a folder that exists.

    Raises
    ------
    AudioError, CircuitError, OutputError
        If the take can't be read, a circuit has no answer, or a clip can't be written.
    """
    mode = comparison.match.mode
    with TakeReader(comparison.take) as reader:
        voices = _voices(comparison, reader.info)
        levels = _measure(reader, voices, comparison, lambda x: progress(x / 2))
        matches = [
            match_pair(levels[k], levels[k + 1], mode) for k in range(0, len(levels), 2)
        ]
        gains = [g for m in matches for g in (m.gain_a_db, m.gain_b_db)]
        peaks = [levels[k].peak_dbfs + gain for k, gain in enumerate(gains)]
        trim_db = common_trim_db(peaks)
        gains = [gain + trim_db for gain in gains]
        reader.rewind()
        with ExitStack() as stack:
            writers = [
                stack.enter_context(_writer(folder, voice, reader.info, force))
                for voice in voices
            ]
            meters = _write(
                reader, voices, gains, writers, lambda x: progress((1 + x) / 2)
            )
    clips = [
        Clip(
            chain=voice.side.chain.line,
            setting=voice.setting,
            file=voice.file,
            levels=levels[k],
            gain_db=gains[k],
            loudness_lufs=meters[k].loudness.integrated_lufs(),
            peak_dbfs=meters[k].level.peak_dbfs,
            lead_frames=voice.route.lead_frames,
            sha256=sha256_of(folder / voice.file),
        )
        for k, voice in enumerate(voices)
    ]
    pairings = tuple(
        PairingClips(
            pairing=pairing,
            stem=voices[2 * k].stem,
            a=clips[2 * k],
            b=clips[2 * k + 1],
            matched=matches[k],
            notices=_notices(matches[k], voices[2 * k], voices[2 * k + 1]),
        )
        for k, pairing in enumerate(comparison.pairings)
    )
    take_sha256 = sha256_of(comparison.take)
    return Compared(comparison, reader.info, take_sha256, trim_db, pairings)


def _voices(comparison: Comparison, info: TakeInfo) -> list[_Voice]:
    """Return A and B of every pairing, one after the other."""
    voices: list[_Voice] = []
    for pairing in comparison.pairings:
        stem = _free(_plain(pairing.name) or "pairing", {v.stem for v in voices})
        for letter, side, changes in (
            ("a", comparison.a, pairing.a),
            ("b", comparison.b, pairing.b),
        ):
            chain = side.chain
            plan = route(chain, changes, info.sample_rate_hz, info.channels)
            name = f"{stem}-{letter}-{_plain(side.circuit.name)}".rstrip("-")
            file = f"{_free(name, {v.file.removesuffix('.wav') for v in voices})}.wav"
            voices.append(_Voice(side, chain.setting(changes), plan, stem, file))
    _refuse_unlike_routes(voices[0], voices[1])
    return voices


def _refuse_unlike_routes(a: _Voice, b: _Voice) -> None:
    """Refuse a take whose channels are inputs to one side and a stereo sound to B."""
    if a.route.channels_out == b.route.channels_out:
        return
    by_input, alike = (a, b) if a.route.is_summed else (b, a)
    raise AudioError(
        f"the take's {a.route.channels_in} channels would drive the inputs of "
        f"{by_input.side.circuit.name} one by one, but go through "
        f"{alike.side.circuit.name} side by side; use a mono take"
    )


def _plain(words: str) -> str:
    """Return words as part of a file's name: plain letters, case doesn't count."""
    return re.sub(r"[^a-z0-9]+", "-", words.lower()).strip("-")[:48].rstrip("-")


def _free(name: str, taken: set[str]) -> str:
    """Return a name that is not taken, with a number behind it if need be."""
    free, count = name, 2
    while free in taken:
        free, count = f"{name}-{count}", count + 1
    return free


def _outputs(
    reader: TakeReader, voices: Sequence[_Voice], progress: Progress
) -> Iterator[list[np.ndarray]]:
    """Yield, block by block, what comes out of every voice."""
    runners = [RouteRunner(voice.route) for voice in voices]
    done = 0
    for block in reader.blocks(BLOCK_FRAMES):
        yield [runner.process(block) for runner in runners]
        done += len(block)
        progress(done / reader.info.frames)


def _measure(
    reader: TakeReader,
    voices: Sequence[_Voice],
    comparison: Comparison,
    progress: Progress,
) -> list[Levels]:
    rate = reader.info.sample_rate_hz
    meters = [_Meters(rate, voice.route.channels_out) for voice in voices]
    for blocks in _outputs(reader, voices, progress):
        for meter, block in zip(meters, blocks, strict=True):
            meter.feed(block)
    at_hz = [comparison.match.frequency_hz]
    return [
        Levels(
            loudness_lufs=meter.loudness.integrated_lufs(),
            rms_dbfs=meter.level.rms_dbfs,
            peak_dbfs=meter.level.peak_dbfs,
            gain_at_match_hz_db=to_db(
                float(abs(summed_response(voice.side, voice.setting, at_hz)[0]))
            ),
        )
        for voice, meter in zip(voices, meters, strict=True)
    ]


def summed_response(
    side: Side, setting: Settings, frequency_hz: Sequence[float] | np.ndarray
) -> np.ndarray:
    """Return a side's complex response, shape (F,); all its inputs driven alike."""
    total: np.ndarray = response(Network(side.chain), setting, frequency_hz).sum(axis=0)
    return total


def _writer(folder: Path, voice: _Voice, info: TakeInfo, force: bool) -> ClipWriter:
    return ClipWriter(
        folder / voice.file,
        info.sample_rate_hz,
        voice.route.channels_out,
        subtype="pcm24",
        frames_expected=info.frames,
        force=force,
    )


def _write(
    reader: TakeReader,
    voices: Sequence[_Voice],
    gains_db: Sequence[float],
    writers: Sequence[ClipWriter],
    progress: Progress,
) -> list[_Meters]:
    rate = reader.info.sample_rate_hz
    meters = [_Meters(rate, voice.route.channels_out) for voice in voices]
    gains = [from_db(gain_db) for gain_db in gains_db]
    for blocks in _outputs(reader, voices, progress):
        for k, block in enumerate(blocks):
            louder = block * gains[k]
            writers[k].write(louder)
            meters[k].feed(louder)
    return meters


def _notices(matched: Matched, a: _Voice, b: _Voice) -> tuple[str, ...]:
    told = [matched.notice]
    told += [
        f"{letter}: {voice.route.notice}"
        for letter, voice in (("A", a), ("B", b))
        if voice.route.notice
    ]
    return tuple(notice for notice in told if notice)
