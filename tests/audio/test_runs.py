# SPDX-License-Identifier: GPL-3.0-or-later
"""Flat tops and gaps, in waves of which it is known where they are."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tonebench.audio.runs import RunFinder, Runs

RATE = 48_000


def wave(hz: float, peak: float = 1.0, seconds: float = 1.0, rate: int = RATE):
    n = np.arange(round(seconds * rate))
    return peak * np.sin(2 * np.pi * hz / rate * n)


def found(samples: np.ndarray, size: int = 0) -> RunFinder:
    finder = RunFinder()
    step = size or max(1, len(samples))
    for at in range(0, len(samples), step):
        finder.feed(samples[at : at + step])
    return finder


@pytest.mark.parametrize("level", [1.0, 0.5, 0.1])
def test_a_sine_that_is_cut_off_is_clipped_twice_a_cycle(level):
    # closed form: above 1/√2 of its height a sine stays a quarter of its cycle
    sound = np.clip(wave(100, np.sqrt(2) * level), -level, level)
    sound = np.round(sound * 2**23) / 2**23
    clipped = found(sound).clipped
    assert clipped.count == 200
    assert clipped.longest in (120, 121)
    assert clipped.first_frame == pytest.approx(480 / 8, abs=1)


def test_one_side_alone_may_be_cut_off():
    sound = np.minimum(wave(100), 0.6)
    assert found(sound).clipped.count == 100


@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000, 192_000])
@pytest.mark.parametrize("hz", [30.868, 41.2, 55, 98, 440, 5000])
@pytest.mark.parametrize("peak", [1.0, 0.5, 0.02])
def test_a_crest_that_is_rounded_flat_is_not_clipped(bits, rate, hz, peak):
    scale = 2 ** (bits - 1)
    sound = np.round(wave(hz, peak, 0.5, rate) * (scale - 1)) / scale
    assert found(sound).clipped == Runs()


def test_a_loud_note_does_not_make_quieter_flat_tops_clipping():
    # a square wave, and a sine above it: what is cut off stands at the top
    square = np.where(np.arange(RATE) % 480 < 240, 0.3, -0.3)
    assert found(square).clipped.count > 0
    for sound in ([square, wave(100, 0.9)], [wave(100, 0.9), square]):
        assert found(np.concatenate(sound)).clipped == Runs()


@pytest.mark.parametrize("samples", [np.zeros(0), np.zeros(5000), np.full(5000, 0.7)])
def test_silence_and_a_constant_are_neither_clipped_nor_gaps(samples):
    assert found(samples).clipped == found(samples).gaps == Runs()


@pytest.mark.parametrize("length", [16, 64, 5000])
@pytest.mark.parametrize("is_held", [False, True])
def test_dropped_samples_are_a_gap_with_its_place_and_length(length, is_held):
    sound = wave(97, 0.5)
    start = 10_392 if is_held else 10_000  # near zero; near a crest
    sound[start : start + length] = sound[start - 1] if is_held else 0.0
    gaps = found(sound).gaps
    assert (gaps.count, gaps.first_frame) == (1, start - is_held)
    assert gaps.longest == length + is_held


def test_a_note_that_fades_into_silence_leaves_no_gap():
    note = wave(97, 0.5) * np.linspace(1, 0, RATE)
    sound = np.concatenate([note, np.zeros(RATE), note])
    sound = np.round(sound * 32767) / 32768
    assert found(sound).gaps == Runs()


def test_silence_at_both_ends_is_no_gap():
    sound = np.concatenate([np.zeros(5000), 0.5 + wave(97, 0.3), np.zeros(5000)])
    assert found(sound).gaps == Runs()


@pytest.mark.parametrize("size", [1, 17, 509, 4096])
def test_blocks_of_any_size_find_the_same(size):
    rng = np.random.default_rng(2)
    sound = np.clip(wave(53, 1.5, 0.4), -1, 1)
    sound[3000:3100] = 0
    sound[7000:9000] = np.round(rng.standard_normal(2000)) / 32768
    whole, parts = found(sound), found(sound, size)
    assert (parts.clipped, parts.gaps) == (whole.clipped, whole.gaps)
    assert whole.clipped.count > 0
    assert whole.gaps.count == 1


@settings(deadline=None, max_examples=30)
@given(st.lists(st.integers(-2, 2), max_size=60), st.integers(1, 9))
def test_any_samples_find_the_same_in_any_blocks(values, size):
    sound = np.array(values, dtype=float) / 2
    whole, parts = found(sound), found(sound, size)
    assert (parts.clipped, parts.gaps) == (whole.clipped, whole.gaps)
