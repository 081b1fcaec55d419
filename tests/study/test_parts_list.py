# SPDX-License-Identifier: GPL-3.0-or-later
"""Parts lists: codes of IEC 60062, series of IEC 60063, and what another value does."""

import math
from collections.abc import Callable
from dataclasses import replace

import pytest

from tonebench.circuit.circuit import Circuit, Supply
from tonebench.circuit.controls import SwitchControl
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import join
from tonebench.circuit.parts import (
    Capacitor,
    Inductor,
    OpAmp,
    Pot,
    Resistor,
    Switch,
    VariableResistor,
)
from tonebench.circuit.tapers import Taper
from tonebench.study.parts_list import PartLine, parts_list
from tonebench.study.tolerance import tolerances

Drawn = Callable[..., Circuit]


def listed(circuit: Circuit) -> dict[str, PartLine]:
    lines = parts_list(join(circuit), {}, tolerances(circuit))
    return {line.ref: line for line in lines}


def divider(drawn: Drawn, first_ohm: float, second_ohm: float = 10e3) -> Circuit:
    return drawn(
        Resistor("R1", ("in", "out"), first_ohm),
        Resistor("R2", ("out", "gnd"), second_ohm),
    )


@pytest.mark.parametrize(
    ("ohm", "code", "series", "nearest"),
    [
        (4700.0, "4k7", "E3", None),
        (5100.0, "5k1", "E24", None),
        (4990.0, "4k99", "E96", None),
        (5000.0, "5k", "", 5100.0),
        (5050.0, "5k05", "E192", 5100.0),  # E192 is hardly kept in a shop
        (0.47, "R47", "E3", None),
    ],
)
def test_a_resistor_has_its_code_its_series_and_what_is_nearest(
    drawn: Drawn, ohm: float, code: str, series: str, nearest: float | None
) -> None:
    line = listed(divider(drawn, ohm))["R1"]
    assert (line.kind, line.code, line.series) == ("resistor", code, series)
    assert line.nearest == nearest
    assert line.tolerance == 0.01
    assert line.is_usual_tolerance


def test_another_value_changes_the_curve_by_its_closed_form(drawn: Drawn) -> None:
    """10 kΩ below 5 kΩ, and below 5.1 kΩ."""
    line = listed(divider(drawn, 5000.0))["R1"]
    assert line.change_db == pytest.approx(20 * math.log10(15 / 15.1), abs=1e-9)
    assert line.change_hz is not None


def test_the_change_is_looked_for_at_the_ends_of_knobs_too(drawn: Drawn) -> None:
    """With the pot at 10 nothing is left of R1; at 0 it is all there is."""
    pot = VariableResistor("P1", 100e3, Taper("linear"), "cut", ("out", "gnd"))
    circuit = drawn(Resistor("R1", ("in", "out"), 5000.0), pot)
    circuit = replace(circuit, knobs=(replace(circuit.knobs[0], start=10.0),))
    line = listed(circuit)["R1"]
    at_10 = 20 * math.log10(105 / 105.1)
    assert line.change_db == pytest.approx(at_10, abs=1e-9)  # 0 is silent: left out


def test_pots_are_held_against_what_pots_come_in(drawn: Drawn) -> None:
    """1, 2, 2.2, 2.5, 4.7 and 5 by decades (common practice, no source)."""

    def line(ohm: float) -> PartLine:
        pot = Pot("P1", ohm, Taper("audio", 15), "level", ("gnd", "in"), "out")
        return listed(drawn(pot, Resistor("R1", ("out", "gnd"), 1e6)))["P1"]

    assert line(250e3).nearest is None
    assert line(25e3).nearest is None
    assert line(300e3).nearest == 250e3
    assert line(250e3).code.startswith("250k audio")
    assert line(250e3).tolerance == 0.20


def test_other_parts_say_what_else_to_look_for(drawn: Drawn) -> None:
    circuit = replace(
        drawn(
            Switch("S1", "range", "in", (("low", ("a",)), ("high", ("b",)))),
            Switch("S2", "range", "in", (("low", ("b",)),)),
            Resistor("R1", ("in", "a"), 1e3),
            Resistor("R2", ("in", "b"), 0.0),
            Inductor("L1", ("a", "b"), 0.56, winding_ohm=38),
            Capacitor("C1", ("b", "out"), 10e-6),
            OpAmp("U1", "in", "out", "out"),
            OpAmp(
                "U2", "b", "c", "c", gbw_hz=3e6, open_loop_gain=1e5,
                noise_v_per_rt_hz=5e-9,
            ),
            switches=(SwitchControl("range", ("low", "high"), start="low"),),
        ),
        supply=Supply(9.0, 4.5),
    )  # fmt: skip
    found = listed(circuit)
    assert found["S1"].note == found["S2"].note == "switch range: 2 poles, 2 ways"
    assert found["R2"].kind == "wire link"
    assert found["R2"].value is None
    assert found["L1"].note == "winding 38 Ω"
    assert found["L1"].code == "560 mH"
    assert (
        found["C1"].note
        == "film, or electrolytic rated 16 V or more: mind its polarity"
    )
    assert found["U1"].note == "drawn as ideal; any audio type comes near"
    assert found["U2"].code == "3 MHz or faster"
    # from rail to rail of 9 V, 4.5 V, at 20 kHz: 2π·f·V = 0.565 V/µs (textbook)
    assert found["U2"].note == "noise 5 nV/√Hz or less, slew 0.57 V/µs or more"


def test_gangs_are_told_to_stand_on_one_shaft() -> None:
    circuit = read_circuit("dunlin")
    chain = join(circuit)
    lines = {line.ref: line for line in parts_list(chain, {}, tolerances(circuit))}
    assert lines["P3"].note == "knob blend, on one shaft with P4"
    assert lines["P1"].note == "knob neck"


def test_every_shipped_part_is_sold_and_listed_in_the_order_of_the_file() -> None:
    for name in ("tern", "plover", "whimbrel", "dunlin"):
        circuit = read_circuit(name)
        lines = parts_list(join(circuit), {}, tolerances(circuit))
        assert [line.ref for line in lines] == [part.ref for part in circuit.parts]
        assert not [line for line in lines if line.nearest is not None]
