# SPDX-License-Identifier: GPL-3.0-or-later
"""Remarks on drawings that are right, and the sentences a builder proves them by."""

import pytest

from tonebench.circuit.circuit import STRAIGHT, Circuit, Input, Supply
from tonebench.circuit.controls import SwitchControl
from tonebench.circuit.drawing import Remarks, look_over, node_sentences
from tonebench.circuit.parts import (
    Capacitor,
    OpAmp,
    Part,
    Pot,
    Resistor,
    Switch,
    Transconductor,
    VariableResistor,
)
from tonebench.circuit.tapers import Taper

LINEAR = Taper("linear")


def drawn(*parts: Part, output: str = "out") -> Circuit:
    return Circuit("test", "Test", (Input("in", "in"),), output, parts)


def said(circuit: Circuit) -> list[str]:
    remarks = look_over(circuit)
    return [str(r) for r in (*remarks.faults, *remarks.warnings, *remarks.notes)]


# -- right drawings raise no remark ----------------------------------------------------


def test_straight_through_raises_no_remark() -> None:
    assert look_over(STRAIGHT) == Remarks()


def test_a_buffer_has_its_feedback_in_a_wire() -> None:
    assert said(drawn(OpAmp("U1", "in", "out", "out"), load())) == []


def load(node: str = "out") -> Resistor:
    return Resistor("R9", (node, "gnd"), 1e5)


def test_feedback_through_capacitors_alone_is_feedback() -> None:
    circuit = drawn(
        Resistor("R1", ("in", "m"), 1e4),
        Capacitor("C1", ("m", "out"), 1e-9),
        OpAmp("U1", "bias", "m", "out"),
    )
    assert said(circuit) == []


def test_a_charge_amplifier_has_its_minus_at_the_input() -> None:
    circuit = drawn(
        Capacitor("C1", ("in", "out"), 1e-9),
        Resistor("R1", ("in", "out"), 1e7),
        OpAmp("U1", "bias", "in", "out"),
    )
    assert said(circuit) == []


def test_feedback_may_pass_through_another_op_amp() -> None:
    # A stage inside the loop of another: U1 has no part of its own from out to minus.
    circuit = drawn(
        OpAmp("U1", "in", "m", "a"),
        Resistor("R1", ("a", "b"), 1e4),
        OpAmp("U2", "b", "out", "out"),
        Resistor("R2", ("out", "m"), 1e4),
        Resistor("R3", ("m", "bias"), 1e4),
    )
    assert said(circuit) == []


def test_feedback_through_an_inverting_op_amp_may_lead_to_plus() -> None:
    circuit = drawn(
        Resistor("R1", ("in", "p"), 1e4),
        OpAmp("U1", "p", "bias", "out"),
        Resistor("R2", ("out", "m"), 1e4),
        Resistor("R3", ("m", "b"), 1e4),
        OpAmp("U2", "bias", "m", "b"),
        Resistor("R4", ("b", "p"), 1e4),
    )
    assert said(circuit) == []


def test_a_pot_may_have_its_wiper_at_one_end() -> None:
    pot = Pot("P1", 1e5, LINEAR, "k", ("in", "out"), "out")
    assert said(drawn(pot, load())) == []


def test_a_pot_may_have_both_ends_at_one_node() -> None:
    pot = Pot("P1", 1e5, LINEAR, "k", ("in", "in"), "out")
    assert said(drawn(pot, load())) == []


def test_coils_in_series_are_joined_at_a_node_no_part_touches() -> None:
    inputs = (Input("neck", "in", back="mid"), Input("bridge", "mid"))
    parts = (Resistor("R1", ("in", "out"), 1e4), load())
    assert said(Circuit("test", "Test", inputs, "out", parts)) == []


def test_a_transconductor_leads_from_its_control_to_where_its_current_goes() -> None:
    circuit = drawn(Transconductor("G1", 1e-3, ("in", "gnd"), ("gnd", "out")), load())
    assert said(circuit) == []


# -- direct current --------------------------------------------------------------------


def test_a_node_between_capacitors_is_worth_a_note() -> None:
    circuit = drawn(
        Capacitor("C1", ("in", "a"), 1e-9), Capacitor("C2", ("a", "out"), 1e-9)
    )
    circuit = drawn(*circuit.parts, load())
    assert said(circuit) == ["C1: node 'a' has no path for direct current"]
    assert look_over(circuit).warnings == ()


def test_an_op_amp_input_behind_a_capacitor_is_worth_a_warning() -> None:
    circuit = drawn(
        Capacitor("C1", ("in", "a"), 1e-9), OpAmp("U1", "a", "out", "out"), load()
    )
    (warning,) = look_over(circuit).warnings
    assert str(warning) == (
        "U1: plus, at node 'a', has no path for its bias current; "
        "join it to bias through a resistor"
    )
    assert look_over(circuit).notes == ()  # said once


def test_a_path_that_one_position_of_a_switch_gives_is_a_path() -> None:
    circuit = drawn(
        Capacitor("C1", ("in", "a"), 1e-9),
        Switch("S1", "deep", "a", (("on", ("out",)),)),
        load(),
    )
    control = SwitchControl("deep", ("on", "off"), start="off")
    with_control = Circuit(
        "test", "Test", circuit.inputs, "out", circuit.parts, switches=(control,)
    )
    assert said(with_control) == []


