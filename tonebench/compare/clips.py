# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison's clips, written: every voice at its gain, and one clip that switches.

The second of two passes over the takes, in constant memory.
"""

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.files import TakeInfo, TakeReader
from tonebench.audio.outputs import sha256_of
from tonebench.audio.overlap import Behind
from tonebench.compare.difference import DifferenceWriter
from tonebench.compare.measured import (
    Measured,
    MeasuredPair,
    Played,
    play,
)
from tonebench.compare.switch_clip import SwitchWriter
from tonebench.compare.voices import Voice
from tonebench.compare.written import (
    Clip,
    Compared,
    PairClips,
    can_be_played,
    clip_writer,
)
from tonebench.render.offline import Progress
from tonebench.render.runner import THREADS
from tonebench.units import from_db

Real = NDArray[np.float64]


def write_clips(
    measured: Measured,
    folder: Path,
    *,
    packed: Path | None = None,
    progress: Progress = lambda share: None,
) -> Compared:
    """Write the clips of a measured comparison, 24-bit WAV, into a folder that exists.

    Every voice's clip goes into the folder `packed` too, where one is given: the same
    samples in the same pass, as FLAC; but for takes that are too long for a page.

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
    with ExitStack() as stack:
        writers = [
            stack.enter_context(_PairWriter(pair, trim_db, folder, packed))
            for pair in pairs
        ]

        def take_in(played: Played) -> None:
            outputs = iter(played.outputs)
            for writer, pair in zip(writers, pairs, strict=True):
                its = [next(outputs) for _ in pair.pair.voices]
                writer.write(its, played.first_frame)

        play(reader, voices, take_in, progress)
    return [writer.clips() for writer in writers]


class _PairWriter:
    """All clips of a pair while they are written, each voice's on its own thread."""

    def __init__(
        self,
        measured: MeasuredPair,
        trim_db: float,
        folder: Path,
        packed: Path | None,
    ) -> None:
        self._measured, self._trim_db = measured, trim_db
        info = measured.pair.info
        packed = packed if can_be_played(info.frames, info.channels) else None
        self._voices = [
            _VoiceWriter(voice, info, from_db(gain), folder, packed)
            for voice, gain in zip(measured.pair.voices, self._gains_db, strict=True)
        ]
        made = measured, trim_db, folder
        self._switch = SwitchWriter(*made) if "switch" in measured.files else None
        self._difference = DifferenceWriter(*made) if measured.is_subtracted else None

    @property
    def _gains_db(self) -> list[float]:
        return [gain_db + self._trim_db for gain_db in self._measured.gains_db]

    def __enter__(self) -> Self:
        with ExitStack() as stack:
            for writer in (*self._voices, self._switch, self._difference):
                if writer:
                    stack.enter_context(writer)
            self._threads = [
                stack.enter_context(Behind(voice.write)) for voice in self._voices
            ]
            self._leave = stack.pop_all().__exit__
        return self

    def __exit__(self, *exception: Any) -> None:
        self._leave(*exception)

    def write(self, outputs: Sequence[Real], first_frame: int) -> None:
        """Take in a block of what every voice gives."""
        for thread, output in zip(self._threads, outputs, strict=True):
            thread.put(output)
        if self._switch:
            self._switch.write(outputs[0], outputs[1], first_frame)
        if self._difference:
            self._difference.write(outputs[0], outputs[1])

    def clips(self) -> PairClips:
        """Return what was written; the block must be left."""
        clips = {}
        voices = self._measured.pair.voices
        for voice, gain_db, levels, heard_lufs in zip(
            voices,
            self._gains_db,
            self._measured.levels,
            self._measured.heard_lufs,
            strict=True,
        ):
            clips[voice.letter] = Clip(
                file=voice.file,
                gain_db=gain_db,
                loudness_lufs=heard_lufs,
                peak_dbfs=levels.peak_dbfs + gain_db,
                true_peak_dbtp=levels.true_peak_dbtp + gain_db,
            )
        if self._switch:
            clips["switch"] = self._switch.clip()
        if self._difference:
            clips["difference"] = self._difference.clip()
        return PairClips(self._measured, clips)


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
        self._clip = clip_writer(folder / voice.file, info, channels)
        self._pack = None
        if packed:
            path = packed / voice.file
            self._pack = clip_writer(path.with_suffix(".flac"), info, channels)

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
