# SPDX-License-Identifier: GPL-3.0-or-later
"""Filters that take turns: the same bits however cut, and nothing but a plain fade."""

from collections.abc import Iterator

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import sosfilt

from tonebench.circuit.controls import Settings
from tonebench.circuit.files import read_circuit, read_pickup
from tonebench.circuit.hookup import Hookup, join
from tonebench.digital.cascade import Cascade, design
from tonebench.digital.moving import (
    STEP_FRAMES,
    STEPS_OF_DELAY,
    Designs,
    MovingRunner,
    warm_up_frames,
)
from tonebench.digital.runner import Runner
from tonebench.errors import RequestError
from tonebench.network.nodal import Network
from tonebench.network.roots import find_roots

Real = NDArray[np.float64]
Changes = list[tuple[int, Cascade]]

RATE = 48_000


@pytest.fixture(scope="module")
def bells() -> list[Cascade]:
    """Return filters of plover: the bell from cut to boost, the rest elsewhere."""
    hookup = Hookup({"": read_pickup("sedge")}, cable_farad=700e-12, load_ohm=1e6)
    network = Network(join(read_circuit("plover"), hookup))
    settings = [{"bell": p, "bass": 10 - p, "centre": p / 2} for p in (0.0, 3.0, 10.0)]
    return [design(find_roots(network, at)[0], RATE) for at in settings]


@pytest.fixture
def changes(bells: list[Cascade]) -> Changes:
    """Return changes early, next to each other, far apart, and after the end."""
    steps = [0, 1, 2, 3, 70, 71, 900, 1561, 40_000]
    return [(step, bells[k % 3]) for k, step in enumerate(steps)]


def gain(value: float) -> Cascade:
    return Cascade(np.array([[value, 0, 0, 1, 0, 0]]), RATE)


def noise(frames: int, channels: int = 1) -> Real:
    return np.random.default_rng(5).standard_normal((frames, channels))


def in_blocks(runner: MovingRunner, samples: Real, size: int) -> Real:
    starts = range(0, max(len(samples), 1), size)
    blocks = [runner.process(samples[start : start + size]) for start in starts]
    return np.concatenate(blocks)


@pytest.mark.parametrize("frames", [0, 1, 2, 63, 64, 193, 5003])
@pytest.mark.parametrize("channels", range(1, 9))
def test_blocks_of_any_size_give_the_same_bits(
    changes: Changes, frames: int, channels: int
) -> None:
    samples = noise(frames, channels)
    at_once = MovingRunner(changes, channels).process(samples)
    assert at_once.shape == (frames, channels)
    assert at_once.dtype == np.float64
    for size in (1, 17, 64, 509, 4096):
        runner = MovingRunner(changes, channels)
        assert np.array_equal(in_blocks(runner, samples, size), at_once)


@pytest.mark.parametrize(
    ("size", "channels"), [(1, 1), (17, 2), (64, 3), (509, 5), (4096, 8)]
)
def test_blocks_of_any_size_give_the_same_bits_for_long(
    changes: Changes, size: int, channels: int
) -> None:
    samples = noise(100_003, channels)
    at_once = MovingRunner(changes, channels).process(samples)
    runner = MovingRunner(changes, channels)
    assert np.array_equal(in_blocks(runner, samples, size), at_once)


def as_written(changes: Changes, samples: Real) -> Real:
    """Return what the rule says, without any stream: whole runs, cut and mixed.

    Each cascade starts from rest 4096 frames before its fade, its input faded in over
    the first 2048 of them, silence standing before the stream.
    """
    before = np.concatenate([np.zeros((4096, samples.shape[1])), samples])
    out = np.asarray(sosfilt(changes[0][1].sections.copy(), samples, axis=0))
    for step, cascade in changes[1:]:
        start = 64 * (step + 2)
        if start >= len(samples):
            break
        heard = before[start:].copy()
        heard[:2048] *= np.arange(2048)[:, None] / 2048
        new = sosfilt(cascade.sections.copy(), heard, axis=0)[4096:]
        weight = np.minimum(np.arange(len(new)) / 64, 1)[:, None]
        mixed = out[start:] + weight * (new - out[start:])
        out[start:] = np.where(weight == 1, new, mixed)
    return out


def test_stream_is_what_the_rule_says(changes: Changes) -> None:
    samples = noise(100_003, 2)
    got = MovingRunner(changes, 2).process(samples)
    wanted = as_written(changes, samples)
    assert np.abs(got - wanted).max() < 1e-12  # kernels may differ by ulps


def test_without_changes_it_is_the_plain_filter(bells: list[Cascade]) -> None:
    samples = noise(9001, 2)
    got = MovingRunner([(0, bells[1])], 2).process(samples)
    assert np.array_equal(got, Runner(bells[1], 2).process(samples))


def test_change_fades_in_two_steps_after_it_was_asked_for() -> None:
    """A constant through gains: a straight line over one step, exact to the frame."""
    ones = np.ones((64 * 12, 1))
    out = MovingRunner([(0, gain(1)), (5, gain(-3))], 1).process(ones)[:, 0]
    assert STEP_FRAMES == 64
    assert STEPS_OF_DELAY == 2
    start = 64 * (5 + 2)
    assert np.array_equal(out[:start], np.ones(start))
    line = 1 - 4 * np.arange(64) / 64
    np.testing.assert_allclose(out[start : start + 64], line, rtol=0, atol=1e-15)
    assert np.array_equal(out[start + 64 :], np.full(64 * 4, -3.0))


