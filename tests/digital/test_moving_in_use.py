# SPDX-License-Identifier: GPL-3.0-or-later
"""Moves where they are used: wild ones, switches, several inputs that are summed."""

from collections.abc import Iterable, Sequence

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from tonebench.circuit.controls import Settings
from tonebench.circuit.files import read_circuit, read_pickup
from tonebench.circuit.hookup import Chain, Hookup, join
from tonebench.digital.cascade import Cascade, aligned, design, lead_frames
from tonebench.digital.moving import STEP_FRAMES, Designs, MovingRunner
from tonebench.digital.runner import Runner
from tonebench.network.nodal import Network
from tonebench.network.roots import find_roots
from tonebench.plan.moves import Schedule, moving_setting
from tonebench.shipped import find

Real = NDArray[np.float64]

RATE = 48_000


def chain_of(name: str) -> Chain:
    sedge = read_pickup("sedge")
    return join(read_circuit(name), Hookup({"": sedge}, 0.0, 700e-12, load_ohm=1e6))


def walk(seconds: int) -> Real:
    """Return the start of a shipped take: strong strokes, and all lows of a bass."""
    path = find("harbour-walk", "take").with_suffix("").with_suffix(".flac")
    samples, rate = soundfile.read(path, frames=seconds * RATE, always_2d=True)
    assert rate == RATE
    return np.asarray(samples)


def filters_anywhere(name: str, count: int, seed: int) -> list[Cascade]:
    """Return filters of random settings, knobs often at their ends, switches too."""
    chain = chain_of(name)
    network, random = Network(chain), np.random.default_rng(seed)
    found = []
    for _ in range(count):
        setting: dict[str, float | str] = {}
        for knob in chain.circuit.knobs:
            anywhere = (0.0, 10.0, random.uniform(0, 10), random.uniform(0, 10))
            setting[knob.name] = float(random.choice(anywhere))
        for switch in chain.circuit.switches:
            setting[switch.name] = str(random.choice(switch.positions))
        found.append(design(find_roots(network, setting)[0], RATE))
    return found


