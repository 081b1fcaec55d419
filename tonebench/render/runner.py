# SPDX-License-Identifier: GPL-3.0-or-later
"""Routes with memory: a take's blocks go through all of them side by side.

Filters that stand still share one bank, so that several routes cost little more than
one; those whose knobs move run on their own. No block size changes a bit.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.blocks import keep_memory
from tonebench.digital.bank import BankRunner
from tonebench.digital.moving import MovingRunner
from tonebench.render.route import Route

Real = NDArray[np.float64]

#: How many threads may share the channels between them.
THREADS = 2


class RoutesRunner:
    """Run a take's blocks through routes made for it; keeps the filters' memory."""

    def __init__(self, routes: Sequence[Route]) -> None:
        keep_memory()
        still = [plan.clip for plan in routes if plan.designs is None]
        inputs = routes[0].channels_in
        self._bank = BankRunner(inputs, still, threads=THREADS) if still else None
        self._moving = [
            None if plan.designs is None else _MovingRoute(plan) for plan in routes
        ]

    def process(self, block: Real) -> list[Real]:
        """Return every route's output of one block, shape (frames, channels out)."""
        still = iter(self._bank.process(block)) if self._bank else iter(())
        return [
            next(still) if moving is None else moving.process(block)
            for moving in self._moving
        ]

    def reset(self) -> None:
        """Forget all that was heard."""
        if self._bank:
            self._bank.reset()
        for moving in self._moving:
            if moving is not None:
                moving.reset()


class RouteRunner:
    """Run a take's blocks through one route; keeps the filters' memory."""

    def __init__(self, plan: Route) -> None:
        self._runner = RoutesRunner([plan])

    def process(self, block: Real) -> Real:
        """Return the output of one block, shape (frames, channels out)."""
        (output,) = self._runner.process(block)
        return output

    def reset(self) -> None:
        """Forget all that was heard."""
        self._runner.reset()


class _MovingRoute:
    """A route whose knobs move."""

    def __init__(self, plan: Route) -> None:
        assert plan.designs is not None
        self._is_summed = plan.is_summed
        self._shares_one = len(plan.cascades) == 1
        channels = plan.channels_in if self._shares_one else 1
        self._runners = [
            MovingRunner(plan.designs.channel(k), channels)
            for k in range(len(plan.cascades))
        ]

    def process(self, block: Real) -> Real:
        if self._shares_one:
            return self._runners[0].process(block)
        outputs = [
            runner.process(block[:, k : k + 1])
            for k, runner in enumerate(self._runners)
        ]
        if not self._is_summed:
            return np.concatenate(outputs, axis=1)
        total = outputs[0]
        for output in outputs[1:]:
            total = total + output
        return total

    def reset(self) -> None:
        for runner in self._runners:
            runner.reset()
