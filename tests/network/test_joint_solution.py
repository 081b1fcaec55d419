# SPDX-License-Identifier: GPL-3.0-or-later
"""Several inputs, and circuits before and after, against one drawing of it all."""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from tonebench.circuit.circuit import Circuit, Input
from tonebench.circuit.hookup import Hookup, Neighbour, join
from tonebench.circuit.parts import (
    Capacitor,
    OpAmp,
    Part,
    Pot,
    Resistor,
)
from tonebench.circuit.tapers import parse_taper
from tonebench.network.nodal import Network
from tonebench.network.response import response

Draw = Callable[..., Circuit]
Gain = Callable[..., NDArray[np.complex128]]
Reader = Callable[[str], Circuit]

LINEAR = parse_taper("linear")
HZ = np.geomspace(1, 1e5, 21)


def test_sources_of_a_mixer_are_heard_each_with_the_others_silent(drawn: Draw) -> None:
    inputs = (Input("one", "a"), Input("two", "b"))
    mixer = drawn(
        Resistor("R1", ("a", "m"), 10e3),
        Resistor("R2", ("b", "m"), 22e3),
        Resistor("R3", ("m", "out"), 47e3),
        OpAmp("U1", "gnd", "m", "out"),
        inputs=inputs,
    )
    network = Network(join(mixer))
    assert network.inputs == ("one", "two")
    got = response(network, {}, HZ)
    np.testing.assert_allclose(got[0], -4.7, rtol=1e-13)
    np.testing.assert_allclose(got[1], -47 / 22, rtol=1e-13)


def first_stage(node: str, output: str) -> tuple[Part, ...]:
    return (
        Resistor("R1", ("in", node), 4.7e3),
        Capacitor("C1", (node, "gnd"), 10e-9),
        Capacitor("C2", (node, output), 100e-9),
    )


def second_stage(entry: str, node: str) -> tuple[Part, ...]:
    return (
        Pot("P1", 100e3, LINEAR, "level", (entry, "gnd"), node),
        Resistor("R2", (node, "out"), 10e3),
        Capacitor("C3", ("out", "gnd"), 2.2e-9),
    )


@pytest.mark.parametrize("position", [0, 3, 10])
def test_circuit_before_another_is_solved_as_one_drawing(
    drawn: Draw, gain: Gain, with_pickup: Hookup, position: float
) -> None:
    # on the floor the lead stands between the two, so that the merged one draws it
    before = drawn(*first_stage("a", "o"), output="o")
    circuit = drawn(*second_stage("in", "w"))
    lead = Capacitor("lead", ("o", "gnd"), with_pickup.cable_farad)
    merged = drawn(*first_stage("a", "o"), lead, *second_stage("o", "w"))
    coil = with_pickup.pickups
    joined = Hookup(
        coil,
        cable_farad=with_pickup.cable_farad,
        load_ohm=1e6,
        before=(Neighbour(before),),
    )
    setting = {"level": position}
    np.testing.assert_allclose(
        gain(circuit, HZ, setting, joined),
        gain(merged, HZ, setting, Hookup(coil, load_ohm=1e6)),
        rtol=1e-12,
    )


@pytest.mark.parametrize("position", [0, 3, 10])
def test_circuit_into_another_is_solved_as_one_drawing(
    drawn: Draw, gain: Gain, position: float
) -> None:
    circuit = drawn(*first_stage("a", "o"), output="o")
    into = Neighbour(drawn(*second_stage("in", "w")), {"level": position})
    merged = drawn(*first_stage("a", "o"), *second_stage("o", "w"))
    np.testing.assert_allclose(
        gain(circuit, HZ, {}, Hookup(source_ohm=600, load_ohm=1e6, into=(into,))),
        gain(merged, HZ, {"level": position}, Hookup(source_ohm=600, load_ohm=1e6)),
        rtol=1e-12,
    )


def test_neighbour_is_not_multiplied_but_loads(drawn: Draw, gain: Gain) -> None:
    divider = drawn(
        Resistor("R1", ("in", "out"), 10e3), Resistor("R2", ("out", "gnd"), 10e3)
    )
    joint = gain(divider, HZ, {}, Hookup(before=(Neighbour(divider),)))
    np.testing.assert_allclose(joint, 0.2, rtol=1e-14)  # and not 0.25


def test_neighbour_keeps_its_own_knobs_under_its_own_name(
    drawn: Draw, reference: Reader
) -> None:
    circuit = reference("tone_control")
    chain = join(circuit, Hookup(into=(Neighbour(circuit, {"bass": 7}),)))
    names = [control.name for control in chain.controls]
    assert len(set(names)) == 4
    assert names[:2] == ["bass", "treble"]
    assert set(Network(chain).setting({}).values()) == {5, 7}
