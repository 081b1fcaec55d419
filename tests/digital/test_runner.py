# SPDX-License-Identifier: GPL-3.0-or-later
"""A stream cut into blocks of any size is the same stream, to the last bit."""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.hookup import Hookup, join
from tonebench.digital.cascade import Cascade, design
from tonebench.digital.runner import Runner
from tonebench.network.nodal import Network
from tonebench.network.roots import find_roots

Real = NDArray[np.float64]
Reader = Callable[[str], Circuit]


@pytest.fixture
def cascade(reference: Reader, with_pickup: Hookup) -> Cascade:
    network = Network(join(reference("swept_bell"), with_pickup))
    (roots,) = find_roots(network, {"bell": 8, "level": 7})
    return design(roots, 48000)


def noise(frames: int, channels: int) -> Real:
    return np.random.default_rng(5).standard_normal((frames, channels))


def in_blocks(runner: Runner, samples: Real, size: int) -> Real:
    starts = range(0, max(len(samples), 1), size)
    blocks = [runner.process(samples[start : start + size]) for start in starts]
    return np.concatenate(blocks)


@pytest.mark.parametrize("size", [1, 17, 64, 509, 4096])
@pytest.mark.parametrize("frames", [0, 1, 2, 1003])
@pytest.mark.parametrize("channels", [1, 2, 3])
def test_blocks_of_any_size_give_the_same_bits(
    cascade: Cascade, size: int, frames: int, channels: int
) -> None:
    samples = noise(frames, channels)
    at_once = Runner(cascade, channels).process(samples)
    assert at_once.shape == (frames, channels)
    assert at_once.dtype == np.float64
    assert np.array_equal(in_blocks(Runner(cascade, channels), samples, size), at_once)


def test_blocks_of_changing_size_and_empty_ones_give_the_same_bits(
    cascade: Cascade,
) -> None:
    samples = noise(1003, 2)
    runner, found, start = Runner(cascade, 2), [], 0
    for size in (0, 1, 0, 500, 2, 0, 499, 1, 0):
        found.append(runner.process(samples[start : start + size]))
        start += size
    assert np.array_equal(np.concatenate(found), Runner(cascade, 2).process(samples))


def test_channels_do_not_hear_each_other(cascade: Cascade) -> None:
    samples = noise(700, 3)
    together = Runner(cascade, 3).process(samples)
    for k in range(3):
        alone = Runner(cascade, 1).process(samples[:, k : k + 1])
        assert np.array_equal(together[:, k], alone[:, 0])


def test_impulse_response_has_the_spectrum_of_the_cascade(cascade: Cascade) -> None:
    # 2^18 frames: the slowest pole, that of a coupling capacitor, has died away
    frames = 2**18
    impulse = np.zeros((frames, 1))
    impulse[0] = 1
    heard = Runner(cascade, 1).process(impulse)[:, 0]
    assert np.abs(heard[-100:]).max() < 1e-12
    frequency_hz = np.arange(frames // 2 + 1) * 48000.0 / frames
    off = np.abs(np.fft.rfft(heard) - cascade.response(frequency_hz))
    assert off.max() < 1e-10


def test_output_follows_the_difference_equation() -> None:
    # y[n] = b0·x[n] + b1·x[n−1] + b2·x[n−2] − a1·y[n−1] − a2·y[n−2], written out
    b0, b1, b2, a1, a2 = 0.4, -0.1, 0.25, -1.2, 0.6
    x = noise(50, 1)
    y = np.zeros_like(x)
    for n in range(50):
        older_x = [x[n - k, 0] if n >= k else 0.0 for k in (1, 2)]
        older_y = [y[n - k, 0] if n >= k else 0.0 for k in (1, 2)]
        y[n, 0] = b0 * x[n, 0] + b1 * older_x[0] + b2 * older_x[1]
        y[n, 0] -= a1 * older_y[0] + a2 * older_y[1]
    got = Runner(Cascade(np.array([[b0, b1, b2, 1, a1, a2]]), 48000), 1).process(x)
    np.testing.assert_allclose(got, y, rtol=1e-12, atol=1e-14)


def test_reset_forgets_all_that_was_heard(cascade: Cascade) -> None:
    samples = noise(300, 2)
    runner = Runner(cascade, 2)
    first = runner.process(samples)
    assert not np.array_equal(runner.process(samples), first)
    runner.reset()
    assert np.array_equal(runner.process(samples), first)


def test_two_runners_of_one_cascade_do_not_share_their_memory(cascade: Cascade) -> None:
    one, other = Runner(cascade, 1), Runner(cascade, 1)
    one.process(noise(100, 1))
    assert np.array_equal(
        other.process(noise(50, 1)), Runner(cascade, 1).process(noise(50, 1))
    )


def test_input_and_result_keep_apart(cascade: Cascade) -> None:
    samples = noise(40, 2)
    kept = samples.copy()
    runner = Runner(cascade, 2)
    out = runner.process(samples)
    assert np.array_equal(samples, kept)
    empty = samples[:0]
    assert runner.process(empty) is not empty
    out[:] = 0
    again = Runner(cascade, 2)
    again.process(kept)
    assert np.array_equal(runner.process(kept), again.process(kept))


def test_silent_cascade_gives_exact_zeros_and_a_gain_is_exact() -> None:
    samples = noise(100, 2)
    silent = Cascade(np.array([[0.0, 0, 0, 1, 0, 0]]), 44100)
    assert not Runner(silent, 2).process(samples).any()
    third = Cascade(np.array([[1 / 3, 0, 0, 1, 0, 0]]), 44100)
    assert np.array_equal(Runner(third, 2).process(samples), samples * (1 / 3))
