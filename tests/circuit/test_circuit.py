# SPDX-License-Identifier: GPL-3.0-or-later
"""A circuit is a value: it can be asked, and given other part values."""

import pytest

from tonebench.circuit.circuit import STRAIGHT, Circuit, Input
from tonebench.circuit.controls import Knob
from tonebench.circuit.parts import (
    Capacitor,
    Inductor,
    OpAmp,
    Part,
    Pot,
    Resistor,
    Transconductor,
)
from tonebench.circuit.tapers import Taper
from tonebench.errors import InputError, RequestError

PARTS: tuple[Part, ...] = (
    Resistor("R1", ("in", "out"), 4700.0, tolerance=0.01),
    Capacitor("C1", ("out", "gnd"), 22e-9),
    Inductor("L1", ("out", "gnd"), 0.56, winding_ohm=38.0),
    Pot("P1", 1e5, Taper("linear"), "level", ("gnd", "out"), "w"),
    OpAmp("U1", "out", "o", "o"),
    Transconductor("G1", 2e-3, ("out", "gnd"), ("o", "gnd")),
)
CIRCUIT = Circuit(
    "tern", "Tilt", (Input("in", "in"),), "out", PARTS, knobs=(Knob("level", start=8),)
)


def test_other_values_make_another_circuit_and_leave_the_first_alone() -> None:
    other = CIRCUIT.with_parts({"R1": "10k", "C1": "47n", "L1": "1H", "P1": "250k"})
    assert other.part("R1") == Resistor("R1", ("in", "out"), 10e3, tolerance=0.01)
    assert other.part("C1") == Capacitor("C1", ("out", "gnd"), 47e-9)
    assert other.part("L1") == Inductor("L1", ("out", "gnd"), 1.0, winding_ohm=38.0)
    assert CIRCUIT.part("R1") == PARTS[0]
    assert [part.ref for part in other.parts] == [part.ref for part in PARTS]


@pytest.mark.parametrize(
    ("values", "error", "words"),
    [
        ({"R2": "10k"}, RequestError, "there is no part 'R2'; there are R1, C1, L1"),
        ({"U1": "10k"}, RequestError, "U1: this kind of part has no single value"),
        ({"R1": "22nF"}, InputError, "'22nF' is in F"),
        ({"R1": "-1"}, InputError, "R1: resistance must be 0 ohm or more"),
    ],
)
def test_a_value_that_does_not_fit_is_refused(
    values: dict[str, str], error: type[Exception], words: str
) -> None:
    with pytest.raises(error) as caught:
        CIRCUIT.with_parts(values)
    assert words in str(caught.value)


def test_a_setting_of_the_circuit_is_complete() -> None:
    assert CIRCUIT.setting({}) == {"level": 8}


def test_the_title_comes_before_the_name() -> None:
    assert CIRCUIT.full_title == "Tilt (tern)"


def test_straight_joins_input_and_output() -> None:
    assert STRAIGHT.output == STRAIGHT.inputs[0].node
    assert STRAIGHT.parts == ()
