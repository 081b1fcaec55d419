# SPDX-License-Identifier: GPL-3.0-or-later
"""Several filters with memory over one stream: clips made side by side in one pass.

The compiled kernel does it, or scipy. Both compute every section alike, so that neither
the engine, nor the size of blocks, nor how many threads there are changes the sound.
"""

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import DTypeLike, NDArray

from tonebench.digital.cascade import Cascade
from tonebench.digital.kernel.binding import KernelBank, as_samples
from tonebench.digital.kernel.engine import Engine, chosen
from tonebench.errors import AudioError, RequestError

#: Shorter blocks are not worth a hand-over to another thread.
_WORTH_A_THREAD = 4096
#: Nor are fewer channels: one thread filters as many at once for little more than one.
_CHANNELS_A_THREAD = 4


@dataclass(frozen=True, slots=True, eq=False)
class Feed:
    """A cascade, and the column of the input that it hears, counted from 0."""

    cascade: Cascade
    column: int = 0


#: What one channel is: the sum of its feeds, in their order.
Channel = Sequence[Feed]
#: Channels that belong together, and come out as one array.
Clip = Sequence[Channel]


def side_by_side(cascade: Cascade, channels: int) -> Clip:
    """Return a clip whose every channel is a channel of the input, filtered alike."""
    return [[Feed(cascade, column)] for column in range(channels)]


def summed(cascades: Sequence[Cascade]) -> Clip:
    """Return a clip of one channel: each input through its own filter, and the sum."""
    return [[Feed(cascade, column) for column, cascade in enumerate(cascades)]]


class BankRunner:
    """Run all filters of some clips over blocks of one stream; keeps their memory.

    A zero that comes out is a positive one. What rings out below 2.2e-308 the kernel
    takes for 0, and scipy doesn't: else the engines agree to the last bit on machines
    whose scipy was built without contraction (x86), and within a few units in the last
    place on others.

    Parameters
    ----------
    inputs : int
        How many channels the stream has.
    clips : sequence of clips
        What is made of them; see `side_by_side` and `summed`.
    dtype : dtype
        ``float64`` or ``float32``: what comes out. All is computed in float64.
    threads : int
        How many threads may share the channels between them, four or more for each.

    Raises
    ------
    AudioError
        If a feed hears a channel that the stream doesn't have.
    RequestError
        If the dtype is another one.
    """

    def __init__(
        self,
        inputs: int,
        clips: Sequence[Clip],
        *,
        dtype: DTypeLike = np.float64,
        threads: int = 1,
    ) -> None:
        self._inputs, self._dtype = inputs, np.dtype(dtype)
        if self._dtype not in (np.float32, np.float64):
            raise RequestError(
                f"filters must give float32 or float64, not {self._dtype.name}"
            )
        self._widths = [len(clip) for clip in clips]
        channels = [channel for clip in clips for channel in clip]
        for column in {feed.column for channel in channels for feed in channel}:
            if not 0 <= column < inputs:
                raise AudioError(
                    f"a filter must hear one of the {inputs} channels of the stream "
                    f"(0 to {inputs - 1}), got channel {column}"
                )
        engine = chosen()
        self._pool: Executor | None = None
        if engine is Engine.SCIPY:
            self._shares: list[_Share] = [_ScipyShare(channels)]
        else:
            count = max(1, min(threads, len(channels) // _CHANNELS_A_THREAD))
            parts = np.array_split(np.arange(len(channels)), count)
            self._shares = [
                _KernelShare(engine, inputs, [channels[k] for k in part])
                for part in parts
            ]

    def process(self, block: NDArray[Any]) -> list[NDArray[Any]]:
        """Filter one block of shape (frames, inputs); the next goes on where it ended.

        Returns one new array (frames, channels) for each clip.

        Raises
        ------
        AudioError
            If the block has another shape.
        """
        samples = as_samples(block)
        if samples.ndim != 2 or samples.shape[1] != self._inputs:
            raise AudioError(
                f"a block must have the shape (frames, {self._inputs}), "
                f"got {samples.shape}"
            )
        clips = [np.empty((len(samples), n), self._dtype) for n in self._widths]
        if len(samples) == 0:
            return clips
        columns = [clip[:, k] for clip in clips for k in range(clip.shape[1])]
        jobs, first = [], 0
        for share in self._shares:
            jobs.append((share, columns[first : first + share.channels]))
            first += share.channels
        if len(jobs) > 1 and len(samples) >= _WORTH_A_THREAD:
            waiting = [
                self._threads().submit(share.run, samples, outputs)
                for share, outputs in jobs[1:]
            ]
            jobs[0][0].run(samples, jobs[0][1])
            for job in waiting:
                job.result()
        else:
            for share, outputs in jobs:
                share.run(samples, outputs)
        return clips

    def reset(self) -> None:
        """Forget all that was heard."""
        for share in self._shares:
            share.reset()

    def _threads(self) -> Executor:
        if self._pool is None:
            from concurrent.futures import ThreadPoolExecutor

            self._pool = ThreadPoolExecutor(len(self._shares) - 1)
        return self._pool


class _Share(Protocol):
    """Some of the channels, with their filters' memory."""

    channels: int

    def run(self, block: NDArray[Any], outputs: Sequence[NDArray[Any]]) -> None:
        """Filter a block into one column per channel."""

    def reset(self) -> None:
        """Forget all that was heard."""


class _KernelShare:
    def __init__(
        self, engine: Engine, inputs: int, channels: Sequence[Channel]
    ) -> None:
        self.channels = len(channels)
        voices = [
            (feed.cascade.sections, feed.column, k)
            for k, channel in enumerate(channels)
            for feed in channel
        ]
        self._bank = KernelBank(engine, inputs, len(channels), voices)

    def run(self, block: NDArray[Any], outputs: Sequence[NDArray[Any]]) -> None:
        self._bank.run(block, outputs)

    def reset(self) -> None:
        self._bank.reset()


class _ScipyShare:
    def __init__(self, channels: Sequence[Channel]) -> None:
        self.channels = len(channels)
        self._feeds = [
            [(_for_scipy(feed.cascade.sections), feed.column) for feed in channel]
            for channel in channels
        ]
        self.reset()

    def run(self, block: NDArray[Any], outputs: Sequence[NDArray[Any]]) -> None:
        from scipy.signal import sosfilt  # 1 s to import: only what runs pays it

        samples = block.astype(np.float64, copy=False)
        for output, feeds, states in zip(
            outputs, self._feeds, self._states, strict=True
        ):
            total: Any = 0.0  # −0 + 0 is 0
            for k, (sections, column) in enumerate(feeds):
                heard, states[k] = sosfilt(sections, samples[:, column], zi=states[k])
                total = total + heard
            output[:] = total

    def reset(self) -> None:
        self._states = [
            [np.zeros((len(sections), 2)) for sections, _ in feeds]
            for feeds in self._feeds
        ]


def _for_scipy(sections: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return sections as scipy's filter wants them: writable, and at least one."""
    through = np.array([[1.0, 0, 0, 1, 0, 0]])
    return sections.copy() if len(sections) else through
