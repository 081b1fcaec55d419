# SPDX-License-Identifier: GPL-3.0-or-later
"""The part of a pair's clips that a blind test plays, and that part as trial files.

A short part heard over and over is easier to judge than a whole take. Plays nothing.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.clip_files import ClipWriter
from tonebench.audio.files import TakeReader, read_take
from tonebench.audio.outputs import whole_folder
from tonebench.compare.blind_folder import BlindPair
from tonebench.compare.blind_session import Session
from tonebench.errors import RequestError

#: A longer take is played in part, unless the listener says which (common practice
#: from listening tests: excerpts of about 10 s, 20 s at most).
LONGEST_S = 20.0
PART_S = 10.0
_SHORTEST_S = 0.5
_STEP_S = 0.1

Samples = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """What is played of A and B: arrays (frames, channels), and where they begin."""

    a: Samples
    b: Samples
    sample_rate_hz: int
    start_s: float

    @property
    def words(self) -> str:
        """Where in the take the part is."""
        end_s = self.start_s + len(self.a) / self.sample_rate_hz
        return f"{self.start_s:.1f} to {end_s:.1f} s"

    def voices(self, kind: str, drawn: int) -> dict[str, Samples]:
        """Return a trial's clips by name: a, b and the hidden x, or 1st and 2nd."""
        first, second = (self.a, self.b) if drawn == 1 else (self.b, self.a)
        if kind == "which":
            return {"x": first, "a": self.a, "b": self.b}
        return {"f": first, "s": second}


def read_part(pair: BlindPair, start_s: float | None, end_s: float | None) -> Heard:
    """Read the part of both clips that is played.

    Parameters
    ----------
    pair : BlindPair
        Whose clips.
    start_s, end_s : float or None
        Where it begins and ends; both None: the whole take up to 20 s, or else the
        10 s with the most sound in them.

    Raises
    ------
    RequestError
        If the part isn't inside the take, or is shorter than half a second while the
        take is not.
    """
    rate, length_s = pair.info.sample_rate_hz, pair.info.duration_s
    if start_s is None and end_s is None and length_s > LONGEST_S:
        start_s = _loudest(pair)
        end_s = start_s + PART_S
    start_s = 0.0 if start_s is None else start_s
    end_s = length_s if end_s is None else end_s
    shortest_s = min(_SHORTEST_S, length_s)
    if not (start_s >= 0 and start_s + shortest_s <= end_s <= length_s):
        raise RequestError(
            f"the part must be inside the take, 0 to {length_s:.1f} s, and at least "
            f"{shortest_s:.1f} s long, got {start_s:g} to {end_s:g} s"
        )
    start, end = round(start_s * rate), round(end_s * rate)
    a, b = (_read(file, start, end) for file in pair.files)
    return Heard(a, b, rate, start / rate)


def _read(file: Path, start: int, end: int) -> Samples:
    found, place = [], 0
    with TakeReader(file) as clip:
        for block in clip.blocks():
            found.append(block[max(0, start - place) : max(0, end - place)])
            place += len(block)
    return np.concatenate(found).astype(np.float32)


def _loudest(pair: BlindPair) -> float:
    """Return where the loudest `PART_S` of both clips together begin, in seconds."""
    step = round(_STEP_S * pair.info.sample_rate_hz)
    energy = np.zeros(pair.info.frames // step)
    for file in pair.files:
        with TakeReader(file) as clip:
            sums = [np.sum(b**2) for b in clip.blocks(step) if len(b) == step]
        energy += np.array(sums)
    width = round(PART_S / _STEP_S)
    runs = np.convolve(energy, np.ones(width), "valid")
    return int(np.argmax(runs)) * step / pair.info.sample_rate_hz


def trial_files(folder: Path, session: Session, heard: Heard) -> list[str]:
    """Write each trial's clips into a folder for another player; return their names.

    Files that an earlier call wrote of the same session and part are left as they are.

    Raises
    ------
    OutputError
        If the folder holds anything else, or can't be written.
    """
    clips = dict(_trials(session, heard))
    if folder.is_dir() and _holds(folder, clips):
        return list(clips)
    channels = heard.a.shape[1]
    with whole_folder(folder) as part:
        for name, clip in clips.items():
            with ClipWriter(part / name, heard.sample_rate_hz, channels) as writer:
                writer.write(clip)
    return list(clips)


def _trials(session: Session, heard: Heard) -> Iterator[tuple[str, Samples]]:
    kind = session.plan.kind
    if kind == "which":
        yield from (("a.wav", heard.a), ("b.wav", heard.b))
    names = {"x": "x", "f": "first", "s": "second"}
    for number, drawn in enumerate(session.order, start=1):
        for voice, clip in heard.voices(kind, drawn).items():
            if voice in names:
                yield f"trial-{number:02d}-{names[voice]}.wav", clip


def _holds(folder: Path, clips: dict[str, Samples]) -> bool:
    """Return whether a folder holds these very clips and nothing else."""
    if {entry.name for entry in folder.iterdir()} != clips.keys():
        return False
    return all(
        np.array_equal(read_take(folder / name)[1], clip)
        for name, clip in clips.items()
    )
