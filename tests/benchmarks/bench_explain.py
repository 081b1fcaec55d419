# SPDX-License-Identifier: GPL-3.0-or-later
"""How long explain, its two questions, and nearest take, alone and as whole processes.

Run it by hand: ``python tests/benchmarks/bench_explain.py``. On a shared machine trust
the processor's time. No test, and never collected as one.
"""

import resource
import subprocess
import sys
import time
from collections.abc import Callable

from tonebench.circuit.files import read_circuit, read_pickup
from tonebench.circuit.hookup import Hookup
from tonebench.plan.comparison import Side
from tonebench.study.against import against
from tonebench.study.aim import parse_aim
from tonebench.study.explain import explain
from tonebench.study.nearest import nearest
from tonebench.study.ways import ways_to

GOAL_EXPLAIN_S, GOAL_NEAREST_S = 2.0, 0.25
HOOKUP = ("--pickup", "sedge", "--cable", "700p", "--load", "10k")
NAMES = ("tern", "plover", "dunlin", "whimbrel")


def best_s(job: Callable[[], object], times: int = 3) -> float:
    """Return the least processor time of a job, in s."""
    found = []
    for _ in range(times):
        start = time.process_time()
        job()
        found.append(time.process_time() - start)
    return min(found)


def process_s(*words: str) -> tuple[float, float]:
    """Return wall and processor time of a whole command."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    start = time.perf_counter()
    command = [sys.executable, "-m", "tonebench", *words]
    subprocess.run(command, check=True, capture_output=True)
    wall = time.perf_counter() - start
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return wall, used


def main() -> None:
    """Print the table."""
    around = Hookup({"": read_pickup("sedge")}, cable_farad=700e-12, load_ohm=10e3)
    sides = {name: Side(read_circuit(name), around) for name in NAMES}
    print(f"explain as a whole process, goal {GOAL_EXPLAIN_S:g} s: wall, processor")
    for name in NAMES:
        wall, used = process_s("explain", name, *HOOKUP)
        print(f"  {name:10} {wall:6.2f} {used:6.2f}")
    print("processor time inside one process, in s")
    for name, side in sides.items():
        print(f"  explain {name:20} {best_s(lambda side=side: explain(side)):6.3f}")
    tern, plover = sides["tern"], sides["plover"]
    print(
        f"  tern against plover          {best_s(lambda: against(tern, plover)):6.3f}"
    )
    for text in ("high-pass=25", "bass=12dB", "flat", "peak=3.5k"):
        aim = parse_aim(text, plover)
        took = best_s(lambda aim=aim: ways_to(plover, aim))
        print(f"  plover, aim {text:16} {took:6.3f}")
    print(f"nearest, goal {GOAL_NEAREST_S:g} s for three knobs")
    for b, held in (("tern", {}), ("plover", {"level": 10}), ("plover", {})):
        chain = sides[b].chain
        knobs = len(sides[b].circuit.knobs) - len(held)
        for a in NAMES:
            took = best_s(
                lambda a=a, c=chain, h=held: nearest(sides[a].chain, [{}], c, h)
            )
            print(f"  {a:10} {b:10} {knobs} knobs {took:6.3f}")


if __name__ == "__main__":
    main()
