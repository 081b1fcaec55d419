# SPDX-License-Identifier: GPL-3.0-or-later
"""Jobs measured side by side: one after the other in every round, medians at the end.

On a shared machine a single time means little; the ratio of two jobs of one round does.
"""

import time
from collections.abc import Callable, Mapping
from statistics import median

Times = dict[str, list[float]]


def in_rounds(jobs: Mapping[str, Callable[[], object]], rounds: int) -> Times:
    """Run every job once a round, after a round that doesn't count; return seconds."""
    times: Times = {name: [] for name in jobs}
    for counts in [False] + [True] * rounds:
        for name, job in jobs.items():
            start = time.perf_counter()
            job()
            if counts:
                times[name].append(time.perf_counter() - start)
    return times


def faster(times: Times, job: str, than: str) -> float:
    """Return how many times faster a job is than another: the median over rounds."""
    pairs = zip(times[than], times[job], strict=True)
    return median(other / mine for other, mine in pairs)


def show(times: Times, claims: Mapping[str, tuple[str, float | None]]) -> None:
    """Print a row per job: median, spread, and how it stands to the job it claims on.

    A claim names another job, and how many times faster than that it is to be.
    """
    print(f"{'':50} {'median':>9} {'fastest':>9} {'slowest':>9} {'ratio':>7}  goal")
    for name, seconds in times.items():
        line = (
            f"{name:50} {1000 * median(seconds):6.0f} ms {1000 * min(seconds):6.0f} ms "
            f"{1000 * max(seconds):6.0f} ms"
        )
        if name in claims:
            than, goal = claims[name]
            ratio = faster(times, name, than)
            line += f" {ratio:7.2f}"
            if goal is not None:
                line += f"  {goal:g}" + ("" if ratio >= goal else "  MISSED")
        print(line)
    print()