# -- an op-amp that rests at the end of its supply -------------------------------------

NINE_VOLTS = Supply(9.0, 4.5)
AT_THE_END = "U1: plus rests at 0 V, the supply's lower end; meant 'bias'?"


def amplifier(plus: str, *parts: Part, supply: Supply | None = NINE_VOLTS) -> Circuit:
    """Return a circuit with a follower whose plus is joined to "in" by a capacitor."""
    coupling = Capacitor("C1", ("in", "p"), 1e-7)
    follower = OpAmp("U1", plus, "out", "out")
    every = (coupling, follower, *parts)
    return Circuit("test", "Test", (Input("in", "in"),), "out", every, supply=supply)


def to(node: str, ref: str = "R1") -> Resistor:
    return Resistor(ref, ("p", node), 1e6)


@pytest.mark.parametrize(
    "parts",
    [
        [to("gnd")],
        [to("gnd"), to("gnd", "R2")],
        [to("q"), Resistor("R2", ("q", "gnd"), 1e5)],
        [to("gnd"), to("q", "R2"), Capacitor("C2", ("q", "bias"), 1e-6)],
        [to("gnd"), to("in", "R2")],  # a pickup rests at 0 V too
        [VariableResistor("P1", 1e6, LINEAR, "k", ("p", "gnd"))],
    ],
)
def test_plus_that_rests_on_ground_is_worth_a_warning(parts: list[Part]) -> None:
    circuit = amplifier("p", *parts)
    assert [str(warning) for warning in look_over(circuit).warnings] == [AT_THE_END]


def test_plus_drawn_right_at_ground_is_worth_a_warning() -> None:
    circuit = drawn(
        Resistor("R1", ("in", "m"), 1e4),
        Resistor("R2", ("m", "out"), 1e4),
        OpAmp("U1", "gnd", "m", "out"),
    )
    assert said(circuit) == []  # without a supply nothing is known of its ends
    on_battery = Circuit(
        "test", "Test", circuit.inputs, "out", circuit.parts, supply=NINE_VOLTS
    )
    assert said(on_battery) == [AT_THE_END]


@pytest.mark.parametrize(
    "parts",
    [
        [to("bias")],
        [to("gnd"), to("bias", "R2")],
        [to("gnd"), to("rail", "R2")],  # a divider
        [to("gnd"), to("out", "R2")],
        [to("gnd"), Transconductor("G1", 1e-3, ("in", "gnd"), ("p", "gnd"))],
        [to("q"), Pot("P1", 1e5, LINEAR, "k", ("gnd", "bias"), "q")],
        [Switch("S1", "lift", "p", (("on", ("gnd",)), ("off", ("bias",))))],
    ],
)
def test_plus_that_something_else_holds_too_is_no_matter(parts: list[Part]) -> None:
    assert look_over(amplifier("p", *parts)).warnings == ()


@pytest.mark.parametrize("supply", [None, Supply(9.0, 0.0)])
def test_plus_may_rest_on_ground_where_ground_is_the_middle(
    supply: Supply | None,
) -> None:
    assert look_over(amplifier("p", to("gnd"), supply=supply)).warnings == ()


# -- several inputs --------------------------------------------------------------------


@pytest.mark.parametrize("name", ["neck", "bridge"])
def test_an_input_among_several_is_told_by_its_name(name: str) -> None:
    nodes = {"neck": "n", "bridge": "b", name: "x"}
    inputs = tuple(Input(key, node) for key, node in nodes.items())
    parts = (
        Resistor("R1", ("n", "out"), 1e4),
        Resistor("R2", ("b", "out"), 1e4),
        Resistor("R3", ("n", "b"), 1e4),
    )
    remarks = look_over(Circuit("test", "Test", inputs, "out", (*parts, load())))
    (fault,) = remarks.faults
    assert fault.part == f"inputs.{name}"
    assert fault.message == "is at node 'x', which no part touches"


# -- sentences -------------------------------------------------------------------------


def test_nodes_are_said_in_the_order_of_the_drawing_and_grounds_last() -> None:
    circuit = drawn(
        Resistor("R1", ("in", "gnd"), 1e6),
        Pot("P1", 1e5, LINEAR, "k", ("gnd", "in"), "w"),
        VariableResistor("P2", 1e5, LINEAR, "k", ("w", "bias")),
        OpAmp("U1", "w", "out", "out"),
        Switch("S1", "deep", "w", (("on", ("t",)), ("deeper", ("t",)))),
        Capacitor("C1", ("t", "gnd"), 1e-9),
    )
    assert node_sentences(circuit) == (
        "in: input, R1, P1 end at 10",
        "w: P1 wiper, P2, U1 plus, S1 common",
        "out: output, U1 minus, U1 out",
        "t: S1 on and deeper, C1",
        "gnd: R1, P1 end at 0, C1",
        "bias: P2",
    )


def test_several_inputs_are_said_with_their_names_and_backs() -> None:
    inputs = (Input("neck", "n", back="b"), Input("bridge", "b"))
    circuit = Circuit("test", "Test", inputs, "n", (load("n"),))
    assert node_sentences(circuit) == (
        "n: input neck, output, R9",
        "b: back of input neck, input bridge",
        "gnd: R9",
    )


def test_straight_through_is_one_node() -> None:
    assert node_sentences(STRAIGHT) == ("in: input, output",)
