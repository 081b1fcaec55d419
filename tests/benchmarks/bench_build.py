# SPDX-License-Identifier: GPL-3.0-or-later
"""How long ten thousand builds take, against a loop of direct solves; and whole sheets.

Run it by hand: ``python tests/benchmarks/bench_build.py``. All figures come from one
run; on a shared machine trust the ratios. The loop is extrapolated from a timed sample.
No test, and never collected as one.
"""

import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from statistics import median

import numpy as np

from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Hookup, Pickup, join
from tonebench.circuit.parts import Part
from tonebench.network.builds import Builds
from tonebench.network.nodal import Network
from tonebench.study.tolerance import draw, factors, refs_of, tolerances

BUILDS, HZ = 10_000, np.geomspace(20, 20_000, 500)
SAMPLE = 3
GOAL_S, GOAL_RATIO = 1.5, 200
COIL = Pickup("sedge", 6100.0, 2.2, 120e-12, losses_ohm=330e3)
HOOKUP = Hookup({"": COIL}, cable_farad=700e-12, load_ohm=10e3)
FIELDS = ("resistance_ohm", "capacitance_farad", "inductance_henry")


def seconds(job: Callable[[], object], runs: int = 3) -> float:
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        job()
        times.append(time.perf_counter() - start)
    return median(times)


def with_value(part: Part, factors_by_ref: dict[str, float]) -> Part:
    field = next((f for f in FIELDS if hasattr(part, f)), None)
    if field is None or part.ref not in factors_by_ref:
        return part
    return replace(part, **{field: getattr(part, field) * factors_by_ref[part.ref]})


def row(name: str) -> None:
    circuit = read_circuit(name)
    chain = join(circuit, HOOKUP)
    network, parts = Network(chain), tolerances(circuit)
    refs = refs_of(parts)

    def ours() -> None:
        builds = Builds(network, {}, refs)
        builds.roots(factors(parts, draw(parts, BUILDS))).level_db(HZ)

    def loop() -> None:
        """Build and solve each one alone, frequency by frequency."""
        for build in factors(parts, draw(parts, SAMPLE)):
            by_ref = dict(zip(refs, build, strict=True))
            changed = tuple(with_value(part, by_ref) for part in chain.parts)
            other = Network(replace(chain, parts=changed))
            m = other.at(other.setting({}))
            reactive = m.reactive_left @ m.reactive_right.T
            for hz in HZ:
                pencil = m.conductance + 2j * np.pi * hz * reactive
                np.linalg.solve(pencil, m.drive)

    ours_s = seconds(ours)
    loop_s = seconds(loop) * BUILDS / SAMPLE
    print(
        f"{name:10} {len(refs):5} {ours_s:8.2f} s {loop_s:9.0f} s "
        f"{loop_s / ours_s:8.0f} ×   goal {GOAL_S} s, {GOAL_RATIO} ×"
    )


def sheet(*words: str) -> None:
    command = [sys.executable, "-m", "tonebench", *words]
    done = seconds(lambda: subprocess.run(command, check=True, capture_output=True))
    print(f"{' '.join(words):55} {done:6.2f} s")


def main() -> None:
    print(f"{BUILDS} builds at {len(HZ)} frequencies, and a loop of direct solves")
    print("circuit    parts     ours      loop      ratio")
    for name in ("tern", "plover", "whimbrel", "dunlin"):
        row(name)
    print("\nwhole processes")
    sheet("build", "plover", "--pickup", "sedge", "--cable", "700p")
    sheet("build", "tern", "--take", "harbour-walk", "--battery", "7.4")
    sheet("notes", "tern", "--against", "plover", "--note", "B0")
    sheet("notes", "tern", "--against", "plover", "--take", "harbour-low")


if __name__ == "__main__":
    main()
