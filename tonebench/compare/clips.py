# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison's clips, written: every voice at its gain, and one clip that switches.

The second of two passes over the takes, in constant memory.
"""

from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.files import ClipWriter, TakeInfo, TakeReader
from tonebench.audio.outputs import sha256_of, write_whole
from tonebench.compare.measured import Measured, MeasuredPair, Meters, played
from tonebench.compare.switching import cue_text, share_of_b
from tonebench.plan.comparison import Comparison
from tonebench.render.offline import Progress
from tonebench.study.curves import setting_words
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
    sha256: str
    cues: str = ""


@dataclass(frozen=True, slots=True)
class PairClips:
    """A measured pair with its clips by letter: a, b, and dry and switch if made."""

    measured: MeasuredPair
    clips: Mapping[str, Clip]


@dataclass(frozen=True, slots=True)
class Compared:
    """A comparison that was run."""

    measured: Measured
    take_sha256: Mapping[str, str]
    pairs: tuple[PairClips, ...]

    @property
    def comparison(self) -> Comparison:
        """What was asked for."""
        return self.measured.comparison


def write_clips(
    measured: Measured,
    folder: Path,
    *,
    progress: Progress = lambda share: None,
) -> Compared:
    """Write the clips of a measured comparison, 24-bit WAV, into a folder that exists.

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
            pairs += _write_take(reader, mine, measured.trim_db, folder, tell)
    hashes = {take.audio.name: sha256_of(take.audio) for take in takes}
    return Compared(measured, hashes, tuple(pairs))


class _Output:
    """A clip that is being written, and measured as it is."""

    def __init__(
        self, path: Path, info: TakeInfo, channels: int, gain_db: float
    ) -> None:
        self.path, self.gain_db = path, gain_db
        self.gain = from_db(gain_db)
        self.meters = Meters(info.sample_rate_hz, channels)
        self.writer = ClipWriter(
            path,
            info.sample_rate_hz,
            channels,
            subtype="pcm24",
            frames_expected=info.frames,
        )

    def write(self, block: Real) -> None:
        self.writer.write(block)
        self.meters.feed(block)

    def clip(self, cues: str = "") -> Clip:
        return Clip(
            file=self.path.name,
            gain_db=self.gain_db,
            loudness_lufs=self.meters.loudness.integrated_lufs(),
            peak_dbfs=self.meters.level.peak_dbfs,
            sha256=sha256_of(self.path),
            cues=cues,
        )


def _write_take(
    reader: TakeReader,
    pairs: Sequence[MeasuredPair],
    trim_db: float,
    folder: Path,
    progress: Progress,
) -> list[PairClips]:
    info = reader.info
    voices = [voice for pair in pairs for voice in pair.pair.voices]
    gains_db = [gain_db + trim_db for pair in pairs for gain_db in pair.gains_db]
    outputs = [
        _Output(folder / voice.file, info, voice.route.channels_out, gain_db)
        for voice, gain_db in zip(voices, gains_db, strict=True)
    ]
    switches = [_switch_output(pair, folder, trim_db) for pair in pairs]
    with ExitStack() as stack:
        for output in [*outputs, *(switch for switch in switches if switch)]:
            stack.enter_context(output.writer)
        frame = 0
        for block, sounds in played(reader, voices, progress):
            turned = [
                sound * output.gain
                for sound, output in zip(sounds, outputs, strict=True)
            ]
            for output, sound in zip(outputs, turned, strict=True):
                output.write(sound)
            first = 0
            for pair, switch in zip(pairs, switches, strict=True):
                if switch:
                    a, b = turned[first], turned[first + 1]
                    switch.write(_switched(pair, a, b, frame))
                first += len(pair.pair.voices)
            frame += len(block)
    found = []
    for pair, switch in zip(pairs, switches, strict=True):
        mine, outputs = (
            outputs[: len(pair.pair.voices)],
            outputs[len(pair.pair.voices) :],
        )
        clips = {
            voice.letter: output.clip()
            for voice, output in zip(pair.pair.voices, mine, strict=True)
        }
        if switch:
            clips["switch"] = switch.clip(_write_cues(pair, folder))
        found.append(PairClips(pair, clips))
    return found


def _switch_output(
    measured: MeasuredPair, folder: Path, trim_db: float
) -> _Output | None:
    """Return the clip that switches; None where there is nowhere to switch."""
    if "switch" not in measured.files:
        return None
    pair = measured.pair
    return _Output(
        folder / measured.files["switch"], pair.info, pair.a.route.channels_out, trim_db
    )


def _switched(measured: MeasuredPair, a: Real, b: Real, first_frame: int) -> Real:
    """Return what the switch clip holds of a block, A and B at their gains."""
    frames = max(0, min(len(a), measured.switch_frames - first_frame))
    rate = measured.pair.info.sample_rate_hz
    share = share_of_b(measured.cues, first_frame, frames, rate)[:, None]
    # outside a fade this is one of the two, to the last bit
    mixed: Real = (1 - share) * a[:frames] + share * b[:frames]
    return mixed


def _write_cues(measured: MeasuredPair, folder: Path) -> str:
    pair = measured.pair
    names = {
        voice.letter: f"{voice.letter.upper()} {voice.side.circuit.name}: "
        + (setting_words(voice.setting) or "nothing to set")
        for voice in pair.voices
    }
    path = folder / measured.files["cues"]
    rate = pair.info.sample_rate_hz
    text = cue_text(measured.cues, names, measured.switch_frames, rate)
    write_whole(path, text.encode())
    return path.name
