# SPDX-License-Identifier: GPL-3.0-or-later
"""Settings at which poles and zeros degenerate: silence, hidden modes, zeros at DC.

Expected roots are those of the circuit reduced by hand.
"""

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.controls import Settings, SwitchControl
from tonebench.circuit.hookup import join
from tonebench.circuit.parts import (
    Capacitor,
    Inductor,
    OpAmp,
    Part,
    Pot,
    Resistor,
    Switch,
    Transconductor,
)
from tonebench.circuit.tapers import parse_taper
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.network.roots import Roots, find_roots

Draw = Callable[..., Circuit]
Reader = Callable[[str], Circuit]

LINEAR = parse_taper("linear")
HZ = np.geomspace(1, 1e5, 101)


def one(circuit: Circuit, setting: Settings | None = None) -> Roots:
    (roots,) = find_roots(Network(join(circuit)), setting or {})
    return roots


# Silence


def test_volume_at_0_is_silent_and_nothing_else(drawn: Draw) -> None:
    circuit = drawn(
        Pot("P1", 250e3, LINEAR, "k", ("gnd", "in"), "w"),
        Resistor("R1", ("w", "out"), 10e3),
        Capacitor("C1", ("out", "gnd"), 1e-9),
    )
    silent = one(circuit, {"k": 0})
    assert silent.is_silent
    assert silent.is_stable
    assert not silent.response(HZ).any()
    assert not one(circuit, {"k": 1e-6}).is_silent


def test_difference_of_equals_is_silent(drawn: Draw) -> None:
    # a bridge in balance, read by a transconductor: rounding must not sound
    arms = [
        Resistor(f"R{k}", pair, ohm)
        for k, (pair, ohm) in enumerate(
            [
                (("in", "a"), 3.3e3),
                (("a", "gnd"), 4.7e3),
                (("in", "b"), 33e3),
                (("b", "gnd"), 47e3),
            ]
        )
    ]
    circuit = drawn(
        *arms,
        Transconductor("G1", 1e-3, ("a", "b"), ("out", "gnd")),
        Resistor("R9", ("out", "gnd"), 10e3),
        Capacitor("C9", ("out", "gnd"), 1e-9),
    )
    assert one(circuit).is_silent


def test_input_that_is_turned_down_is_silent_while_the_other_sounds(
    reference: Reader,
) -> None:
    network = Network(join(reference("passive_harness")))
    neck, bridge = find_roots(network, {"neck": 0})
    assert neck.is_silent
    assert not bridge.is_silent


# Modes that can't be heard


def test_capacitor_that_hangs_from_an_open_switch_leaves_no_pole(drawn: Draw) -> None:
    positions = SwitchControl("s", ("off", "on"), start="off")
    circuit = drawn(
        Resistor("R1", ("in", "out"), 10e3),
        Capacitor("C1", ("out", "gnd"), 1e-9),
        Capacitor("C2", ("out", "h"), 1e-6),
        Resistor("R2", ("h", "i"), 1e3),
        Switch("S1", "s", "gnd", (("on", ("i",)),)),
        switches=(positions,),
    )
    off = one(circuit, {"s": "off"})
    np.testing.assert_allclose(off.poles, [-1e5], rtol=1e-12)
    on = one(circuit, {"s": "on"})
    assert len(on.poles) == 2
    np.testing.assert_allclose(on.zeros, [-1e3], rtol=1e-12)


def chain_of_capacitors(drawn: Draw, count: int) -> Circuit:
    nodes = ["in", *(f"n{k}" for k in range(1, count)), "out"]
    capacitors = [
        Capacitor(f"C{k}", pair, (1 + k) * 10e-9)
        for k, pair in enumerate(pairwise(nodes))
    ]
    return drawn(*capacitors, Resistor("R1", ("out", "gnd"), 10e3))


@pytest.mark.parametrize("count", [1, 2, 3, 6])
def test_node_between_two_capacitors_leaves_no_pole_at_dc(
    drawn: Draw, count: int
) -> None:
    # capacitors in series are one capacitor, and what they keep is never heard
    total = 10e-9 / sum(1 / k for k in range(1, count + 1))
    roots = one(chain_of_capacitors(drawn, count))
    assert roots.is_stable
    np.testing.assert_allclose(roots.poles, [-1 / (10e3 * total)], rtol=1e-12)
    assert roots.zeros.tolist() == [0]


