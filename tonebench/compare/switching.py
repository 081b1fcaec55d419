# SPDX-License-Identifier: GPL-3.0-or-later
"""Where one clip may switch from A to B without breaking a note, and how it does.

Onsets and rests are found on the take; a switch takes place in a rest, or ends just
before an onset. Knows sound as energies only, and circuits not at all.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]

#: A switch clip is never longer, so that a listener hears it out.
LONGEST_S = 60.0
#: The fade of a switch: long enough not to click, short enough to stay before a note.
FADE_S = 0.02
_HOP_S = 0.01
_SPACING_S = 4.0
_SHORTEST_S = 1.5
#: A fade ends this long before the onset it makes way for.
_BEFORE_ONSET_S = 0.015
_REST_DB = -45.0  # below the loudest moment
_REST_HOPS = 6
_ONSET_DB = 9.0  # above the quietest of the last hops
_ONSET_FLOOR_DB = -40.0
_ONSET_HOPS = 8  # apart at least


@dataclass(frozen=True, slots=True)
class Cue:
    """From this frame on, this side is heard."""

    frame: int
    letter: str


class Envelope:
    """The loudness of a take over time, as far as a switch clip reaches.

    Feed blocks of shape (frames, channels); the result doesn't depend on their sizes.
    """

    def __init__(self, sample_rate_hz: int) -> None:
        self.sample_rate_hz = sample_rate_hz
        self.hop = max(1, round(_HOP_S * sample_rate_hz))
        self._left = round(LONGEST_S * sample_rate_hz)
        self._pieces: list[Real] = []

    def feed(self, block: Real) -> None:
        """Take a block in."""
        mono = block[: self._left].mean(axis=1)
        self._left -= len(mono)
        if len(mono):
            self._pieces.append(mono)

    def levels_db(self) -> tuple[Real, Real]:
        """Return, per hop, the level of the sound and of its attacks, in dB.

        The second is the level of the first difference: plucks and picks stand out in
        it, the slow swing of a low string doesn't.
        """
        sound = np.concatenate([np.zeros(1), *self._pieces])
        hops = max(1, (len(sound) - 1) // self.hop)
        shape = (hops, -1)
        used = hops * self.hop
        if len(sound) - 1 < self.hop:
            return np.array([-math.inf]), np.array([-math.inf])
        plain = np.square(sound[1 : used + 1]).reshape(shape).mean(axis=1)
        steps = np.square(np.diff(sound[: used + 1])).reshape(shape).mean(axis=1)
        with np.errstate(divide="ignore"):
            return 10 * np.log10(plain), 10 * np.log10(steps)

    @property
    def frames(self) -> int:
        """How many frames a switch clip of this take has."""
        return sum(len(piece) for piece in self._pieces)


def onset_hops(attack_db: Real) -> NDArray[np.int64]:
    """Return the hops in which a note begins.

    Held over three hops, the swing of a low string's period doesn't count as a rise.
    """
    floor = attack_db.max(initial=-math.inf) + _ONSET_FLOOR_DB
    padded = np.concatenate([np.full(6, -math.inf), attack_db])
    held = np.maximum(padded, np.maximum(np.roll(padded, 1), np.roll(padded, 2)))
    found: list[int] = []
    for k in range(len(attack_db)):
        before = max(held[k + 2 : k + 6].min(), floor - 60)
        begins = attack_db[k] > floor and attack_db[k] - before >= _ONSET_DB
        if begins and (not found or k - found[-1] > _ONSET_HOPS):
            found.append(k)
    return np.array(found, dtype=np.int64)


def rest_middles(level_db: Real) -> NDArray[np.int64]:
    """Return the middle hop of every rest."""
    is_quiet = level_db < level_db.max(initial=-math.inf) + _REST_DB
    edges = np.flatnonzero(np.diff(np.concatenate([[False], is_quiet, [False]])))
    starts, ends = edges[::2], edges[1::2]
    long_enough = ends - starts >= _REST_HOPS
    middles: NDArray[np.int64] = (starts[long_enough] + ends[long_enough]) // 2
    return middles


def switch_cues(envelope: Envelope) -> tuple[Cue, ...]:
    """Return where a clip switches: A first, then by turns, about every four seconds.

    A take without a rest or an onset to switch at stays with A.
    """
    level_db, attack_db = envelope.levels_db()
    before_onset = round((FADE_S + _BEFORE_ONSET_S) * envelope.sample_rate_hz)
    places = [int(k) * envelope.hop for k in rest_middles(level_db)]
    places += [int(k) * envelope.hop - before_onset for k in onset_hops(attack_db)]
    places = sorted(place for place in places if place > 0)
    last = envelope.frames - round(_SHORTEST_S * envelope.sample_rate_hz)
    shortest = round(_SHORTEST_S * envelope.sample_rate_hz)
    spacing = round(_SPACING_S * envelope.sample_rate_hz)
    cues = [Cue(0, "a")]
    while True:
        start = cues[-1].frame
        fitting = [p for p in places if start + shortest <= p <= last]
        if not fitting:
            return tuple(cues)
        nearest = min(fitting, key=lambda place: abs(place - start - spacing))
        cues.append(Cue(nearest, "b" if cues[-1].letter == "a" else "a"))


def share_of_b(
    cues: tuple[Cue, ...], first_frame: int, frames: int, sample_rate_hz: int
) -> Real:
    """Return how much of B is heard in each frame, 0 to 1, shape (frames,).

    Linear fades: A and B are the same sound but for the circuits, so their levels add.
    """
    at = np.arange(first_frame, first_frame + frames, dtype=np.float64)
    length = max(1, round(FADE_S * sample_rate_hz))
    share = np.zeros(frames)
    for cue in cues[1:]:
        done = np.clip((at - cue.frame) / length, 0, 1)
        share += done if cue.letter == "b" else -done
    return share


def cue_text(
    cues: tuple[Cue, ...], names: Mapping[str, str], frames: int, sample_rate_hz: int
) -> str:
    """Return the cues of a clip of `frames` as WebVTT, each naming what is heard.

    Source: W3C, "WebVTT: The Web Video Text Tracks Format".
    """
    ends = [cue.frame for cue in cues[1:]] + [frames]
    lines = ["WEBVTT", ""]
    for cue, end in zip(cues, ends, strict=True):
        times = [_time(frame / sample_rate_hz) for frame in (cue.frame, end)]
        lines += [" --> ".join(times), names[cue.letter], ""]
    return "\n".join(lines)


def _time(seconds: float) -> str:
    thousandths = round(1000 * seconds)
    minutes, rest = divmod(thousandths, 60_000)
    return f"{minutes:02d}:{rest // 1000:02d}.{rest % 1000:03d}"