def test_changes_at_every_step_join_their_ends() -> None:
    """Straight lines from gain to gain, as numpy's interpolation draws them."""
    gains = [1.0, -1.0, 0.0, 2.0, 2.0, 0.5]
    ones = np.ones((64 * 12, 1))
    out = MovingRunner([(k, gain(g)) for k, g in enumerate(gains)], 1).process(ones)
    corners = 64 * (np.arange(6) + STEPS_OF_DELAY)
    wanted = np.interp(np.arange(len(ones)) - 64, corners, gains)
    np.testing.assert_allclose(out[:, 0], wanted, rtol=0, atol=1e-14)


def test_polarity_and_silence_fade_without_a_jump(bells: list[Cascade]) -> None:
    flipped = Cascade(bells[0].sections.copy(), RATE)
    sections = flipped.sections.copy()
    sections[0, :3] *= -1
    order = [bells[0], Cascade(sections, RATE), gain(0.0), bells[0]]
    changes = [(300 * k, cascade) for k, cascade in enumerate(order)]
    samples = np.sin(2 * np.pi * 100 * np.arange(1200 * 64) / RATE)[:, None]
    out = MovingRunner(changes, 1).process(samples)[:, 0]
    alone = Runner(bells[0], 1).process(samples)[:, 0]
    steepest = np.abs(np.diff(alone)).max()
    # a whole turn of polarity: two peaks in 64 frames
    assert np.abs(np.diff(out)).max() < steepest + 2 * np.abs(alone).max() / 64
    assert not out[64 * 603 : 64 * 902].any()
    assert np.abs(out).max() <= np.abs(alone).max() * 1.001


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000, 192_000])
def test_after_a_move_it_is_the_filter_that_never_moved(rate: int) -> None:
    """A pole at 16 Hz is down by e⁻⁸·⁶ after 85 ms; −100 dB after 115 ms."""
    hookup = Hookup({"": read_pickup("sedge")}, cable_farad=700e-12, load_ohm=1e6)
    network = Network(join(read_circuit("dunlin"), hookup))
    cascades = [
        design(find_roots(network, {"tone": tone}, drive="together")[0], rate)
        for tone in (2.0, 9.0)
    ]
    samples = noise(rate)
    got = MovingRunner([(0, cascades[0]), (100, cascades[1])], 1).process(samples)
    alone = Runner(cascades[1], 1).process(samples)
    since = (100 + STEPS_OF_DELAY + 1) * STEP_FRAMES
    assert np.abs(got - alone)[since:].max() < 1e-5 * np.abs(alone).max()


@pytest.mark.parametrize(
    ("rate", "frames"), [(44_100, 3776), (48_000, 4096), (96_000, 8192), (8_000, 704)]
)
def test_warm_up_is_85_ms_in_whole_steps(rate: int, frames: int) -> None:
    assert warm_up_frames(rate) == frames
    assert frames % STEP_FRAMES == 0
    assert frames / rate == pytest.approx(0.0853, abs=STEP_FRAMES / 2 / rate)


def test_reset_forgets_all_and_starts_with_the_first_cascade(changes: Changes) -> None:
    samples = noise(6000, 2)
    runner = MovingRunner(changes, 2)
    first = runner.process(samples)
    assert not np.array_equal(runner.process(samples), first)
    runner.reset()
    assert np.array_equal(runner.process(samples), first)


def test_input_is_left_alone(changes: Changes) -> None:
    samples = noise(6000)
    kept = samples.copy()
    MovingRunner(changes).process(samples)
    assert np.array_equal(samples, kept)


@pytest.mark.parametrize(
    ("steps", "told"),
    [
        ([], "the first cascade of a move must stand at step 0"),
        ([1, 2], "the first cascade of a move must stand at step 0"),
        ([0, 0], "the steps of a move must rise, got step 0 after 0"),
        ([0, 9, 4], "the steps of a move must rise, got step 4 after 9"),
    ],
)
def test_changes_out_of_order_are_refused(steps: list[int], told: str) -> None:
    with pytest.raises(RequestError, match=told):
        MovingRunner([(step, gain(1)) for step in steps]).process(noise(5000))


def test_settings_are_designed_once_and_when_the_stream_gets_there() -> None:
    designed: list[float | str] = []

    def design_at(setting: Settings) -> tuple[Cascade, ...]:
        designed.append(setting["level"])
        return gain(float(setting["level"])), gain(-float(setting["level"]))

    schedule = [(0, {"level": 1.0}), (4, {"level": 2.0}), (9, {"level": 1.0})]
    schedule += [(100, {"level": 3.0})]
    designs = Designs(schedule, design_at)
    left, right = (MovingRunner(designs.channel(k)) for k in (0, 1))
    ones = np.ones((64 * 20, 1))
    assert designed == [1.0, 2.0]
    out = left.process(ones)
    assert np.array_equal(right.process(ones), -out)
    assert designed == [1.0, 2.0, 3.0]
    left.reset()
    assert np.array_equal(left.process(ones), out)
    assert designed == [1.0, 2.0, 3.0]


def endless(cascades: list[Cascade]) -> Iterator[tuple[int, Cascade]]:
    step = 0
    while True:
        yield step, cascades[step % len(cascades)]
        step += 1


def test_changes_may_come_without_end(bells: list[Cascade]) -> None:
    out = MovingRunner(endless(bells), 1).process(noise(6400))
    assert np.isfinite(out).all()
