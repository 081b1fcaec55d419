# SPDX-License-Identifier: GPL-3.0-or-later
"""Harmonics of stiff strings against their formula, and levels against closed forms."""

import numpy as np
import pytest
from commands import LOW_PASS, LOW_PASS_HZ

from tonebench.circuit.circuit import STRAIGHT
from tonebench.circuit.files import inspect_text, read_circuit
from tonebench.circuit.hookup import Chain, Hookup, join
from tonebench.errors import RequestError
from tonebench.study.harmonics import (
    LOW_STIFFNESS,
    USUAL_STIFFNESS,
    cents_sharp,
    harmonics_hz,
    note_levels,
)

PLAIN = join(STRAIGHT)


@pytest.fixture
def low_pass() -> Chain:
    circuit = inspect_text(LOW_PASS, name="dull").circuit
    assert circuit
    return join(circuit)


@pytest.mark.parametrize(
    ("stiffness", "number", "cents"),
    [
        # 1200·log2 √(1 + B·n²), computed independently
        (1e-4, 2, 0.346),
        (1e-4, 5, 2.161),
        (1e-4, 10, 8.613),
        (1e-4, 20, 33.95),
        (1e-5, 10, 0.865),
        (5e-4, 10, 42.23),
    ],
)
def test_a_stiff_string_is_sharp_by_its_formula(
    stiffness: float, number: int, cents: float
) -> None:
    assert cents_sharp(stiffness, number) == pytest.approx(cents, abs=6e-3)
    hz = harmonics_hz(100.0, stiffness, number)[-1]
    found = 1200 * np.log2(hz / (100.0 * number))
    assert found == pytest.approx(cents, abs=6e-3)


def test_a_low_b_at_its_octave_is_a_semitone_sharp_at_the_tenth_partial() -> None:
    """J. A. Kemp, SN Applied Sciences 2, 636, 2020; half as long, B is four times."""
    assert cents_sharp(4 * LOW_STIFFNESS, 10) == pytest.approx(100, abs=2)


def test_a_low_b_is_about_31_hz_and_its_fifth_harmonic_about_155_hz() -> None:
    """Common practice, no source."""
    (found,) = note_levels(["B0"], [(PLAIN, {})])
    assert found.fundamental_hz == pytest.approx(30.8677, abs=5e-5)  # ISO 16
    assert found.frequency_hz[0] == pytest.approx(31, abs=0.5)
    assert found.frequency_hz[4] == pytest.approx(155, abs=1)
    assert found.stiffness == LOW_STIFFNESS


def test_harmonics_are_as_loud_as_the_closed_form(low_pass: Chain) -> None:
    """1/√(1 + (f/f₀)²) against 1: through a low-pass and through nothing."""
    (found,) = note_levels(["A1"], [(PLAIN, {}), (low_pass, {})], stiffness=0)
    hz = 55.0 * np.arange(1, len(found.frequency_hz) + 1)
    np.testing.assert_allclose(found.frequency_hz, hz, rtol=1e-12)
    np.testing.assert_allclose(found.levels_db[0], 0, atol=1e-9)
    wanted = -10 * np.log10(1 + (hz / LOW_PASS_HZ) ** 2)
    np.testing.assert_allclose(found.levels_db[1], wanted, atol=1e-9)
    assert found.offset_db == pytest.approx(float(np.median(wanted)))
    np.testing.assert_allclose(
        found.difference_db, wanted - np.median(wanted), atol=1e-9
    )


def test_the_usual_stiffness_is_that_of_an_open_string() -> None:
    (found,) = note_levels(["G2"], [(PLAIN, {})])
    assert found.stiffness == USUAL_STIFFNESS
    assert found.frequency_hz[-1] <= 8000
    (high,) = note_levels(["C9"], [(PLAIN, {})])
    assert len(high.frequency_hz) == 1  # the fundamental at least


@pytest.mark.parametrize("note", ["H1", "B", "b0", "B0 E1", "", "B0,E1"])
def test_what_is_no_note_is_refused(note: str) -> None:
    with pytest.raises(RequestError, match="is no note; write it like B0"):
        note_levels([note], [(PLAIN, {})])


@pytest.mark.parametrize("stiffness", [-1e-4, 0.5, float("nan")])
def test_a_stiffness_that_no_string_has_is_refused(stiffness: float) -> None:
    with pytest.raises(RequestError, match=r"stiffness must be from 0 to 0\.1"):
        note_levels(["B0"], [(PLAIN, {})], stiffness)


def test_a_silent_side_is_refused() -> None:
    silent = join(read_circuit("tern"), Hookup(source_ohm=1e3))
    with pytest.raises(RequestError, match="nothing comes out of tern here"):
        note_levels(["B0"], [(silent, {"level": 0})])
