# SPDX-License-Identifier: GPL-3.0-or-later
"""Why B differs from A: known differences are traced to what was changed."""

from dataclasses import replace

import pytest

from tonebench.circuit.circuit import STRAIGHT
from tonebench.circuit.files import inspect_text, read_circuit
from tonebench.circuit.hookup import Hookup, Pickup
from tonebench.errors import RequestError
from tonebench.plan.comparison import Side
from tonebench.study.against import against


@pytest.fixture
def at_the_desk(with_pickup: Hookup) -> Hookup:
    return replace(with_pickup, load_ohm=10e3)


def test_dull_and_thin_are_traced_to_input_resistor_and_output_capacitor(
    at_the_desk: Hookup,
) -> None:
    """The house question: plover's 47 kΩ damps the peak, its C6 meets the desk."""
    a, b = (Side(read_circuit(name), at_the_desk) for name in ("tern", "plover"))
    found = against(a, b)
    dull, thin = found.differences[:2]
    assert dull.low_hz < 3700 < dull.high_hz
    assert dull.worst_db < -8
    assert dull.part
    assert dull.part.who
    assert (dull.part.letter, dull.part.who.part) == ("b", "R1")
    assert dull.around
    assert (dull.around.letter, dull.around.how) == ("b", "buffer")
    assert dull.around.left_db < 0.1
    assert thin.high_hz < 100
    assert thin.part
    assert thin.part.who
    assert (thin.part.letter, thin.part.who.part) == ("b", "C6")
    assert thin.around
    assert (thin.around.letter, thin.around.how) == ("b", "no load")


@pytest.mark.parametrize(("ref", "value"), [("C2", "22n"), ("C3", "3n3"), ("C1", "1n")])
def test_one_changed_part_is_the_one_behind_it(
    ref: str, value: str, at_the_desk: Hookup
) -> None:
    """What was changed by about ×3 or more is found by changing it back."""
    circuit = read_circuit("tern")
    side = Side(circuit, at_the_desk)
    found = against(side, replace(side, circuit=circuit.with_parts({ref: value})))
    worst = found.differences[0]
    assert worst.part
    assert worst.part.who
    assert worst.part.who.part == ref
    assert worst.part.left_db < 0.4 * worst.rms_db


def test_another_pickup_is_behind_what_another_pickup_does(with_pickup: Hookup) -> None:
    large = Pickup("large", 9400.0, 4.1, 150e-12, losses_ohm=260e3)
    a = Side(read_circuit("tern"), with_pickup)
    b = Side(read_circuit("tern"), replace(with_pickup, pickups={"": large}))
    found = against(a, b)
    for difference in found.differences:
        assert difference.around
        assert difference.around.how == "exchanged"
        assert difference.around.knob == "pickup"
        assert difference.around.left_db < 1e-9


def test_a_knob_that_was_turned_is_behind_what_it_does(with_pickup: Hookup) -> None:
    side = Side(read_circuit("tern"), with_pickup)
    found = against(side, side, {}, {"tilt": 9})
    around = found.differences[0].around
    assert around
    assert (around.letter, around.how, around.knob) == ("b", "turned", "tilt")
    assert around.left_db < 1e-9


def test_a_mere_gain_is_no_difference() -> None:
    """20 kΩ over 10 kΩ, inverting: 6.02 dB everywhere (textbook)."""
    text = """
schema = 1
input = "in"
output = "out"
[parts]
R1 = { resistor = "10k", across = ["in", "m"] }
R2 = { resistor = "20k", across = ["m", "out"] }
U1 = { opamp = "ideal", plus = "bias", minus = "m", out = "out" }
"""
    louder = inspect_text(text, name="louder").circuit
    assert louder
    found = against(Side(STRAIGHT), Side(louder))
    assert found.differences == ()
    assert found.gain_db == pytest.approx(6.0206, abs=1e-4)


def test_silence_is_refused(with_pickup: Hookup) -> None:
    side = Side(read_circuit("plover"), with_pickup)
    with pytest.raises(RequestError, match="plover is silent at this setting"):
        against(side, side, {}, {"level": 0})
