# SPDX-License-Identifier: GPL-3.0-or-later
"""Ways along the lines of a drawing."""

from hypothesis import given, settings
from hypothesis import strategies as st

from tonebench.circuit.circuit import Circuit, Input
from tonebench.circuit.controls import SwitchControl
from tonebench.circuit.parts import (
    Capacitor,
    OpAmp,
    Part,
    Pot,
    Resistor,
    Switch,
    Transconductor,
)
from tonebench.circuit.paths import (
    Groups,
    held_nodes,
    links,
    next_nodes,
    reached_nodes,
    resting_places,
)
from tonebench.circuit.tapers import Taper


def drawn(*parts: Part, switches: tuple[SwitchControl, ...] = ()) -> Circuit:
    inputs = (Input("in", "in"),)
    return Circuit("test", "Test", inputs, "out", parts, switches=switches)


PAIRS = st.lists(st.tuples(st.sampled_from("abcdef"), st.sampled_from("abcdef")))


@given(PAIRS)
@settings(deadline=None)
def test_groups_are_what_spreading_a_colour_finds(pairs: list[tuple[str, str]]) -> None:
    groups = Groups()
    colours = {name: name for name in "abcdef"}
    for one, other in pairs:
        old, new = colours[one], colours[other]
        assert groups.join(one, other) == (old != new)
        colours = {name: new if c == old else c for name, c in colours.items()}
    for one in "abcdef":
        for other in "abcdef":
            assert groups.are_joined(one, other) == (colours[one] == colours[other])


def test_a_pot_conducts_from_its_wiper_to_each_end_and_its_tap() -> None:
    pot = Pot("P1", 1e5, Taper("linear"), "k", ("a", "b"), "w", tap="t", tap_at=0.5)
    assert set(links(pot)) == {("w", "a"), ("w", "b"), ("w", "t")}


def test_a_switch_is_closed_everywhere_unless_it_is_said_where_it_stands() -> None:
    switch = Switch("S1", "mode", "p", (("low", ("q",)), ("high", ("q", "r"))))
    assert set(links(switch)) == {("p", "q"), ("p", "r")}
    assert set(links(switch, {"mode": "low"})) == {("p", "q")}
    assert set(links(switch, {"mode": "mid"})) == set()
    assert set(links(switch, {"other": "mid"})) == {("p", "q"), ("p", "r")}


def test_op_amps_hold_their_output_and_let_a_signal_through_one_way() -> None:
    circuit = drawn(
        Resistor("R1", ("in", "p"), 1e3),
        OpAmp("U1", "p", "o", "o"),
        Resistor("R2", ("o", "out"), 1e3),
    )
    steps = next_nodes(circuit)
    assert reached_nodes(steps, ["in"]) == {"in", "p", "o", "out"}
    assert reached_nodes(steps, ["out"]) == {"out"}  # nothing gets into an output
    assert reached_nodes(next_nodes(circuit, with_active=False), ["in"]) == {"in", "p"}


def test_transconductors_let_a_signal_through_one_way() -> None:
    circuit = drawn(Transconductor("G1", 1e-3, ("in", "gnd"), ("out", "gnd")))
    assert reached_nodes(next_nodes(circuit), ["in"]) == {"in", "out"}
    assert reached_nodes(next_nodes(circuit), ["out"]) == {"out"}


def test_a_signal_goes_no_further_than_ground() -> None:
    circuit = drawn(
        Resistor("R1", ("in", "gnd"), 1.0), Resistor("R2", ("bias", "out"), 1)
    )
    assert reached_nodes(next_nodes(circuit), ["in"]) == {"in"}


def test_a_node_is_held_through_parts_that_conduct() -> None:
    parts = (
        Capacitor("C1", ("in", "a"), 1e-9),
        Resistor("R1", ("a", "b"), 1e3),
        Capacitor("C2", ("b", "out"), 1e-9),
        Resistor("R2", ("out", "rail"), 1e3),
    )
    circuit = drawn(*parts)
    assert held_nodes(circuit, parts) == {"in", "a", "b", "out", "rail"}
    assert held_nodes(circuit, (parts[1], parts[3])) == {"in", "out", "rail"}


def test_a_node_that_one_position_holds_is_held() -> None:
    control = SwitchControl("mode", ("one", "two"), start="one")
    pole = Switch("S1", "mode", "a", (("one", ("b",)), ("two", ("c",))))
    rest = (
        Capacitor("C1", ("in", "a"), 1e-9),
        Resistor("R1", ("b", "gnd"), 1e3),
        Capacitor("C2", ("c", "gnd"), 1e-9),
    )
    circuit = drawn(pole, *rest, switches=(control,))
    # a and c hang together at "two", a and b at "one"; never all three
    assert held_nodes(circuit, (pole, rest[1])) == {"in", "a", "b", "gnd"}


def test_a_node_rests_where_direct_current_leads_and_no_further() -> None:
    circuit = drawn(
        Capacitor("C1", ("in", "a"), 1e-7),
        Resistor("R1", ("a", "b"), 1e5),
        Pot("P1", 1e5, Taper("linear"), "k", ("gnd", "b"), "w"),
        Resistor("R2", ("b", "o"), 1e5),
        OpAmp("U1", "a", "o", "o"),
        Resistor("R3", ("o", "rail"), 1e5),
        Resistor("R4", ("gnd", "bias"), 1e5),
        Capacitor("C2", ("w", "bias"), 1e-7),
    )
    for node in ("a", "b", "w"):
        assert resting_places(circuit, node) == {"gnd", "o"}
    assert resting_places(circuit, "o") == {"o"}
    assert resting_places(circuit, "gnd") == {"gnd"}
    assert resting_places(circuit, "in") == set()


def test_a_node_rests_where_a_current_enters_it() -> None:
    circuit = drawn(
        Transconductor("G1", 1e-3, ("in", "gnd"), ("a", "gnd")),
        Resistor("R1", ("a", "b"), 1e5),
        Resistor("R2", ("b", "gnd"), 1e5),
    )
    assert resting_places(circuit, "b") == {"a", "gnd"}
