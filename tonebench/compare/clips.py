# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison's clips, written: every voice at its gain, and one clip that switches.

The second of two passes over the takes, in constant memory.
"""

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.files import ClipWriter, TakeInfo, TakeReader
from tonebench.audio.meters import Meters
from tonebench.audio.outputs import sha256_of, write_whole
from tonebench.audio.overlap import Behind
from tonebench.compare.measured import (
    Measured,
    MeasuredPair,
    Played,
    play,
)
from tonebench.compare.switching import cue_text, share_of_b
from tonebench.compare.voices import Voice
from tonebench.plan.comparison import Comparison
from tonebench.render.offline import Progress
from tonebench.render.runner import THREADS
from tonebench.units import from_db

Real = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Clip:
    """A written clip: how it was turned, and how loud it is.

    `cues` names the file that tells what is heard when, for the clip that switches.
    """

    file: str
    gain_db: float
    loudness_lufs: float
    peak_dbfs: float
    true_peak_dbtp: float
    sha256: str = ""
    cues: str = ""


@dataclass(frozen=True, slots=True)
class PairClips:
    """A measured pair with its clips by letter: a, b, and dry and switch if made."""

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


def write_clips(
    measured: Measured,
    folder: Path,
    *,
    packed: Path | None = None,
    progress: Progress = lambda share: None,
) -> Compared:
    """Write the clips of a measured comparison, 24-bit WAV, into a folder that exists.

    Every voice's clip goes into the folder `packed` too, where one is given: the same
    samples in the same pass, as FLAC.

    Raises
    ------
    AudioError, OutputError
        If a take can't be read again, or a clip can't be written.
    """
    takes = measured.comparison.takes
    pairs: list[PairClips] = []
    for number, take in enumerate(takes):
        mine = [pair for pair in measured.pairs if pair.pair.take is take]

        def tell(share: float, number: int = number) -> None:
            progress((number + share) / len(takes))

        with TakeReader(take.audio) as reader:
            pairs += _write_take(reader, mine, measured.trim_db, folder, packed, tell)
    files = [take.audio for take in takes]
    files += [folder / clip.file for pair in pairs for clip in pair.clips.values()]
    with ThreadPoolExecutor(THREADS) as threads:
        hashes = dict(zip(files, threads.map(sha256_of, files), strict=True))
    return Compared(
        measured,
        {take.audio.name: hashes[take.audio] for take in takes},
        tuple(_with_hashes(pair, hashes, folder) for pair in pairs),
        is_packed=packed is not None,
    )


def _with_hashes(
    pair: PairClips, hashes: Mapping[Path, str], folder: Path
) -> PairClips:
    clips = {
        letter: replace(clip, sha256=hashes[folder / clip.file])
        for letter, clip in pair.clips.items()
    }
    return replace(pair, clips=clips)


def _write_take(
    reader: TakeReader,
    pairs: Sequence[MeasuredPair],
    trim_db: float,
    folder: Path,
    packed: Path | None,
    progress: Progress,
) -> list[PairClips]:
    voices = [voice for pair in pairs for voice in pair.pair.voices]
    gains = [from_db(g + trim_db) for pair in pairs for g in pair.gains_db]
    switches = [_Switch(pair, trim_db, folder) for pair in pairs]
    with ExitStack() as stack:
        writers = [
            stack.enter_context(_VoiceWriter(voice, reader.info, gain, folder, packed))
            for voice, gain in zip(voices, gains, strict=True)
        ]
        for switch in switches:
            stack.enter_context(switch)
        threads = [stack.enter_context(Behind(writer.write)) for writer in writers]

        def take_in(played: Played) -> None:
            for thread, output in zip(threads, played.outputs, strict=True):
                thread.put(output)
            outputs = played.outputs
            for switch in switches:
                switch.write(outputs[0], outputs[1], played.first_frame)
                outputs = outputs[len(switch.measured.pair.voices) :]

        play(reader, voices, take_in, progress)
    return [
        _pair_clips(pair, switch, trim_db)
        for pair, switch in zip(pairs, switches, strict=True)
    ]


def _pair_clips(measured: MeasuredPair, switch: "_Switch", trim_db: float) -> PairClips:
    clips = {}
    for k, voice in enumerate(measured.pair.voices):
        gain_db = measured.gains_db[k] + trim_db
        clips[voice.letter] = Clip(
            file=voice.file,
            gain_db=gain_db,
            loudness_lufs=measured.heard_lufs[k],
            peak_dbfs=measured.levels[k].peak_dbfs + gain_db,
            true_peak_dbtp=measured.levels[k].true_peak_dbtp + gain_db,
        )
    if switch.is_made:
        clips["switch"] = switch.clip()
    return PairClips(measured, clips)


def _writer(path: Path, info: TakeInfo, channels: int) -> ClipWriter:
    return ClipWriter(
        path,
        info.sample_rate_hz,
        channels,
        subtype="pcm24",
        frames_expected=info.frames,
    )


class _VoiceWriter:
    """A voice's clip while it is written, and the same as FLAC if asked for."""

    def __init__(
        self,
        voice: Voice,
        info: TakeInfo,
        gain: float,
        folder: Path,
        packed: Path | None,
    ) -> None:
        channels = voice.route.channels_out
        self._gain = gain
        self._clip = _writer(folder / voice.file, info, channels)
        self._pack = None
        if packed:
            path = packed / voice.file
            self._pack = _writer(path.with_suffix(".flac"), info, channels)

    def write(self, output: Real) -> None:
        """Take in a block of what the voice gives."""
        numbers = self._clip.write(output * self._gain)
        if self._pack:
            self._pack.store(numbers)

    def __enter__(self) -> Self:
        with ExitStack() as stack:
            stack.enter_context(self._clip)
            if self._pack:
                stack.enter_context(self._pack)
            self._leave = stack.pop_all().__exit__
        return self

    def __exit__(self, *exception: Any) -> None:
        self._leave(*exception)


