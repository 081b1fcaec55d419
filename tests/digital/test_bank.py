# SPDX-License-Identifier: GPL-3.0-or-later
"""Many filters in one pass give what each gives alone, to the last bit.

The outside truth is scipy's `sosfilt`, called here on one column and one cascade at a
time. Every engine that is installed is tried.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from engines import ENGINES
from numpy.typing import DTypeLike, NDArray
from scipy.signal import sosfilt

from tonebench.digital.bank import BankRunner, Feed, side_by_side, summed
from tonebench.digital.cascade import Cascade
from tonebench.digital.kernel.engine import Engine, chosen
from tonebench.digital.runner import Runner
from tonebench.errors import AudioError, RequestError

Real = NDArray[np.float64]


@pytest.fixture(params=ENGINES)
def engine(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Engine:
    monkeypatch.setenv("TONEBENCH_KERNEL", request.param)
    return chosen()


def random_cascade(sections: int, seed: int = 0) -> Cascade:
    """Draw stable sections with resonances of every strength."""
    rng = np.random.default_rng([sections, seed])
    rows = []
    for _ in range(sections):
        pole = rng.uniform(0.1, 0.999) * np.exp(1j * rng.uniform(0, np.pi))
        zero = rng.uniform(0.1, 1.1) * np.exp(1j * rng.uniform(0, np.pi))
        above = np.array([1, -2 * zero.real, abs(zero) ** 2]) * rng.uniform(-1, 1)
        rows.append([*above, 1, -2 * pole.real, abs(pole) ** 2])
    return Cascade(np.array(rows), 48000)


def noise(frames: int, channels: int = 1, seed: int = 5) -> Real:
    return np.random.default_rng(seed).standard_normal((frames, channels))


def alone(cascade: Cascade, samples: Real) -> Real:
    """Filter one column by scipy itself."""
    out: Real = sosfilt(cascade.sections.copy(), samples) if len(samples) else samples
    return out


def in_blocks(runner: BankRunner, samples: Real, sizes: Sequence[int]) -> list[Any]:
    """Run a stream through in blocks of these sizes, the rest at once."""
    start, found = 0, []
    for size in sizes:
        found.append(runner.process(samples[start : start + size]))
        start += size
    found.append(runner.process(samples[start:]))
    return [np.concatenate(parts) for parts in zip(*found, strict=True)]


@pytest.mark.parametrize("frames", [0, 1, 2, 5, 12, 13, 1003, 1024, 1025, 3000])
@pytest.mark.parametrize("sections", [1, 2, 4, 6, 8, 9, 12, 13, 24, 25, 60])
def test_every_sample_is_that_of_sosfilt(
    engine: Engine, sections: int, frames: int
) -> None:
    cascade, samples = random_cascade(sections), noise(frames)
    got = Runner(cascade, 1).process(samples)
    assert np.array_equal(got[:, 0], alone(cascade, samples[:, 0]))


@pytest.mark.parametrize("frames", [1, 7, 3000])
def test_clips_of_every_length_of_cascade_stay_apart(
    engine: Engine, frames: int
) -> None:
    cascades = [random_cascade(n, k) for k, n in enumerate((9, 1, 30, 4, 9, 13, 7))]
    samples = noise(frames, 2)
    clips = [side_by_side(cascade, 2) for cascade in cascades]
    for clip, cascade in zip(
        BankRunner(2, clips).process(samples), cascades, strict=True
    ):
        assert clip.shape == (frames, 2)
        for k in range(2):
            assert np.array_equal(clip[:, k], alone(cascade, samples[:, k]))


@pytest.mark.parametrize("channels", range(1, 9))
@pytest.mark.parametrize("size", [1, 17, 64, 509, 4096])
@pytest.mark.parametrize("frames", [0, 1, 2, 100_003])
def test_blocks_of_any_size_give_the_same_bits(
    engine: Engine, frames: int, size: int, channels: int
) -> None:
    cascade, samples = random_cascade(6), noise(frames, channels)
    clips = [side_by_side(cascade, channels)]
    (at_once,) = BankRunner(channels, clips).process(samples)
    assert at_once.shape == (frames, channels)
    # the smallest blocks for a while, and the rest at once: they would take minutes
    sizes = [size] * min(frames // size, 400)
    (parts,) = in_blocks(BankRunner(channels, clips), samples, sizes)
    assert np.array_equal(parts, at_once)


def test_a_whole_stream_frame_by_frame_gives_the_same_bits() -> None:
    cascade, samples = random_cascade(9), noise(20_003)
    runner = Runner(cascade, 1)
    parts = [runner.process(samples[n : n + 1]) for n in range(len(samples))]
    at_once = Runner(cascade, 1).process(samples)
    assert np.array_equal(np.concatenate(parts), at_once)


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
@pytest.mark.parametrize("source", [np.float32, np.float64])
def test_all_engines_give_the_same_bytes(
    monkeypatch: pytest.MonkeyPatch, dtype: DTypeLike, source: DTypeLike
) -> None:
    # scipy's sections run in the same order and uncontracted on x86
    cascades = [random_cascade(n) for n in (9, 6, 13, 3)]
    samples = noise(5000, 3).astype(source)
    clips = [*(side_by_side(cascade, 3) for cascade in cascades), summed(cascades[:3])]
    found = []
    for asked in ENGINES:
        monkeypatch.setenv("TONEBENCH_KERNEL", asked)
        runner = BankRunner(3, clips, dtype=dtype)
        made = in_blocks(runner, samples, [3, 700, 64])
        assert {clip.dtype for clip in made} == {np.dtype(dtype)}
        found.append(b"".join(clip.tobytes() for clip in made))
    assert len(set(found)) == 1


def test_float32_is_the_rounded_float64(engine: Engine) -> None:
    clips, samples = [side_by_side(random_cascade(9), 2)], noise(3000, 2)
    (narrow,) = BankRunner(2, clips, dtype=np.float32).process(samples)
    (wide,) = BankRunner(2, clips).process(samples)
    assert narrow.tobytes() == wide.astype(np.float32).tobytes()


@pytest.mark.parametrize("threads", [2, 3, 8])
@pytest.mark.parametrize("frames", [100, 20_000])
def test_threads_change_no_byte(engine: Engine, threads: int, frames: int) -> None:
    cascades = [random_cascade(n) for n in (9, 8, 1)]
    clips = [*(side_by_side(cascade, 4) for cascade in cascades), summed(cascades[:2])]
    samples = noise(frames, 4)
    one = BankRunner(4, clips).process(samples)
    shared = BankRunner(4, clips, threads=threads)
    first, second = shared.process(samples[:9000]), shared.process(samples[9000:])
    for whole, *parts in zip(one, first, second, strict=True):
        assert np.concatenate(parts).tobytes() == whole.tobytes()


def test_inputs_are_summed_in_their_order(engine: Engine) -> None:
    cascades = [random_cascade(n) for n in (9, 4, 14)]
    samples = noise(3000, 3)
    (total,) = BankRunner(3, [summed(cascades)]).process(samples)
    a, b, c = (alone(cascade, samples[:, k]) for k, cascade in enumerate(cascades))
    assert total.shape == (3000, 1)
    assert np.array_equal(total[:, 0], (a + b) + c)


def test_a_channel_without_a_feed_is_silent_and_a_column_may_feed_many(
    engine: Engine,
) -> None:
    cascade, samples = random_cascade(5), noise(2000, 2)
    clip = [[], [Feed(cascade, 1), Feed(cascade, 1)], [Feed(cascade, 1)]]
    (out,) = BankRunner(2, [clip]).process(samples)
    assert not out[:, 0].any()
    assert np.array_equal(out[:, 1], 2 * out[:, 2])
    assert np.array_equal(out[:, 2], alone(cascade, samples[:, 1]))


def test_a_bank_without_clips_makes_none(engine: Engine) -> None:
    assert BankRunner(2, []).process(noise(50, 2)) == []


def test_a_cascade_without_sections_hands_its_input_on(engine: Engine) -> None:
    samples = noise(1500)
    empty = Cascade(np.empty((0, 6)), 48000)
    assert np.array_equal(Runner(empty, 1).process(samples), samples)


def test_every_zero_is_a_positive_one(engine: Engine) -> None:
    turned = Cascade(np.array([[-1.0, 0, 0, 1, 0, 0]]), 48000)
    for samples in (np.zeros((100, 1)), -np.zeros((100, 1))):
        out = Runner(turned, 1).process(samples)
        assert not np.signbit(out).any()


def test_what_is_not_a_number_stays_in_its_own_channel(engine: Engine) -> None:
    cascade, samples = random_cascade(9), noise(1500, 3)
    samples[700, 1] = np.nan
    out = Runner(cascade, 3).process(samples)
    for k in (0, 2):
        assert np.array_equal(out[:, k], alone(cascade, samples[:, k]))
    assert np.isfinite(out[:700, 1]).all()
    assert np.isnan(out[700:, 1]).all()


def test_a_filter_that_rings_out_reaches_nothing(engine: Engine) -> None:
    # 100 Hz with a time constant of 1.6 ms: below the smallest normal number, 2.2e-308,
    # after 1.2 s at most, where numbers are a hundred times as slow
    cascade = Cascade(
        np.array([[0.01, 0, 0, 1, -1.97, 0.9703], [1, 0, 0, 1, -0.99, 0]]), 48000
    )
    runner = Runner(cascade, 1)
    impulse = np.zeros((480_000, 1))
    impulse[0] = 1
    out = runner.process(impulse)
    truth = alone(cascade, impulse[:, 0])
    assert np.abs(out[:, 0] - truth).max() <= 1e-300
    if engine is not Engine.SCIPY:
        smallest = np.finfo(float).tiny
        assert not ((out != 0) & (np.abs(out) < smallest)).any()
        assert not out[-1000:].any()
        # and nothing is left in the memory that could come out again
        assert not runner.process(np.zeros((1000, 1))).any()


def test_tiny_numbers_still_exist_after_a_run(engine: Engine) -> None:
    # whatever the engine does with them, the processor's mode is put back
    tiny = np.array([5e-324, 1e-310])
    Runner(random_cascade(3), 1).process(noise(5000))
    assert (tiny * 1.0).tolist() == [5e-324, 1e-310]
    assert ((tiny + tiny) != 0).all()


def test_tiny_float32_numbers_come_in_and_go_out_as_they_are(engine: Engine) -> None:
    # subnormal as float32, normal as the float64 in between
    samples = np.array([[1e-40], [1e-44], [-1e-42]], np.float32)
    through = Cascade(np.array([[1.0, 0, 0, 1, 0, 0]]), 48000)
    clips = [side_by_side(through, 1)]
    (out,) = BankRunner(1, clips, dtype=np.float32).process(samples)
    assert np.array_equal(out, samples)


@pytest.mark.parametrize(
    "view",
    [
        lambda x: np.asfortranarray(x),
        lambda x: np.repeat(x, 2, axis=1)[:, ::2],
        lambda x: x[::-1][::-1],
        lambda x: np.rint(x * 100).astype(np.int16),
        lambda x: np.frombuffer(b"." + x.tobytes(), "f8", offset=1).reshape(x.shape),
    ],
    ids=["fortran", "columns", "turned", "integers", "odd address"],
)
def test_a_block_may_lie_in_memory_as_it_likes(engine: Engine, view: Any) -> None:
    cascade, samples = random_cascade(6), view(noise(700, 2))
    out = Runner(cascade, 2).process(samples)
    for k in range(2):
        column = np.ascontiguousarray(samples[:, k], dtype=float)
        assert np.array_equal(out[:, k], alone(cascade, column))


@pytest.mark.parametrize("shape", [(10,), (10, 1), (2, 10), (1, 10, 2)])
def test_a_block_of_another_shape_is_refused(
    engine: Engine, shape: tuple[int, ...]
) -> None:
    with pytest.raises(AudioError, match=r"must have the shape \(frames, 2\), got"):
        Runner(random_cascade(2), 2).process(np.zeros(shape))


@pytest.mark.parametrize("column", [-1, 2])
def test_a_feed_from_a_channel_that_is_not_there_is_refused(
    engine: Engine, column: int
) -> None:
    with pytest.raises(AudioError, match=rf"\(0 to 1\), got channel {column}"):
        BankRunner(2, [[[Feed(random_cascade(2), column)]]])


def test_another_kind_of_number_is_refused() -> None:
    clips = [side_by_side(random_cascade(2), 1)]
    with pytest.raises(RequestError, match="float32 or float64, not int16"):
        BankRunner(1, clips, dtype=np.int16)


def test_reset_forgets_in_every_clip(engine: Engine) -> None:
    clips = [side_by_side(random_cascade(n), 4) for n in (3, 9, 30)]
    runner, samples = BankRunner(4, clips, threads=2), noise(5000, 4)
    first = runner.process(samples)
    for was, now in zip(first, runner.process(samples), strict=True):
        assert not np.array_equal(was, now)
    runner.reset()
    for was, now in zip(first, runner.process(samples), strict=True):
        assert np.array_equal(was, now)
