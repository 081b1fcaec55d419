# SPDX-License-Identifier: GPL-3.0-or-later
"""Figures of ``traits``: the batch against single solves, and the whole process.

Run it with OPENBLAS_NUM_THREADS=1, as the command itself does: on matrices of forty
rows several threads only wait for each other.
"""

import itertools
import subprocess
import sys
import time
from collections.abc import Callable

import numpy as np

from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import join
from tonebench.network.batch import responses
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.plan.asked_hookup import hookup_from

HOUSE = {"pickup": "sedge", "cable": "700p", "load": "10k"}
HZ = np.geomspace(10, 24_000, 1000)


def best_s(work: Callable[[], object], times: int = 5) -> float:
    """Return the shortest of several runs, in seconds."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return min(found)


def bench_batch(name: str, knobs: tuple[str, ...]) -> None:
    network = Network(join(read_circuit(name), hookup_from(HOUSE)))
    settings = [
        dict(zip(knobs, positions, strict=True))
        for positions in itertools.product((0.0, 5.0, 10.0), repeat=len(knobs))
    ]
    many = best_s(lambda: responses(network, settings, HZ))
    single = best_s(lambda: [response(network, each, HZ) for each in settings], 2)
    print(
        f"{name}: {len(settings)} settings at {len(HZ)} frequencies: "
        f"{1e3 * many:.1f} ms, one by one {1e3 * single:.0f} ms, {single / many:.0f} x"
    )


def bench_command(name: str) -> None:
    words = ["traits", name, "--json"]
    words += [word for key, value in HOUSE.items() for word in (f"--{key}", value)]
    command = [sys.executable, "-m", "tonebench", *words]
    took = best_s(lambda: subprocess.run(command, check=True, capture_output=True))
    print(f"tonebench traits {name}: {took:.2f} s, whole process")


if __name__ == "__main__":
    bench_batch("plover", ("bass", "bell", "centre"))
    bench_batch("dunlin", ("neck", "bridge", "tone"))
    for circuit in ("tern", "plover", "whimbrel", "dunlin"):
        bench_command(circuit)
