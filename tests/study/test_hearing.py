# SPDX-License-Identifier: GPL-3.0-or-later
"""The ear's scale against figures of its paper, bands against their standard."""

import numpy as np
import pytest

from tonebench.study.hearing import OCTAVES_HZ, erb_grid, erb_number, octave_of


def test_filters_of_the_ear_are_as_wide_as_published() -> None:
    """ERB = 24.7·(4.37·f/kHz + 1) Hz (Glasberg, Moore 1990; from memory).

    One step of ERB-number is one ERB wide; the printed 21.4 is a rounded 21.33.
    """
    for hz in (100.0, 1000.0, 10_000.0):
        wide = 24.7 * (4.37 * hz / 1000 + 1)
        step = erb_number(hz + wide / 2) - erb_number(hz - wide / 2)
        assert step == pytest.approx(1, abs=0.012)


def test_grid_runs_from_end_to_end_in_equal_steps() -> None:
    grid = erb_grid(96)
    assert (grid[0], grid[-1], len(grid)) == (20.0, 20_000.0, 96)
    steps = np.diff([erb_number(hz) for hz in grid])
    np.testing.assert_allclose(steps, steps[0], rtol=1e-9)


def test_octaves_are_those_of_the_standard() -> None:
    """IEC 61260-1, base ten: edges at 10^±0.15 around 10^0.3k kHz (from memory)."""
    assert OCTAVES_HZ[5] == 1000
    assert octave_of(1000 * 10**0.149) == 1000
    assert octave_of(1000 * 10**0.151) == 2000
    assert octave_of(22_000) == 16000
    assert octave_of(23_000) is None
