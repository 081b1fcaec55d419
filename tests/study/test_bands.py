# SPDX-License-Identifier: GPL-3.0-or-later
"""A take by thirds of an octave, against the curves of circuits."""

from pathlib import Path

import numpy as np
import pytest
from commands import LOW_PASS, LOW_PASS_HZ
from sounds import level_db, sine, write_float

from tonebench.audio.bands import centres_hz
from tonebench.audio.take import Take
from tonebench.circuit.circuit import STRAIGHT
from tonebench.circuit.files import inspect_text, read_circuit
from tonebench.circuit.hookup import Hookup, join
from tonebench.errors import RequestError
from tonebench.plan.take_files import read_take_file
from tonebench.study.bands import band_levels

RATE = 48_000
PLAIN = join(STRAIGHT)


def test_the_difference_of_two_circuits_is_that_of_their_curves(tmp_path: Path) -> None:
    """A sine through a low-pass and through nothing: 1/√(1 + (f/f₀)²)."""
    circuit = inspect_text(LOW_PASS, name="dull").circuit
    assert circuit
    tone = sine(2000, 4) + sine(125.8925, 4)
    take = Take(write_float(tmp_path / "two.wav", tone))
    found = band_levels(take, [(PLAIN, {}), (join(circuit), {})])
    difference = found.levels_db[1] - found.levels_db[0]
    for hz, number in ((125.8925, -9), (2000.0, 3)):
        wanted = -10 * np.log10(1 + (hz / LOW_PASS_HZ) ** 2)
        assert difference[number + 16] == pytest.approx(wanted, abs=0.03)
    total = level_db(tone)
    by_bands = 10 * np.log10(np.sum(10 ** (found.levels_db[0] / 10)))
    assert by_bands == pytest.approx(total, abs=0.05)


def test_a_take_against_itself_differs_by_nothing() -> None:
    take = read_take_file("harbour-low")
    found = band_levels(take, [(PLAIN, {}), (PLAIN, {})])
    np.testing.assert_allclose(found.difference_db, 0, atol=1e-12)
    strongest = centres_hz()[int(found.levels_db[0].argmax())]
    assert 25 < strongest < 130  # a line on a low B
    one = band_levels(take, [(PLAIN, {})])
    assert one.offset_db == 0
    np.testing.assert_array_equal(one.levels_db[0], found.levels_db[0])


def test_a_take_of_silence_is_told_as_one(tmp_path: Path) -> None:
    path = tmp_path / "nothing.wav"
    write_float(path, np.zeros(RATE))
    with pytest.raises(RequestError, match="nothing holds silence: it has no spectrum"):
        band_levels(read_take_file(str(path)), [(PLAIN, {})])


def test_a_silent_side_is_refused() -> None:
    silent = join(read_circuit("tern"), Hookup(source_ohm=1e3))
    with pytest.raises(RequestError, match="nothing comes out of tern here"):
        band_levels(read_take_file("harbour-walk"), [(silent, {"level": 0})])
