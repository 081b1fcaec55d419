# SPDX-License-Identifier: GPL-3.0-or-later
"""What the kernel counts is what numpy counts; numpy's way is tested by its meters."""

import math

import numpy as np
import pytest
from engines import ENGINES

from tonebench.audio.loudness import k_weighting_sos
from tonebench.audio.meters import Meters
from tonebench.audio.tally import SegmentSums, Tally, segment_starts, tally
from tonebench.errors import AudioError


@pytest.fixture(params=ENGINES)
def engine(request, monkeypatch):
    monkeypatch.setenv("TONEBENCH_KERNEL", request.param)
    return request.param


def all_counts(channels: int, rate: int = 48000) -> Tally:
    return tally(
        "meter",
        channels,
        sample_rate_hz=rate,
        weighting=k_weighting_sos(rate),
        with_true_peak=True,
    )


def fed(counts: Tally, samples: np.ndarray, size: int = 0):
    """Feed a stream in blocks; return all that was counted."""
    step = size or max(1, len(samples))
    ended = [
        counts.feed(samples[at : at + step], at) for at in range(0, len(samples), step)
    ]
    segments = np.concatenate([np.empty((0, samples.shape[1])), *ended])
    return segments, counts.peak, counts.true_peak, counts.squares


def noise(frames: int, channels: int) -> np.ndarray:
    """White noise whose level moves, so that peaks come and go."""
    white = np.random.default_rng(7).standard_normal((frames, channels))
    return white * (1.1 + np.sin(np.arange(frames) / 3000))[:, None]


@pytest.mark.parametrize("size", [1, 17, 509, 4096])
@pytest.mark.parametrize("frames", [0, 1, 2, 479, 480, 481, 4800, 20_011])
def test_blocks_of_any_size_give_the_same_counts(engine, size, frames):
    samples = noise(frames, 2)
    whole, parts = (fed(all_counts(2), samples, n) for n in (0, size))
    assert np.array_equal(parts[0], whole[0])
    assert parts[1:] == whole[1:]


@pytest.mark.parametrize("rate", [44_100, 11_025, 96_000])
@pytest.mark.parametrize("channels", [1, 2, 3, 6])
def test_every_engine_counts_the_same(monkeypatch, rate, channels):
    samples, found = noise(rate + 5, channels), {}
    for asked in ENGINES:
        monkeypatch.setenv("TONEBENCH_KERNEL", asked)
        found[asked] = fed(all_counts(channels, rate), samples, 5000)
    segments, peak, true_peak, squares = found["off"]
    assert segments.shape == (100, channels)
    for asked in ENGINES[:-1]:
        # sums in another order; 1e-12 is a hundred times what that may cost
        np.testing.assert_allclose(found[asked][0], segments, rtol=1e-12)
        assert found[asked][1:3] == (peak, true_peak)
        assert found[asked][3] == pytest.approx(squares, rel=1e-12)
        # with AVX2 and without: to the last bit
        assert np.array_equal(found[asked][0], found[ENGINES[0]][0])
        assert found[asked][1:] == found[ENGINES[0]][1:]


def test_a_sum_of_squares_is_that_of_exact_arithmetic(engine):
    # second method: math.fsum, correctly rounded
    samples = noise(50_000, 1)
    exact = math.fsum(float(x) ** 2 for x in samples[:, 0])
    assert fed(all_counts(1), samples, 999)[3] == pytest.approx(exact, rel=1e-13)


def test_a_level_alone_has_no_segments_and_no_true_peak(engine):
    samples = noise(20_000, 2)
    segments, peak, true_peak, _ = fed(tally("meter", 2), samples)
    assert segments.shape == (0, 2)
    assert true_peak == peak == np.abs(samples).max()


def test_float32_counts_as_what_it_holds(engine):
    samples = noise(10_000, 2).astype(np.float32)
    narrow, wide = (
        fed(all_counts(2), samples),
        fed(all_counts(2), samples.astype(float)),
    )
    assert np.array_equal(narrow[0], wide[0])
    assert narrow[1:] == wide[1:]


@pytest.mark.parametrize("kind", [np.float32, np.float64])
@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("frame", [0, 3, 5000, 9999])
def test_a_bad_sample_is_refused_with_its_place_and_nothing_is_counted(
    engine, kind, bad, frame
):
    counts, samples = all_counts(3), noise(10_000, 3).astype(kind)
    before = fed(counts, samples)
    samples[frame, 1] = bad
    samples[-1, 2] = math.nan
    told = f"^meter: .* got {bad:g} at sample frame {70 + frame} in channel 2$"
    with pytest.raises(AudioError, match=told):
        counts.feed(samples, 70)
    assert (counts.peak, counts.true_peak, counts.squares) == before[1:]


@pytest.mark.parametrize("shape", [(10,), (10, 1), (2, 10), (1, 10, 2)])
def test_a_block_of_another_shape_is_refused(engine, shape):
    with pytest.raises(AudioError, match=r"must have the shape \(frames, 2\)"):
        all_counts(2).feed(np.zeros(shape), 0)


def test_all_meters_fed_together_read_what_each_reads_alone(engine):
    samples = noise(100_000, 2) / 10
    meters = Meters(44_100, 2)
    for at in range(0, len(samples), 30_000):
        meters.feed(samples[at : at + 30_000])
    counts = tally("meter", 2, with_true_peak=True)
    counts.feed(samples, 0)
    assert meters.true_peak == counts.true_peak
    assert meters.true_peak_dbtp == pytest.approx(20 * math.log10(counts.true_peak))
    assert meters.level.peak == counts.peak
    mean = np.square(samples).mean()
    assert meters.level.rms == pytest.approx(math.sqrt(mean), rel=1e-12)
    assert len(meters.loudness.momentary_lufs()) == 22 - 3  # 2.27 s, 400 ms wide


def test_segments_may_differ_in_length():
    segments = SegmentSums(1, lambda k: [2, 3, 1, 9][k])
    ones = np.ones((7, 1))
    sums = [float(s[0]) for at in range(7) for s in segments.feed(ones[at : at + 1])]
    assert sums == [2, 3, 1]
    assert segments.unfinished() == 1


def test_a_segment_starts_at_the_frame_nearest_to_its_time():
    starts = segment_starts(0, 1000, 11_025)
    exact = np.arange(1000) * 110.25
    assert np.abs(starts - exact).max() <= 0.5
