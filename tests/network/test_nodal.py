# SPDX-License-Identifier: GPL-3.0-or-later
"""Small drawings whose answer is a divider, a product or a sum, checked by hand."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from tonebench.circuit.circuit import Circuit, Input
from tonebench.circuit.controls import SwitchControl
from tonebench.circuit.hookup import Hookup, Pickup, join
from tonebench.circuit.parts import (
    Capacitor,
    Inductor,
    OpAmp,
    Part,
    Pot,
    Resistor,
    Switch,
    Transconductor,
    VariableResistor,
)
from tonebench.circuit.tapers import parse_taper
from tonebench.errors import CircuitError
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.network.roots import find_roots

Draw = Callable[..., Circuit]
Gain = Callable[..., NDArray[np.complex128]]

LINEAR = parse_taper("linear")
HZ = np.geomspace(1, 1e5, 21)


def level(**changes: object) -> Pot:
    values: dict[str, object] = {"ends": ("gnd", "in"), "wiper": "out"} | changes
    return Pot("P1", 100e3, LINEAR, "level", **values)  # type: ignore[arg-type]


# Pots


@pytest.mark.parametrize(("position", "share"), [(0, 0), (2, 0.2), (5, 0.5), (10, 1)])
def test_pot_divides_exactly_at_both_ends_and_between(
    drawn: Draw, gain: Gain, position: float, share: float
) -> None:
    # between the ends, one rounding of the division is allowed for
    got = gain(drawn(level()), HZ, {"level": position})
    np.testing.assert_allclose(got, share, rtol=2e-16, atol=0)


def test_loaded_pot_divides_as_its_two_legs_do(drawn: Draw, gain: Gain) -> None:
    circuit = drawn(level(), Resistor("R1", ("out", "gnd"), 50e3))
    below = 1 / (1 / 30e3 + 1 / 50e3)
    np.testing.assert_allclose(
        gain(circuit, HZ, {"level": 3}), below / (below + 70e3), rtol=1e-14
    )


def test_pot_at_its_end_is_a_wire_and_not_a_small_resistance(
    drawn: Draw, gain: Gain
) -> None:
    # a 10 MΩ source into the wiper at the grounded end: 1 nΩ would still let 1e-16 pass
    into = Resistor("R1", ("in", "w"), 10e6)
    track = Pot("P1", 100e3, LINEAR, "k", ("gnd", "far"), "w")
    assert np.all(gain(drawn(into, track, output="w"), HZ, {"k": 0}) == 0)


def test_resistor_of_zero_ohm_and_pot_at_zero_are_the_same_wire(
    drawn: Draw, gain: Gain
) -> None:
    load = (Resistor("R2", ("out", "gnd"), 1e6), Capacitor("C1", ("out", "gnd"), 1e-9))
    source = Resistor("R1", ("in", "a"), 10e3)
    wire = drawn(source, Resistor("W1", ("a", "out"), 0.0), *load)
    turned = drawn(
        source, VariableResistor("P1", 250e3, LINEAR, "k", ("a", "out")), *load
    )
    s = 2j * np.pi * HZ
    wanted = 1 / (1 + 10e3 * (1e-6 + 1e-9 * s))
    np.testing.assert_allclose(gain(wire, HZ), wanted, rtol=1e-13)
    np.testing.assert_allclose(gain(turned, HZ, {"k": 0}), wanted, rtol=1e-13)


def test_tap_to_ground_loads_the_track_where_it_stands(drawn: Draw, gain: Gain) -> None:
    # in, 60 k, tap with 10 k to ground, then 20 k of the track to the wiper, 20 k below
    circuit = drawn(
        level(tap="t", tap_at=0.4), Resistor("R1", ("t", "gnd"), 10e3), output="out"
    )
    tap = 8e3 / 68e3  # 10 k in parallel to 40 k
    np.testing.assert_allclose(
        gain(circuit, HZ, {"level": 2}), tap * 20 / 40, rtol=1e-13
    )
    np.testing.assert_allclose(gain(circuit, HZ, {"level": 4}), tap, rtol=1e-13)
    above = tap + (1 - tap) * 30 / 60
    np.testing.assert_allclose(gain(circuit, HZ, {"level": 7}), above, rtol=1e-13)


def test_no_load_pot_is_out_of_the_circuit_when_its_wiper_leaves(
    drawn: Draw, gain: Gain
) -> None:
    tone = VariableResistor("P1", 250e3, LINEAR, "tone", ("out", "t"), open_at=10)
    cut = Capacitor("C1", ("t", "gnd"), 47e-9)
    rest = (Resistor("R1", ("in", "out"), 10e3), Resistor("R2", ("out", "gnd"), 1e6))
    bare = gain(drawn(*rest), HZ)
    np.testing.assert_allclose(
        gain(drawn(tone, cut, *rest), HZ, {"tone": 10}), bare, rtol=1e-13
    )
    s = 2j * np.pi * HZ
    below = 1 / (1e-6 + s * 47e-9 / (1 + s * 47e-9 * 249e3))
    np.testing.assert_allclose(
        gain(drawn(tone, cut, *rest), HZ, {"tone": 9.96}),
        below / (below + 10e3),
        rtol=1e-12,
    )


def test_pots_on_one_knob_turn_together(drawn: Draw, gain: Gain) -> None:
    first = Pot("P1", 100e3, LINEAR, "k", ("gnd", "in"), "a")
    buffer = OpAmp("U1", "a", "b", "b")
    second = Pot("P2", 47e3, parse_taper("reverse-audio-10"), "k", ("b", "gnd"), "out")
    got = gain(drawn(first, buffer, second), HZ, {"k": 5})
    np.testing.assert_allclose(got, 0.5 * (1 - 0.9), rtol=1e-12)


# Switches and islands


def switched(drawn: Draw, *parts: Part) -> Circuit:
    positions = SwitchControl("s", ("open", "one", "both"), start="open")
    pole = Switch("S1", "s", "gnd", (("one", ("a",)), ("both", ("a", "b"))))
    rest = (
        Resistor("R1", ("in", "out"), 10e3),
        Capacitor("C1", ("out", "a"), 10e-9),
        Capacitor("C2", ("out", "b"), 22e-9),
    )
    return drawn(*rest, pole, *parts, switches=(positions,))


@pytest.mark.parametrize(
    ("position", "farad"), [("open", 0.0), ("one", 10e-9), ("both", 32e-9)]
)
def test_switch_connects_what_it_is_thrown_to(
    drawn: Draw, gain: Gain, position: str, farad: float
) -> None:
    wanted = 1 / (1 + 2j * np.pi * HZ * 10e3 * farad)
    got = gain(switched(drawn), HZ, {"s": position})
    np.testing.assert_allclose(got, wanted, rtol=1e-12)


def test_island_changes_nothing(drawn: Draw, gain: Gain) -> None:
    island = (
        Resistor("R8", ("x", "y"), 1e3),
        Capacitor("C8", ("x", "y"), 1e-6),
        Inductor("L8", ("y", "z"), 1.0),
    )
    for position in ("open", "one", "both"):
        np.testing.assert_allclose(
            gain(switched(drawn, *island), HZ, {"s": position}),
            gain(switched(drawn), HZ, {"s": position}),
            rtol=1e-13,
        )


def test_island_between_the_ends_of_a_floating_source_changes_nothing(
    drawn: Draw, gain: Gain
) -> None:
    # two coils in series, the lower one's back at ground, tied by nothing else
    coils = (Input("top", "a", "b"), Input("low", "b"))
    circuit = drawn(
        Resistor("R1", ("a", "out"), 30e3),
        Resistor("R2", ("out", "gnd"), 10e3),
        inputs=coils,
    )
    both = response(Network(join(circuit)), {}, HZ)
    np.testing.assert_allclose(both, 0.25, rtol=1e-14)


def test_series_coils_add_their_resistances_and_inductances(drawn: Draw) -> None:
    coils = (Input("top", "out", "b"), Input("low", "b"))
    circuit = drawn(Resistor("R1", ("out", "gnd"), 100e3), inputs=coils)
    coil = Pickup("coil", 5e3, 2.0, 1e-20)
    both = response(Network(join(circuit, Hookup({"": coil}))), {}, HZ)
    wanted = 100e3 / (110e3 + 2j * np.pi * HZ * 4.0)
    # the capacitance of 1e-20 F is there only because a coil has one
    np.testing.assert_allclose(both, [wanted, wanted], rtol=1e-7)


# Refusals


def one_sentence(error: pytest.ExceptionInfo[CircuitError]) -> str:
    text = str(error.value)
    assert "\n" not in text
    assert not text.endswith(".")
    return text


def test_setting_that_shorts_a_source_is_refused(drawn: Draw) -> None:
    rest = (Resistor("R1", ("in", "out"), 1e3), Resistor("R2", ("out", "gnd"), 1e3))
    short = VariableResistor("P1", 100e3, LINEAR, "k", ("in", "gnd"))
    network = Network(join(drawn(short, *rest)))
    with pytest.raises(CircuitError, match="shorts the source of input 'in'") as error:
        response(network, {"k": 0}, HZ)
    text = one_sentence(error)
    assert text.startswith("P1")
    assert "k at 0" in text
    np.testing.assert_allclose(response(network, {"k": 1}, HZ), 0.5, rtol=1e-14)


def test_setting_that_shorts_an_output_is_refused(drawn: Draw) -> None:
    follower = OpAmp("U1", "in", "out", "out")
    short = Pot("P1", 10e3, LINEAR, "k", ("gnd", "x"), "out")
    network = Network(join(drawn(follower, short)))
    with pytest.raises(CircuitError, match="shorts the output of U1") as error:
        find_roots(network, {"k": 0})
    one_sentence(error)


def test_wire_between_two_outputs_is_refused(drawn: Draw) -> None:
    outputs = (OpAmp("U1", "in", "a", "a"), OpAmp("U2", "in", "out", "out"))
    tie = VariableResistor("P1", 10e3, LINEAR, "k", ("a", "out"))
    with pytest.raises(
        CircuitError, match="the output of U1 to the output of U2"
    ) as error:
        response(Network(join(drawn(*outputs, tie))), {"k": 0}, HZ)
    one_sentence(error)


def test_two_outputs_on_one_node_are_refused(drawn: Draw) -> None:
    outputs = (OpAmp("U1", "in", "out", "out"), OpAmp("U2", "in", "out", "out"))
    with pytest.raises(CircuitError, match="U2") as error:
        response(Network(join(drawn(*outputs))), {}, HZ)
    one_sentence(error)


def test_op_amp_without_feedback_is_refused(drawn: Draw) -> None:
    with pytest.raises(CircuitError, match="no solution") as error:
        response(Network(join(drawn(OpAmp("U1", "in", "gnd", "out")))), {}, HZ)
    one_sentence(error)


def test_loop_of_wires_is_no_fault(drawn: Draw, gain: Gain) -> None:
    wires = [("in", "a"), ("a", "out"), ("in", "out"), ("out", "in")]
    parts = [Resistor(f"W{k}", pair, 0.0) for k, pair in enumerate(wires)]
    circuit = drawn(*parts, Resistor("R1", ("out", "gnd"), 1e3))
    np.testing.assert_allclose(gain(circuit, HZ), 1, rtol=1e-15)


@pytest.mark.parametrize("rail", ["gnd", "bias", "rail"])
def test_reserved_nodes_are_all_ground_for_signals(
    drawn: Draw, gain: Gain, rail: str
) -> None:
    circuit = drawn(
        Resistor("R1", ("in", "m"), 10e3),
        Resistor("R2", ("m", "o"), 47e3),
        OpAmp("U1", rail, "m", "o"),
        Resistor("R3", ("o", "out"), 1e3),
        Resistor("R4", ("out", rail), 1e3),
    )
    np.testing.assert_allclose(gain(circuit, HZ), -4.7 / 2, rtol=1e-14)


# Op-amps and transconductors


def test_op_amp_of_one_pole_loses_19_millibel_at_20_khz(
    drawn: Draw, gain: Gain
) -> None:
    # gain 10, 3 MHz; computed: |1/(1 + j·20/300)| = −0.01926 dB. Unity at 1 MHz and
    # gain 10 give f₂ = 100 kHz (A. Malvino, D. Bates, example 19-13).
    def amplifier(gbw_hz: float) -> Circuit:
        return drawn(
            OpAmp("U1", "in", "m", "out", gbw_hz=gbw_hz),
            Resistor("R1", ("out", "m"), 9e3),
            Resistor("R2", ("m", "gnd"), 1e3),
        )

    at_20_khz = abs(gain(amplifier(3e6), 20e3)[0]) / 10
    assert 20 * math.log10(at_20_khz) == pytest.approx(-0.01926, abs=6e-6)
    at_100_khz = gain(amplifier(1e6), 100e3)[0]
    assert at_100_khz == pytest.approx(10 / (1 + 1j), rel=1e-12)


def test_op_amp_of_finite_gain_and_bandwidth_follows_its_definition(
    drawn: Draw, gain: Gain
) -> None:
    # V+ − V− = Vout·(1/A₀ + s/(2π·gbw)), the follower: 1 / (1 + 1/A₀ + s/(2π·gbw))
    circuit = drawn(OpAmp("U1", "in", "out", "out", gbw_hz=1e6, open_loop_gain=2e3))
    wanted = 1 / (1 + 1 / 2e3 + 1j * HZ / 1e6)
    np.testing.assert_allclose(gain(circuit, HZ), wanted, rtol=1e-13)


def test_transconductor_draws_its_current_from_the_first_node_it_names(
    drawn: Draw, gain: Gain
) -> None:
    # a common source: gain −gm·R_d/(1 + gm·R_s)
    circuit = drawn(
        Transconductor("G1", 2e-3, ("in", "s"), ("out", "s")),
        Resistor("Rd", ("out", "rail"), 4.7e3),
        Resistor("Rs", ("s", "gnd"), 1e3),
    )
    np.testing.assert_allclose(gain(circuit, HZ), -2e-3 * 4.7e3 / 3, rtol=1e-13)