@pytest.mark.parametrize("count", [1, 2, 4])
def test_nodes_between_coupling_capacitors_of_several_stages_leave_no_pole_at_dc(
    drawn: Draw, count: int
) -> None:
    # buffered high-passes, each coupled by two capacitors without a leak between them
    parts: list[Part] = []
    node = "in"
    for k in range(count):
        a, b, c = f"a{k}", f"b{k}", f"c{k}"
        parts += [
            Capacitor(f"C{2 * k}", (node, a), 47e-9),
            Capacitor(f"C{2 * k + 1}", (a, b), 470e-9),
            Resistor(f"R{k}", (b, "gnd"), 1e6),
            OpAmp(f"U{k}", b, c, c, gbw_hz=3e6, open_loop_gain=1e5),
        ]
        node = c
    roots = one(drawn(*parts, output=node))
    assert roots.is_stable
    assert len(roots.poles) == 2 * count
    assert np.count_nonzero(roots.zeros == 0) == count
    s = 2j * np.pi * HZ
    tau = 1e6 * 1 / (1 / 47e-9 + 1 / 470e-9)
    stage = s * tau / (1 + s * tau) / (1 + 1e-5 + s / (2 * np.pi * 3e6))
    np.testing.assert_allclose(roots.response(HZ), stage**count, rtol=1e-9)


def test_output_that_nothing_discharges_passes_everything(drawn: Draw) -> None:
    # a coupling capacitor without a load; a second one hangs from it or from the input
    hanging: list[tuple[Part, ...]] = [
        (Capacitor("C1", ("in", "out"), 66e-12), Capacitor("C2", ("out", "b"), 37e-12)),
        (Capacitor("C1", ("in", "a"), 66e-12), Capacitor("C2", ("a", "out"), 37e-12)),
        (
            Capacitor("C1", ("in", "a"), 74e-12),
            Resistor("R1", ("a", "out"), 210.0),
            Capacitor("C2", ("in", "b"), 220e-9),
        ),
    ]
    for parts in hanging:
        for ohm in (470.0, 910e3):
            roots = one(drawn(*parts, Resistor("R9", ("in", "gnd"), ohm)))
            assert (len(roots.poles), len(roots.zeros)) == (0, 0), parts
            np.testing.assert_allclose(roots.response(HZ), 1, rtol=1e-9)


def test_high_pass_with_a_hanging_chain_of_capacitors_is_stable(drawn: Draw) -> None:
    circuit = drawn(
        Capacitor("C1", ("in", "a"), 2.2e-9),
        Resistor("R1", ("a", "gnd"), 140e3),
        Capacitor("C2", ("a", "b"), 220e-9),
        Capacitor("C3", ("b", "out"), 270e-9),
        Resistor("R2", ("b", "out"), 3.2e3),
        Capacitor("C4", ("in", "z"), 2.8e-6),
    )
    roots = one(circuit)
    np.testing.assert_allclose(roots.poles, [-1 / (140e3 * 2.2e-9)], rtol=1e-12)
    assert roots.zeros.tolist() == [0]


def test_coils_in_a_loop_leave_no_pole_at_dc(drawn: Draw) -> None:
    # a current that circles in two coils without resistance lasts, and is never heard
    circuit = drawn(
        Resistor("R1", ("in", "out"), 1e3),
        Inductor("L1", ("out", "gnd"), 1.0),
        Inductor("L2", ("out", "gnd"), 3.0),
    )
    roots = one(circuit)
    np.testing.assert_allclose(roots.poles, [-1e3 / 0.75], rtol=1e-12)
    assert roots.zeros.tolist() == [0]


# Zeros at DC


@pytest.mark.parametrize("count", [1, 2, 3, 4, 6])
def test_coupling_capacitors_give_exact_zeros_at_dc(drawn: Draw, count: int) -> None:
    # not buffered, so that no pole stands where its neighbour's formula puts it
    parts: list[Part] = []
    nodes = ["in", *(f"n{k}" for k in range(1, count)), "out"]
    for k, (a, b) in enumerate(pairwise(nodes)):
        parts.append(Capacitor(f"C{k}", (a, b), 100e-9))
        parts.append(Resistor(f"R{k}", (b, "gnd"), 47e3))
    roots = one(drawn(*parts))
    assert roots.zeros.tolist() == [0] * count
    assert len(roots.poles) == count
    truth = response(Network(join(drawn(*parts))), {}, HZ)[0]
    np.testing.assert_allclose(roots.response(HZ), truth, rtol=1e-9)


def test_true_zeros_near_dc_are_not_taken_for_dc(drawn: Draw) -> None:
    # a coupling capacitor of 47 nF bridged by 1 GΩ: the zero is at 1/47 rad/s
    circuit = drawn(
        Capacitor("C1", ("in", "a"), 47e-9),
        Resistor("R1", ("in", "a"), 1e9),
        Resistor("R2", ("a", "gnd"), 1e6),
        OpAmp("U1", "a", "b", "b"),
        Capacitor("C2", ("b", "out"), 1e-6),
        Resistor("R3", ("out", "gnd"), 100e3),
    )
    zeros = np.sort(one(circuit).zeros.real)
    np.testing.assert_allclose(zeros, [-1 / 47, 0], rtol=1e-6, atol=1e-8)
