# SPDX-License-Identifier: GPL-3.0-or-later
"""What a moving knob costs, and ten minutes of knobs that jump at every step.

Run it by hand: ``python tests/benchmarks/bench_moves.py [MINUTES] [CIRCUIT …]``. All
figures of a table come from one run; on a shared machine trust the ratios. No test, and
never collected as one.
"""

import sys
import time
from collections.abc import Iterable, Iterator

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.files import read_circuit, read_pickup
from tonebench.circuit.hookup import Chain, Hookup, join
from tonebench.digital.cascade import Cascade, design
from tonebench.digital.moving import STEP_FRAMES, Designs, MovingRunner
from tonebench.digital.runner import Runner
from tonebench.network.nodal import Network
from tonebench.network.roots import find_roots
from tonebench.plan.moves import moving_setting

RATE_HZ = 48_000
CIRCUITS = ("tern", "plover", "whimbrel")
SETTINGS = 100
SWEEP_S = 4.0
BLOCK_FRAMES = 65_536
ALLOWED = 1.01

Real = NDArray[np.float64]


def chain_of(name: str) -> Chain:
    """Return a shipped circuit behind a pickup and a lead."""
    sedge = read_pickup("sedge")
    return join(read_circuit(name), Hookup({"": sedge}, 0.0, 700e-12, load_ohm=1e6))


def blocks(minutes: float) -> Iterator[Real]:
    """Yield noise over a low and a middle tone, the same at every call."""
    random, done = np.random.default_rng(9), 0
    while done < minutes * 60 * RATE_HZ:
        at = (done + np.arange(BLOCK_FRAMES)) / RATE_HZ
        tones = np.sin(2 * np.pi * 41.2 * at) + np.sin(2 * np.pi * 1300 * at)
        yield (0.3 * tones + 0.1 * random.standard_normal(BLOCK_FRAMES))[:, None]
        done += BLOCK_FRAMES


def filters_anywhere(chain: Chain) -> list[Cascade]:
    """Return filters of random settings, half of the knobs at their ends."""
    network, random = Network(chain), np.random.default_rng(8)
    found = []
    for _ in range(SETTINGS):
        setting: dict[str, float | str] = {}
        for knob in chain.circuit.knobs:
            anywhere = (0.0, 10.0, random.uniform(0, 10), random.uniform(0, 10))
            setting[knob.name] = float(random.choice(anywhere))
        for switch in chain.circuit.switches:
            setting[switch.name] = str(random.choice(switch.positions))
        found.append(design(find_roots(network, setting)[0], RATE_HZ))
    return found


def jumping(filters: list[Cascade]) -> Iterator[tuple[int, Cascade]]:
    """Yield another filter for every step, without end."""
    random, step = np.random.default_rng(7), 0
    while True:
        for k in random.integers(len(filters), size=4096):
            yield step, filters[k]
            step += 1


def peak(runner: Runner | MovingRunner, sound: Iterable[Real]) -> float:
    """Return the largest sample of a whole run."""
    return max(float(np.abs(runner.process(block)).max()) for block in sound)


def jumps(name: str, minutes: float) -> None:
    """Print one row: the peak of jumps at every step against fixed settings."""
    filters = filters_anywhere(chain_of(name))
    # the loudest in ten seconds of this steady sound, then over the whole of it
    beginning = list(blocks(min(minutes, 1 / 6)))
    first = [peak(Runner(cascade, 1), beginning) for cascade in filters]
    loudest = sorted(zip(first, range(SETTINGS), strict=True))[-3:]
    fixed = max(peak(Runner(filters[k], 1), blocks(minutes)) for _, k in loudest)
    start = time.perf_counter()
    moving = peak(MovingRunner(jumping(filters)), blocks(minutes))
    seconds = time.perf_counter() - start
    steps = minutes * 60 * RATE_HZ / STEP_FRAMES
    print(
        f"{name:10} {minutes:7g} {steps:9.0f} {fixed:8.3f} {moving:8.3f} "
        f"{moving / fixed:7.4f} {1000 * seconds / steps:8.3f} "
        f"{'' if moving <= ALLOWED * fixed else 'over what is allowed'}"
    )


def sweep(name: str) -> None:
    """Print one row: a knob turned from 0 to 10 in four seconds, against none."""
    chain = chain_of(name)
    network, knob = Network(chain), chain.circuit.knobs[0].name
    sound = np.random.default_rng(1).standard_normal((round(SWEEP_S * RATE_HZ), 1))
    moves = {knob: [[0, 0], [SWEEP_S, 10]]}
    schedule = moving_setting(chain.controls, moves).schedule(RATE_HZ)
    designs = Designs(schedule, lambda s: (design(find_roots(network, s)[0], RATE_HZ),))
    times = []
    runner = MovingRunner(designs.channel())
    for _ in range(2):  # the second time, all is designed
        start = time.perf_counter()
        runner.reset()
        runner.process(sound)
        times.append(time.perf_counter() - start)
    ((_, (fixed,)), *_) = designs
    start = time.perf_counter()
    Runner(fixed, 1).process(sound)
    still = time.perf_counter() - start
    count = len(list(schedule))
    print(
        f"{name:10} {knob:8} {count:7} {times[0]:8.2f} {times[1]:8.2f} {still:8.4f} "
        f"{1000 * (times[0] - times[1]) / count:9.3f} {1000 * times[1] / count:9.3f}"
    )


def main(minutes: float, names: tuple[str, ...]) -> None:
    """Print both tables."""
    print("all knobs and switches jump at every step of 64 frames; ms a step")
    print("circuit    minutes     steps    fixed   moving   ratio       ms")
    for name in names:
        jumps(name, minutes)
    print(f"\na knob turned for {SWEEP_S:g} s of sound; seconds in all, ms a step")
    print("circuit    knob       steps      all  designed   still    design    warm-up")
    for name in names:
        sweep(name)


if __name__ == "__main__":
    asked = sys.argv[1:]
    main(float(asked[0]) if asked else 10.0, tuple(asked[1:]) or CIRCUITS)
