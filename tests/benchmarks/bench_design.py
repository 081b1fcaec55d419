# SPDX-License-Identifier: GPL-3.0-or-later
"""How long one setting takes from knob to filter, against the naive way to its curve.

Run it by hand: ``python tests/benchmarks/bench_design.py``. All figures of a table come
from one run; on a shared machine trust the ratios. No test, and never collected as one.
"""

import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

import numpy as np

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.controls import Settings
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Hookup, Pickup, join
from tonebench.digital.cascade import design
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.network.roots import find_roots

REFERENCE = Path(__file__).parents[1] / "reference_circuits"
RATE_HZ = 48000
GOAL_MS = 2.0
FREQUENCY_HZ = np.geomspace(20, 20e3, 500)
COIL = Pickup("sedge", 6100.0, 2.2, 120e-12, losses_ohm=330e3)
HOOKUP = Hookup({"": COIL}, cable_farad=700e-12, load_ohm=1e6)


def median_ms(job: Callable[[], object], seconds: float = 0.4) -> float:
    """Return the median time of a job in ms, over at least 5 runs and `seconds`."""
    job()
    times: list[float] = []
    while len(times) < 5 or sum(times) < seconds:
        start = time.perf_counter()
        job()
        times.append(time.perf_counter() - start)
    return 1000 * median(times)


def one_by_one(network: Network, setting: Settings) -> None:
    """Solve for each frequency alone, as a first program would."""
    m = network.at(setting)
    reactive = m.reactive_left @ m.reactive_right.T
    for frequency in FREQUENCY_HZ:
        np.linalg.solve(m.conductance + 2j * np.pi * frequency * reactive, m.drive)


def measure(circuit: Circuit) -> None:
    """Print one row for a circuit with a pickup before it."""
    network = Network(join(circuit, HOOKUP))
    setting = network.setting({knob.name: 6.5 for knob in circuit.knobs})
    roots = find_roots(network, setting)
    solve = median_ms(lambda: find_roots(network, setting))
    filters = median_ms(lambda: [design(found, RATE_HZ) for found in roots])
    curve = median_ms(lambda: [found.response(FREQUENCY_HZ) for found in roots])
    direct = median_ms(lambda: response(network, setting, FREQUENCY_HZ))
    loop = median_ms(lambda: one_by_one(network, setting))
    total = solve + filters
    print(
        f"{circuit.name:18} {len(network.at(setting).row):8} {len(roots[0].poles):6} "
        f"{solve:9.2f} {filters:8.2f} {total:8.2f} {curve:8.2f} {direct:8.1f} "
        f"{loop:8.1f} {direct / total:7.1f} {loop / (solve + curve):7.1f} "
        f"{'' if total <= GOAL_MS * len(roots) else 'over the goal'}"
    )


def main() -> None:
    """Print the table."""
    print(f"medians in ms; goal: at most {GOAL_MS:g} for roots and filter of one input")
    print(
        f"{'circuit':18} unknowns  poles     roots   filter    total    curve   direct "
        "    loop  direct    loop"
    )
    print(f"{'':79}500 f    500 f  /total  /curve")
    for name in ("tone_control", "passive_harness", "swept_bell", "phono_two_stage"):
        measure(read_circuit(REFERENCE / f"{name}.toml"))
    for name in ("tern", "plover", "whimbrel", "dunlin"):
        measure(read_circuit(name))


if __name__ == "__main__":
    main()