class _Switch:
    """The clip that switches, while it is written; nothing where it can't switch."""

    def __init__(self, measured: MeasuredPair, trim_db: float, folder: Path) -> None:
        self.measured, self._trim_db, self._folder = measured, trim_db, folder
        self._gains = [from_db(gain_db + trim_db) for gain_db in measured.gains_db]
        self.is_made = "switch" in measured.files
        pair = measured.pair
        self._rate, channels = pair.info.sample_rate_hz, pair.a.route.channels_out
        self._meters = Meters(self._rate, channels)
        if self.is_made:
            self._path = folder / measured.files["switch"]
            self._writer = _writer(self._path, pair.info, channels)

    def __enter__(self) -> Self:
        if self.is_made:
            self._writer.__enter__()
        return self

    def __exit__(self, *exception: object) -> None:
        if self.is_made:
            self._writer.__exit__(*exception)

    def write(self, a: Real, b: Real, first_frame: int) -> None:
        """Take in a block of what A and B give."""
        frames = max(0, min(len(a), self.measured.switch_frames - first_frame))
        if not (self.is_made and frames):
            return
        share = share_of_b(self.measured.cues, first_frame, frames, self._rate)
        a, b = a[:frames] * self._gains[0], b[:frames] * self._gains[1]
        mixed = a + share[:, None] * (b - a)
        self._writer.write(mixed)
        self._meters.feed(mixed)

    def clip(self) -> Clip:
        """Return the clip, and write its cues beside it."""
        pair = self.measured.pair
        names = {
            voice.letter: f"{voice.letter.upper()} {voice.name}: "
            + (voice.moving.words() or "nothing to set")
            for voice in pair.voices
        }
        cues, frames = self.measured.cues, self.measured.switch_frames
        path = self._folder / self.measured.files["cues"]
        write_whole(path, cue_text(cues, names, frames, self._rate).encode())
        return Clip(
            file=self._path.name,
            gain_db=self._trim_db,
            loudness_lufs=self._meters.loudness.integrated_lufs(),
            peak_dbfs=self._meters.level.peak_dbfs,
            true_peak_dbtp=self._meters.true_peak_dbtp,
            cues=path.name,
        )
