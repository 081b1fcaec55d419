# SPDX-License-Identifier: GPL-3.0-or-later
"""Where one clip may switch from A to B without breaking a note, and how it does.

Onsets and rests are found on the take; a switch takes place in a rest, or ends just
before an onset. Knows sound as energies only, and circuits not at all.
"""

import html
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
_FINE = 5  # finer hops in one
_SPACING_S = 4.0
_SHORTEST_S = 1.5
_HEARD_S = 0.5  # of each side, at least, before the next switch
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
        self.fine_hop = max(1, round(_HOP_S * sample_rate_hz / _FINE))
        self.hop = _FINE * self.fine_hop
        self.frames = 0  # of a switch clip of this take
        self._waiting: Real | None = None  # for the next hop, and the frame before it
        self._sound: list[Real] = []
        self._steps: list[Real] = []

    def feed(self, block: Real) -> None:
        """Take a block in."""
        block = block[: round(LONGEST_S * self.sample_rate_hz) - self.frames]
        self.frames += len(block)
        if self._waiting is None:
            self._waiting = np.zeros((1, block.shape[1]))
        waiting = np.concatenate([self._waiting, block])
        hops = (len(waiting) - 1) // self.hop
        used = hops * self.hop
        # channels count by their energy: two out of phase are no silence
        whole = waiting[: used + 1]
        self._sound.append(self._energies(whole[1:]))
        self._steps.append(self._energies(np.diff(whole, axis=0)))
        self._waiting = waiting[used:]

    def levels_db(self) -> tuple[Real, Real]:
        """Return, per hop, the level of the sound and of its attacks, in dB.

        The second is the level of the first difference: plucks and picks stand out in
        it, the slow swing of a low string doesn't.
        """
        sound, steps = (
            np.concatenate([np.zeros(0), *energies]).reshape(-1, _FINE).mean(axis=1)
            for energies in (self._sound, self._steps)
        )
        return _db(sound), _db(steps)

    def fine_attacks_db(self) -> Real:
        """Return the level of the attacks per fine hop, in dB."""
        return _db(np.concatenate([np.zeros(0), *self._steps]))

    def _energies(self, values: Real) -> Real:
        """Return the mean square of each fine hop, all channels together."""
        hops = len(values) // self.fine_hop
        per_hop = self.fine_hop * values.shape[1]
        energies: Real = np.square(values).reshape(hops, per_hop).mean(axis=1)
        return energies


def _db(energies: Real) -> Real:
    with np.errstate(divide="ignore"):
        level_db: Real = 10 * np.log10(energies)
    return level_db


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


def onset_frames(envelope: Envelope) -> tuple[int, ...]:
    """Return the frames in which notes begin, each found again in the finer hops.

    There it is the steepest rise, two hops over the four before them, within 30 ms
    before the hop and in it: a loud middle of a note is not taken for its start.
    """
    hops = onset_hops(envelope.levels_db()[1])
    if not hops.size:
        return ()
    fine_db = np.maximum(envelope.fine_attacks_db(), -200)
    padded = np.concatenate([np.full(4, -200.0), fine_db, fine_db[-1:]])
    views = np.lib.stride_tricks.sliding_window_view(padded, 6)
    rises_db = views[:, 4:].min(axis=1) - views[:, :4].max(axis=1)
    found = []
    for hop in hops:
        first = max(0, _FINE * (int(hop) - 3))
        near = rises_db[first : _FINE * (int(hop) + 1)]
        found.append((first + int(np.argmax(near))) * envelope.fine_hop)
    return tuple(found)


def rest_middles(level_db: Real) -> NDArray[np.int64]:
    """Return the middle hop of every rest."""
    is_quiet = np.concatenate([[False], _quiet(level_db), [False]])
    edges = np.flatnonzero(np.diff(is_quiet))
    starts, ends = edges[::2], edges[1::2]
    long_enough = ends - starts >= _REST_HOPS
    middles: NDArray[np.int64] = (starts[long_enough] + ends[long_enough]) // 2
    return middles


def _quiet(level_db: Real) -> NDArray[np.bool_]:
    is_quiet: NDArray[np.bool_] = level_db < level_db.max(initial=-math.inf) + _REST_DB
    return is_quiet


def switch_places(envelope: Envelope) -> tuple[int, ...]:
    """Return the frames at which a fade may start: in a rest, or before an onset."""
    before_onset = round((FADE_S + _BEFORE_ONSET_S) * envelope.sample_rate_hz)
    places = [int(k) * envelope.hop for k in rest_middles(envelope.levels_db()[0])]
    places += [frame - before_onset for frame in onset_frames(envelope)]
    return tuple(sorted({place for place in places if place > 0}))


def switch_cues(envelope: Envelope) -> tuple[Cue, ...]:
    """Return where a clip switches: A first, then by turns, about every four seconds.

    Between two switches, and after the last one, something is heard. A take without a
    place to switch at stays with A.
    """
    places = switch_places(envelope)
    level_db = envelope.levels_db()[0]
    is_heard = np.isfinite(level_db) & ~_quiet(level_db)
    heard_hops = np.concatenate([[0], np.cumsum(is_heard)])

    def is_heard_enough(start: int, end: int) -> bool:
        first, last = (min(x // envelope.hop, len(level_db)) for x in (start, end))
        return bool(heard_hops[last] - heard_hops[first] >= _HEARD_S / _HOP_S)

    shortest = round(_SHORTEST_S * envelope.sample_rate_hz)
    spacing = round(_SPACING_S * envelope.sample_rate_hz)
    last = envelope.frames - shortest
    places = tuple(p for p in places if is_heard_enough(p, envelope.frames))
    cues = [Cue(0, "a")]
    while True:
        start = cues[-1].frame
        fitting = [
            place
            for place in places
            if start + shortest <= place <= last and is_heard_enough(start, place)
        ]
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
        words = html.escape(" ".join(names[cue.letter].split()), quote=False)
        lines += [" --> ".join(times), words, ""]
    return "\n".join(lines)


def _time(seconds: float) -> str:
    thousandths = round(1000 * seconds)
    minutes, rest = divmod(thousandths, 60_000)
    return f"{minutes:02d}:{rest // 1000:02d}.{rest % 1000:03d}"
