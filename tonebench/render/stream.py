# SPDX-License-Identifier: GPL-3.0-or-later
"""A take's blocks through several routes and what comes after, all of them aligned.

What comes after may answer late, or only hop by hop: blocks wait here for what belongs
to them. No block size changes a bit.
"""

from collections.abc import Generator, Iterable, Iterator, Sequence
from contextlib import ExitStack
from typing import Protocol, Self

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.plugin_host import PluginHost
from tonebench.digital.convolver import Convolver
from tonebench.render.after import After, Ready, ReadyResponse
from tonebench.render.route import Route
from tonebench.render.runner import RoutesRunner

Real = NDArray[np.float64]


def played(
    routes: Sequence[Route], blocks: Iterable[Real]
) -> Generator[tuple[Real, list[Real]]]:
    """Yield a take's frames with what comes out of every route for them.

    Close it when it is left early (`contextlib.closing`): a plug-in may be at work.

    Parameters
    ----------
    routes : sequence of Route
        Made for the take, all with one `after`.
    blocks : iterable of ndarray, shape (frames, channels)
        The take.

    Raises
    ------
    InputError
        If a plug-in crashes, gives another length or what is no sound.
    """
    runner, after = RoutesRunner(routes), routes[0].after
    if after is None:
        for block in blocks:
            yield block, runner.process(block)
        return
    waiting: list[Real] = []
    with _AfterRunner(after, len(routes)) as behind:
        for block in blocks:
            waiting.append(block)
            yield from _aligned(waiting, behind.process(runner.process(block)))
        yield from _aligned(waiting, behind.finish())


def _aligned(
    waiting: list[Real], outputs: list[Real]
) -> Iterator[tuple[Real, list[Real]]]:
    """Take the frames that belong to outputs from those that wait."""
    frames = len(outputs[0])
    if frames == 0:
        return
    held = waiting[0] if len(waiting) == 1 else np.concatenate(waiting)
    waiting[:] = [held[frames:]] if len(held) > frames else []
    yield held[:frames], outputs


class _Stage(Protocol):
    """One step: what it gives is as long as what it gets, but may come later."""

    def process(self, blocks: Sequence[Real]) -> list[Real]: ...

    def finish(self) -> list[Real]: ...


class _AfterRunner:
    """All steps, one behind the other, for several voices; a context manager."""

    def __init__(self, after: After, voices: int) -> None:
        self._after, self._voices = after, voices
        self._stack = ExitStack()
        self._stages: list[_Stage] = []

    def __enter__(self) -> Self:
        with ExitStack() as stack:
            for step in self._after.steps:
                self._stages.append(self._stage(step, stack))
            self._stack = stack.pop_all()
        return self

    def __exit__(self, *exception: object) -> None:
        self._stack.close()

    def _stage(self, step: Ready, stack: ExitStack) -> _Stage:
        rate, channels = self._after.sample_rate_hz, self._after.channels
        if isinstance(step, ReadyResponse):
            return _Response(step, channels, self._voices)
        asked = step.asked
        host = PluginHost(
            asked.path, asked.settings, rate, channels, self._voices, asked.name
        )
        return stack.enter_context(host)

    def process(self, outputs: Sequence[Real]) -> list[Real]:
        """Take a block per voice in; return what is settled, of one length."""
        found = list(outputs)
        for stage in self._stages:
            found = stage.process(found)
        return found

    def finish(self) -> list[Real]:
        """Return what is still to come."""
        found: list[Real] = []
        for stage in self._stages:
            passed = stage.process(found) if found else []
            rest = stage.finish()
            found = (
                [np.concatenate(pieces) for pieces in zip(passed, rest, strict=True)]
                if passed
                else rest
            )
        return found


class _Response:
    """One impulse response behind every voice."""

    def __init__(self, step: ReadyResponse, channels: int, voices: int) -> None:
        response = step.used.samples
        if response.shape[1] > 1:
            response = np.tile(response, voices)
        self._voices = voices
        total = channels * voices
        self._convolver = Convolver(response, total, step.used.origin)

    def process(self, blocks: Sequence[Real]) -> list[Real]:
        found = self._convolver.process(np.concatenate(blocks, axis=1))
        return np.split(found, self._voices, axis=1)

    def finish(self) -> list[Real]:
        return np.split(self._convolver.finish(), self._voices, axis=1)
