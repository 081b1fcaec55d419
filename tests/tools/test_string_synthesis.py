# SPDX-License-Identifier: GPL-3.0-or-later
"""The strings are in tune, and as stiff as strings are."""

import numpy as np
import pytest
from instruments import LOW_FIVE, SHORT_SCALE
from listening import cents
from string_synthesis import String, partials_hz


# source: ISO 16, A4 at 440 Hz
@pytest.mark.parametrize(
    ("key", "pitch_hz"),
    [(23, 30.8677), (28, 41.2034), (33, 55.0), (38, 73.4162), (43, 97.9989)],
)
def test_open_strings_have_the_pitches_of_iso_16(key: int, pitch_hz: float) -> None:
    strings = [s for s in (*SHORT_SCALE, *LOW_FIVE) if s.key == key]
    assert strings
    for string in strings:
        assert string.open_hz == pytest.approx(pitch_hz, abs=5e-5)


def test_each_string_is_named_after_its_pitch() -> None:
    assert {s.name: s.key for s in SHORT_SCALE} == {"E": 28, "A": 33, "D": 38, "G": 43}
    assert [s.name for s in LOW_FIVE] == ["B", "E", "A", "D", "G"]
    assert [s.key for s in LOW_FIVE] == [23, 28, 33, 38, 43]


# source: Fletcher's stiff string; cents = 1200·log2 √(1 + B·n²), worked out by hand
@pytest.mark.parametrize(
    ("n", "stretch_cents"), [(2, 0.346), (5, 2.161), (10, 8.613), (20, 33.95)]
)
def test_partials_are_stretched_as_a_stiff_strings(
    n: int, stretch_cents: float
) -> None:
    partials = partials_hz(String("A", 33, 1e-4, 145.0, 0.3))
    assert cents(partials[n - 1], n * 55.0) == pytest.approx(stretch_cents, abs=0.006)


# source: J. A. Kemp, SN Applied Sciences 2 (2020) 636: a low B string has its 10th
# partial about 100 cents sharp at fret 12, its 6th about 100 cents at fret 21; the
# first figure set B, the second checks how B goes with the length
@pytest.mark.parametrize(("fret", "n", "near"), [(12, 10, 0.5), (21, 6, 5.0)])
def test_the_low_b_is_as_stiff_as_one_that_was_measured(
    fret: int, n: int, near: float
) -> None:
    even = n * 30.8677 * 2.0 ** (fret / 12)
    stretch = cents(partials_hz(LOW_FIVE[0], fret)[n - 1], even)
    assert stretch == pytest.approx(100.0, abs=near)


def test_an_open_low_b_is_much_less_stretched_than_a_stopped_one() -> None:
    # the same source; the stiff string's formula makes it a quarter at the octave
    open_, stopped = (partials_hz(LOW_FIVE[0], fret)[9] for fret in (0, 12))
    stretch = cents(open_, 308.677)
    assert stretch < 0.3 * cents(stopped, 617.354)
    assert stretch == pytest.approx(1200.0 * np.log2(np.sqrt(1.0 + 0.0306)), abs=0.01)
