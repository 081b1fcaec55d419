# SPDX-License-Identifier: GPL-3.0-or-later
"""Clips of one length side by side, one of them heard, over and over in a part.

All run from one place, and only their shares change, so a switch keeps step to the
frame. Outside of fades a clip comes out to the last bit at 0 dB, and never louder than
it is. Knows nothing of sound cards.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tonebench.errors import AudioError, RequestError
from tonebench.units import from_db

#: The ramp at a start, a stop and a switch; common practice, no source.
FADE_S = 0.05
#: Where a part turns back to its start, sound dips for so long on either side.
SEAM_S = 0.005
#: The level to begin with: well below the clip.
QUIET_DB = -30.0

Samples = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class _Asked:
    """What the listener asked for last; `number` goes up when sound begins anew."""

    voices: Mapping[str, Samples]
    voice: str
    is_playing: bool = False
    gain: float = from_db(QUIET_DB)
    number: int = 0


class Mixer:
    """Plays one of several clips in step; starts silent, paused and 30 dB down.

    `process` belongs to the sound card's thread, all else to one other thread. What is
    asked for is handed over as one frozen value, so neither waits for the other.

    Parameters
    ----------
    voices : mapping of str to array, shape (frames, channels)
        The clips by name, of one shape; the first is heard first.
    sample_rate_hz : int
        Their rate.

    Raises
    ------
    AudioError
        If the clips aren't of one shape, or hold no frame.
    """

    def __init__(self, voices: Mapping[str, Samples], sample_rate_hz: int) -> None:
        self._fade = round(FADE_S * sample_rate_hz)
        self._seam = round(SEAM_S * sample_rate_hz)
        self._asked = self._now = _Asked(_checked(voices), next(iter(voices)))
        self._gains = (self._now.gain, self._now.gain)  # from, to
        self._turned = self._fade  # frames of the way between them
        self._heard = dict.fromkeys(voices, 0)
        self._begin(self._asked)

    def _begin(self, asked: _Asked) -> None:
        """Start over, from silence, at the part's first frame."""
        if asked.voices is not self._now.voices:
            self._heard = dict.fromkeys(asked.voices, 0)
        self._now = asked
        self._place = 0
        self._run = 0  # frames of the fade at a start and a stop
        self._shares = dict.fromkeys(asked.voices, 0)
        self._shares[asked.voice] = self._fade

    # ---- For whoever listens ----

    @property
    def voice(self) -> str:
        """The clip that is heard, or that comes next."""
        return self._asked.voice

    @property
    def is_playing(self) -> bool:
        """Whether sound was asked for."""
        return self._asked.is_playing

    def play(self) -> None:
        """Fade in from where it stands."""
        self._asked = replace(self._asked, is_playing=True)

    def pause(self) -> None:
        """Fade out, and stay there."""
        self._asked = replace(self._asked, is_playing=False)

    def choose(self, voice: str) -> None:
        """Cross over to another clip, at the same place; RequestError if unknown."""
        if voice not in self._asked.voices:
            raise RequestError(f"no clip is called '{voice}'")
        self._asked = replace(self._asked, voice=voice)

    def turn_to(self, level_db: float) -> None:
        """Set the level; above 0 dB, the clip's own, is refused by RequestError."""
        if not level_db <= 0:
            raise RequestError(f"level must be at most 0 dB, got {level_db:g} dB")
        self._asked = replace(self._asked, gain=from_db(level_db))

    def restart(self) -> None:
        """Fade out, and go on from the part's first frame."""
        self._asked = replace(self._asked, number=self._asked.number + 1)

    def exchange(self, voices: Mapping[str, Samples]) -> None:
        """Fade out, put other clips of that shape in place, and wait there, paused."""
        asked = self._asked
        _checked({"now": next(iter(asked.voices.values())), **voices})
        first, number = next(iter(voices)), asked.number + 1
        self._asked = _Asked(dict(voices), first, False, asked.gain, number)

    def was_heard(self, voice: str) -> bool:
        """Return whether a clip was fully heard, if shortly, since it was put there."""
        is_there = self._now.voices is self._asked.voices
        return is_there and self._heard[voice] >= self._fade

    # ---- For the sound card ----

    def process(self, frames: int) -> Samples:
        """Return the next frames, shape (frames, channels)."""
        asked, done = self._asked, 0
        blocks = []
        if asked.number != self._now.number:
            done = min(self._run, frames)
            blocks.append(self._mixed(done, replace(self._now, is_playing=False)))
            if self._run == 0:
                self._begin(asked)
        if asked.number == self._now.number:
            self._now = asked
            blocks.append(self._mixed(frames - done, asked))
        return np.concatenate(blocks)

    def _mixed(self, frames: int, asked: _Asked) -> Samples:
        """Return the next frames of the clips that are in place."""
        fade = self._fade
        run, self._run = _ramp(self._run, fade if asked.is_playing else 0, frames)
        moved = np.cumsum(run > 0)  # the place stays where nothing is heard
        length, channels = asked.voices[asked.voice].shape
        places = (self._place + moved - (run > 0)) % length
        self._place = (self._place + int(np.sum(run > 0))) % length
        out = np.zeros((frames, channels))
        for name, clip in asked.voices.items():
            target = fade if name == asked.voice else 0
            share, self._shares[name] = _ramp(self._shares[name], target, frames)
            if share.any():
                out += clip[places] * (share / fade)[:, None]
            self._heard[name] += int(np.sum((share == fade) & (run == fade)))
        edge = np.minimum(np.minimum(places, length - 1 - places) / self._seam, 1)
        gain = self._gain(asked.gain, frames) * edge * (run / fade)
        return np.asarray(out * gain[:, None], np.float32)

    def _gain(self, target: float, frames: int) -> NDArray[np.float64]:
        """Return the level's gain over the next frames."""
        if target != self._gains[1]:
            self._gains = (self._level_now(), target)
            self._turned = 0
        turned, self._turned = _ramp(self._turned, self._fade, frames)
        start, end = self._gains
        share = turned / self._fade
        return np.where(share == 1, end, start + (end - start) * share)

    def _level_now(self) -> float:
        start, end = self._gains
        return start + (end - start) * self._turned / self._fade


def _ramp(now: int, target: int, frames: int) -> tuple[NDArray[np.int64], int]:
    """Return a count that goes to its target by ones, and where it ends."""
    steps = np.arange(1, frames + 1)
    if now <= target:
        values = np.minimum(now + steps, target)
    else:
        values = np.maximum(now - steps, target)
    return values, int(values[-1]) if frames else now


def _checked(voices: Mapping[str, Samples]) -> dict[str, Samples]:
    """Return the clips, if they can be played side by side."""
    shapes = {clip.shape for clip in voices.values()}
    if len(shapes) != 1 or any(len(s) != 2 or 0 in s for s in shapes):
        raise AudioError(f"clips must be of one shape and not empty, got {shapes}")
    return dict(voices)
