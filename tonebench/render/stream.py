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
    with _Pipeline(routes, after, runner) as pipeline:
        for block in blocks:
            waiting.append(block)
            yield from _aligned(waiting, pipeline.process([block]))
        yield from _aligned(waiting, pipeline.finish())


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


class _Pipeline:
    """The routes and all steps, one behind the other; a context manager.

    Filters that stand still and impulse responses may change places: the sum of what
    they do is the same. So responses that follow the circuits at once go in front of
    them, and the take goes through each once, however many circuits there are.
    """

    def __init__(
        self, routes: Sequence[Route], after: After, runner: RoutesRunner
    ) -> None:
        self._after, self._voices = after, len(routes)
        self._channels_in = routes[0].channels_in
        self._routes = _Routes(runner)
        self._front = _front(routes, after)
        self._stack = ExitStack()
        self._stages: list[_Stage] = []

    def __enter__(self) -> Self:
        with ExitStack() as stack:
            steps, count = self._after.steps, self._front
            for step in steps[:count]:
                self._stages.append(self._stage(step, 1, self._channels_in, stack))
            self._stages.append(self._routes)
            channels = self._after.channels
            for step in steps[count:]:
                self._stages.append(self._stage(step, self._voices, channels, stack))
            self._stack = stack.pop_all()
        return self

    def __exit__(self, *exception: object) -> None:
        self._stack.close()

    def _stage(
        self, step: Ready, voices: int, channels: int, stack: ExitStack
    ) -> _Stage:
        if isinstance(step, ReadyResponse):
            return _Response(step, channels, voices)
        asked, rate = step.asked, self._after.sample_rate_hz
        host = PluginHost(
            asked.path, asked.settings, rate, channels, voices, asked.name
        )
        return stack.enter_context(host)

    def process(self, blocks: Sequence[Real]) -> list[Real]:
        """Take a block in; return what is settled of every voice, of one length."""
        found = list(blocks)
        for stage in self._stages:
            found = stage.process(found)
        return found

    def finish(self) -> list[Real]:
        """Return what is still to come."""
        first, *others = self._stages
        found = first.finish()
        for stage in others:
            passed = stage.process(found)
            rest = stage.finish()
            found = [np.concatenate(both) for both in zip(passed, rest, strict=True)]
        return found


def _front(routes: Sequence[Route], after: After) -> int:
    """Return how many steps may go in front of the routes."""
    if any(plan.designs is not None for plan in routes):
        return 0
    count = 0
    for step in after.steps:
        if not isinstance(step, ReadyResponse):
            break
        own = step.used.samples.shape[1]
        if own not in (1, routes[0].channels_in):
            break
        count += 1
    return count


class _Routes:
    """The routes, as a step that is never late."""

    def __init__(self, runner: RoutesRunner) -> None:
        self._runner = runner
        self._ends: list[Real] = []

    def process(self, blocks: Sequence[Real]) -> list[Real]:
        found = self._runner.process(blocks[0])
        self._ends = [output[:0] for output in found]
        return found

    def finish(self) -> list[Real]:
        return self._ends


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