@pytest.mark.parametrize("name", ["tern", "plover", "whimbrel", "dunlin"])
def test_jumps_at_every_step_stay_within_the_loudest_fixed_setting(name: str) -> None:
    """Ten minutes of it: tests/benchmarks/bench_moves.py."""
    random = np.random.default_rng(4)
    filters = filters_anywhere(name, 30, seed=8)
    samples = walk(3) + 0.05 * random.standard_normal((3 * RATE, 1))
    loudest = max(np.abs(Runner(f, 1).process(samples)).max() for f in filters)
    steps = range(len(samples) // STEP_FRAMES)
    jumps = [(step, filters[random.integers(len(filters))]) for step in steps]
    out = MovingRunner(jumps, 1).process(samples)
    assert np.abs(out).max() <= 1.01 * loudest


def test_switch_moves_and_comes_to_rest_as_if_it_had_always_stood_there() -> None:
    chain = chain_of("whimbrel")
    moves = {"corner": [[0, "25"], [0.5, "75"]], "bell": 8}
    schedule = moving_setting(chain.controls, moves).schedule(RATE)
    assert [step for step, _ in schedule] == [0, 375]
    network = Network(chain)
    designs = Designs(schedule, lambda s: (design(find_roots(network, s)[0], RATE),))
    samples = walk(2)
    out = MovingRunner(designs.channel()).process(samples)
    (before,), (after,) = (cascades for _, cascades in designs)
    at = (375 + 2) * STEP_FRAMES
    assert np.array_equal(out[:at], Runner(before, 1).process(samples[:at]))
    off = out - Runner(after, 1).process(samples)
    # the high-pass of 75 Hz forgets at once, the input's coupling of 2 Hz in a second
    assert np.abs(off[at + 64 :]).max() < 10 ** (-50 / 20) * np.abs(out).max()
    assert np.abs(off[-RATE // 4 :]).max() < 10 ** (-90 / 20) * np.abs(out).max()


class MovingSum:
    """Drop-in for what runs a take: a filter per input, all following one schedule."""

    def __init__(self, designs: Designs, inputs: int) -> None:
        self.runners = [MovingRunner(designs.channel(k)) for k in range(inputs)]

    def process(self, block: Real) -> Real:
        outputs = [r.process(block[:, [k]]) for k, r in enumerate(self.runners)]
        return np.sum(outputs, axis=0)

    def reset(self) -> None:
        for runner in self.runners:
            runner.reset()


def harness_filters(network: Network, setting: Settings) -> tuple[Cascade, ...]:
    """Return one filter per input, aligned as filters that are summed must be."""
    found = []
    for roots in find_roots(network, setting):
        cascade = design(roots, RATE)
        found.append(aligned(cascade, lead_frames(cascade, roots)))
    return tuple(found)


def in_blocks(runner: MovingSum, samples: Real, sizes: Sequence[int]) -> Real:
    done, start = [], 0
    while start < len(samples):
        size = sizes[len(done) % len(sizes)]
        done.append(runner.process(samples[start : start + size]))
        start += size
    return np.concatenate(done)


def harness_schedule(chain: Chain) -> Schedule:
    moves = {
        "neck": [[0, 10], [0.3, 0]],
        "tone": [[0.1, 10], [0.4, 2]],
        "mode": [[0, "volumes"], [0.6, "blend"]],
        "blend": 7,
    }
    return moving_setting(chain.controls, moves).schedule(RATE)


def test_several_inputs_follow_one_schedule_and_are_summed() -> None:
    chain = chain_of("dunlin")
    network = Network(chain)
    schedule = harness_schedule(chain)
    designs = Designs(schedule, lambda setting: harness_filters(network, setting))
    samples = np.random.default_rng(3).standard_normal((2 * RATE, 2))
    runner = MovingSum(designs, 2)
    out = runner.process(samples)
    assert out.shape == (2 * RATE, 1)
    runner.reset()
    assert np.array_equal(in_blocks(runner, samples, (509, 1, 64, 4096)), out)
    at_rest = harness_filters(network, list(schedule)[-1][1])
    alone = [Runner(f, 1).process(samples[:, [k]]) for k, f in enumerate(at_rest)]
    end = slice(-RATE, None)
    total = np.sum(alone, axis=0)
    assert np.abs(out - total)[end].max() < 1e-5 * np.abs(total).max()


def test_one_input_with_two_channels_is_each_channel_alone() -> None:
    chain = chain_of("plover")
    network = Network(chain)
    moves = {"bass": [[0, 0], [0.2, 10]]}
    schedule = moving_setting(chain.controls, moves).schedule(RATE)
    designs = Designs(schedule, lambda s: (design(find_roots(network, s)[0], RATE),))
    samples = np.random.default_rng(3).standard_normal((RATE // 2, 2))
    both = MovingRunner(designs.channel(), 2).process(samples)
    for k in (0, 1):
        alone = MovingRunner(designs.channel()).process(samples[:, [k]])
        assert np.array_equal(both[:, [k]], alone)


def fade_through(changes: Iterable[tuple[int, Cascade]], hz: float) -> Real:
    """Return how loud a sine stays during a fade, its level before being 1."""
    time = np.arange(RATE // 2) / RATE
    outs = [
        MovingRunner(changes).process(wave(2 * np.pi * hz * time)[:, None])[:, 0]
        for wave in (np.cos, np.sin)
    ]
    return np.hypot(*outs)


@pytest.mark.parametrize(("hz", "loss_db"), [(3_000.0, 0.05), (10_000.0, 0.7)])
def test_leads_that_differ_by_half_a_frame_cost_a_fade_little(
    hz: float, loss_db: float
) -> None:
    """Half of a vector and half of one turned by φ: cos(φ/2) at the fade's middle.

    Half a frame is the most that settings of a shipped circuit differ by; as an
    all-pass it is a little more at 10 kHz.
    """
    straight = Cascade(np.array([[1.0, 0, 0, 1, 0, 0]]), RATE)
    late = aligned(straight, 0.5)
    level = fade_through([(0, late), (200, straight)], hz)[64 * 100 : 64 * 300]
    turn = np.angle(late.response(np.array([hz]))[0])
    wanted = 1 - np.cos(turn / 2)
    assert 1 - level.min() == pytest.approx(wanted, rel=0.05)
    assert -20 * np.log10(level.min()) < loss_db
