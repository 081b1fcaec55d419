# SPDX-License-Identifier: GPL-3.0-or-later
"""A filter whose knobs move: one cascade gives way to the next by a warm restart.

Time runs in steps of 64 frames, counted from the start of the stream. A change asked
for at step g, that is, by its first frame, fades in over step g + 2; the two steps
between are there for a sound card's callback to spread the warm-up over, and files keep
the same schedule, so that both give the same samples. The new cascade starts from rest
and runs over the last 85 ms before it is heard, its input faded in over the first half
of them; then ``old + w·(new − old)``, w = 0, 1/64, … 63/64, leads over to it.

What comes out is always a mix of what fixed settings give, so it can't blow up, and a
polarity that flips or a volume at 0 fades like anything else. A knob that turns is
followed 192 frames late. Leads are left as they are: they differ by 0.05 frame between
settings of a buffered circuit and by half a frame in a passive one, which costs a fade
between far settings 0.7 dB at 10 kHz for a millisecond, and a turning knob nothing.
Knows nothing of what turns.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.controls import Settings
from tonebench.digital.cascade import Cascade
from tonebench.digital.runner import Runner
from tonebench.errors import RequestError

Real = NDArray[np.float64]

#: One step: moves take effect at its start, whatever the block size and the rate.
STEP_FRAMES = 64
#: Steps from a change's being asked for to its being faded in.
STEPS_OF_DELAY = 2
#: What a new cascade hears before it is heard: 4096 frames at 48 kHz.
WARM_UP_SECONDS = 4096 / 48_000
_DESIGNS_KEPT = 16_384

_FADE = np.arange(STEP_FRAMES)[:, None] / STEP_FRAMES


def warm_up_frames(sample_rate_hz: float) -> int:
    """Return the length of a warm-up: 85 ms in whole steps, at least two.

    Examples
    --------
    >>> [warm_up_frames(rate) for rate in (44100, 48000, 96000)]
    [3776, 4096, 8192]
    """
    steps = round(WARM_UP_SECONDS * sample_rate_hz / STEP_FRAMES)
    return STEP_FRAMES * max(steps, 2)


class MovingRunner:
    """Run cascades that take turns over blocks of shape (frames, channels).

    Parameters
    ----------
    changes : iterable of (int, Cascade)
        The cascade that is asked for at each step, steps rising; the first stands at
        step 0 and is heard from the start. Read as the stream goes on, and from its
        beginning again after `reset`.
    channels : int
        Channels that all go through the same cascades.

    Raises
    ------
    RequestError
        If the first step isn't 0, or, while running, if steps don't rise.
    """

    def __init__(
        self, changes: Iterable[tuple[int, Cascade]], channels: int = 1
    ) -> None:
        self._changes = changes
        self._channels = channels
        self.reset()

    def reset(self) -> None:
        """Forget all that was heard, and start with the first cascade."""
        self._coming = iter(self._changes)
        step, cascade = next(self._coming, (-1, None))
        if step != 0 or cascade is None:
            raise RequestError("the first cascade of a move must stand at step 0")
        frames = warm_up_frames(cascade.sample_rate_hz)
        ramp = np.arange(frames)[:, None] / (frames // 2)
        self._warm_up_gain = np.minimum(ramp, 1.0)
        self._heard = _Memory(frames, self._channels)
        self._runner = Runner(cascade, self._channels)
        self._next_runner: Runner | None = None
        self._next_cascade: Cascade | None = None
        self._event: int | None = None
        self._step_asked = 0
        self._frame = 0
        self._look_ahead()

    def process(self, block: Real) -> Real:
        """Filter one block; the next one goes on where it ended."""
        out = np.empty((len(block), self._channels))
        start = 0
        while start < len(block):
            if self._frame == self._event:
                self._turn()
            end = len(block)
            if self._event is not None:
                end = min(end, start + self._event - self._frame)
            out[start:end] = self._piece(block[start:end])
            self._frame += end - start
            start = end
        return out

    def _piece(self, block: Real) -> Real:
        """Filter what lies between two events."""
        out = self._runner.process(block)
        if self._next_runner is not None:
            inside = self._frame % STEP_FRAMES
            weight = _FADE[inside : inside + len(block)]
            out = out + weight * (self._next_runner.process(block) - out)
        if self._next_cascade is not None:
            self._heard.add(block)
        return out

    def _turn(self) -> None:
        """End the fade that ends here, and begin the one that begins here."""
        if self._next_runner is not None:
            self._runner, self._next_runner = self._next_runner, None
        if self._next_cascade is not None and self._frame == self._fade_frame:
            coming = Runner(self._next_cascade, self._channels)
            coming.process(self._heard.last() * self._warm_up_gain)
            self._next_runner = coming
            self._look_ahead()
            self._event = self._frame + STEP_FRAMES
        else:
            self._event = None if self._next_cascade is None else self._fade_frame

    def _look_ahead(self) -> None:
        """Take the next change; the event is where its fade begins."""
        step, cascade = next(self._coming, (self._step_asked + 1, None))
        if step <= self._step_asked:
            raise RequestError(
                "the steps of a move must rise, "
                f"got step {step} after {self._step_asked}"
            )
        self._next_cascade = cascade
        self._step_asked = step
        self._fade_frame = (step + STEPS_OF_DELAY) * STEP_FRAMES
        self._event = None if cascade is None else self._fade_frame


class _Memory:
    """The last frames of a stream, in one piece; silence stands before its start."""

    def __init__(self, frames: int, channels: int) -> None:
        self._frames = frames
        self._kept = np.zeros((3 * frames, channels))
        self._end = frames

    def add(self, block: Real) -> None:
        block = block[-self._frames :]
        end = self._end + len(block)
        if end > len(self._kept):
            self._kept[: self._frames] = self.last()
            self._end, end = self._frames, self._frames + len(block)
        self._kept[self._end : end] = block
        self._end = end

    def last(self) -> Real:
        return self._kept[self._end - self._frames : self._end]


class Designs:
    """The cascades along a schedule of settings, designed when the stream gets there.

    Each setting is designed once, as long as it is among the last 16,384 different
    ones; runners of several channels, and a second pass, share the designs.

    Parameters
    ----------
    schedule : iterable of (int, Settings)
        The complete setting from each step on.
    design_at : callable
        The cascades of a complete setting: one for all channels, or one per channel.
    """

    def __init__(
        self,
        schedule: Iterable[tuple[int, Settings]],
        design_at: Callable[[Settings], tuple[Cascade, ...]],
    ) -> None:
        self._schedule = schedule
        self._design = lru_cache(_DESIGNS_KEPT)(lambda key: design_at(dict(key)))

    def at(self, setting: Settings) -> tuple[Cascade, ...]:
        """Return the cascades of a complete setting."""
        return self._design(tuple(sorted(setting.items())))

    def channel(self, number: int = 0) -> Iterable[tuple[int, Cascade]]:
        """Return the changes of one channel's cascade, for a `MovingRunner`."""
        return _Channel(self, number)

    def __iter__(self) -> Iterator[tuple[int, tuple[Cascade, ...]]]:
        for step, setting in self._schedule:
            yield step, self.at(setting)


@dataclass(frozen=True, slots=True)
class _Channel:
    designs: Designs
    number: int

    def __iter__(self) -> Iterator[tuple[int, Cascade]]:
        for step, cascades in self.designs:
            yield step, cascades[self.number]
