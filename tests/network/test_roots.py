# SPDX-License-Identifier: GPL-3.0-or-later
"""Poles and zeros against direct solves, and in the cases that degenerate."""

from collections.abc import Callable
from itertools import pairwise, product

import numpy as np
import pytest
from numpy.typing import NDArray

from tonebench.circuit.circuit import Circuit, Input
from tonebench.circuit.controls import Settings, SwitchControl
from tonebench.circuit.hookup import Hookup, join
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
from tonebench.network import roots as roots_module
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.network.roots import Roots, find_roots, roots_of

Draw = Callable[..., Circuit]
Reader = Callable[[str], Circuit]

LINEAR = parse_taper("linear")
HZ = np.geomspace(1, 1e5, 101)
CIRCUITS = [
    "a_weighting", "c_weighting", "feedback_high_pass", "feedback_low_pass",
    "impedance_converter", "passive_bass", "passive_harness", "phono_two_stage",
    "riaa_feedback", "riaa_iec", "riaa_passive", "sallen_key_high_pass",
    "sallen_key_low_pass", "sallen_key_low_pass_gain", "simulated_inductor",
    "swept_bell", "tone_control", "tone_control_two_capacitors",
]  # fmt: skip


def corners(circuit: Circuit) -> list[Settings]:
    """Return all combinations of switches, and knobs at both ends and the centre."""
    names = [control.name for control in circuit.controls]
    places: list[tuple[float | str, ...]] = [(0, 5, 10)] * len(circuit.knobs)
    places += [switch.positions for switch in circuit.switches]
    return [dict(zip(names, place, strict=True)) for place in product(*places)]


def one(circuit: Circuit, setting: Settings | None = None) -> Roots:
    (roots,) = find_roots(Network(join(circuit)), setting or {})
    return roots


@pytest.mark.parametrize("name", CIRCUITS)
@pytest.mark.parametrize("pickup", [False, True])
def test_product_form_agrees_with_direct_solves_at_all_knob_corners(
    reference: Reader, with_pickup: Hookup, name: str, pickup: bool
) -> None:
    circuit = reference(name)
    network = Network(join(circuit, with_pickup if pickup else None))
    for setting in corners(circuit):
        truth = response(network, setting, HZ)
        for roots, wanted in zip(find_roots(network, setting), truth, strict=True):
            assert roots.is_stable, setting
            if roots.is_silent:  # the direct solve may leave dust
                assert np.abs(wanted).max() < 1e-15, setting
                continue
            np.testing.assert_allclose(
                roots.response(HZ), wanted, rtol=1e-9, err_msg=str(setting)
            )


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


# Zeros to the right, and instability


def test_all_pass_has_its_zero_to_the_right(drawn: Draw) -> None:
    circuit = drawn(
        Resistor("R1", ("in", "m"), 10e3),
        Resistor("R2", ("m", "out"), 10e3),
        Resistor("R3", ("in", "p"), 10e3),
        Capacitor("C1", ("p", "gnd"), 10e-9),
        OpAmp("U1", "p", "m", "out"),
    )
    roots = one(circuit)
    np.testing.assert_allclose(roots.zeros, [1e4], rtol=1e-12)
    np.testing.assert_allclose(roots.poles, [-1e4], rtol=1e-12)
    np.testing.assert_allclose(np.abs(roots.response(HZ)), 1, rtol=1e-12)


def test_op_amp_with_its_inputs_swapped_is_not_stable(drawn: Draw) -> None:
    right = drawn(OpAmp("U1", "in", "out", "out", gbw_hz=3e6, open_loop_gain=1e5))
    wrong = drawn(OpAmp("U1", "out", "in", "out", gbw_hz=3e6, open_loop_gain=1e5))
    assert one(right).is_stable
    assert not one(wrong).is_stable


def test_low_pass_of_equal_parts_oscillates_above_a_gain_of_3(
    reference: Reader,
) -> None:
    # Q = 1/(3 − K): any textbook on active filters
    circuit = reference("sallen_key_low_pass_gain")
    assert one(circuit.with_parts({"R3": "19.9k", "R4": "10k"})).is_stable
    assert not one(circuit.with_parts({"R3": "20.1k", "R4": "10k"})).is_stable


# Several inputs


@pytest.mark.parametrize("setting", [{}, {"neck": 3, "tone": 2}, {"cut": "hard"}])
def test_inputs_share_their_poles_and_have_zeros_of_their_own(
    reference: Reader, with_pickup: Hookup, setting: Settings
) -> None:
    network = Network(join(reference("passive_harness"), with_pickup))
    neck, bridge = find_roots(network, setting)
    np.testing.assert_allclose(
        np.sort_complex(neck.poles), np.sort_complex(bridge.poles), rtol=1e-9
    )
    assert len(neck.zeros) != len(bridge.zeros) or not np.allclose(
        np.sort_complex(neck.zeros), np.sort_complex(bridge.zeros), rtol=1e-3
    )


@pytest.mark.parametrize("setting", [{}, {"neck": 3, "tone": 2}, {"bridge": 0}])
def test_driven_together_is_the_sum_of_each(
    reference: Reader, with_pickup: Hookup, setting: Settings
) -> None:
    network = Network(join(reference("passive_harness"), with_pickup))
    (together,) = find_roots(network, setting, drive="together")
    each = sum(roots.response(HZ) for roots in find_roots(network, setting))
    np.testing.assert_allclose(together.response(HZ), each, rtol=1e-9)


def test_inputs_of_opposite_phase_driven_together_are_silent(drawn: Draw) -> None:
    inputs = (Input("one", "a"), Input("two", "b"))
    circuit = drawn(
        Resistor("R1", ("a", "m"), 10e3),
        Resistor("R2", ("m", "c"), 10e3),
        OpAmp("U1", "gnd", "m", "c"),
        Resistor("R3", ("c", "out"), 10e3),
        Resistor("R4", ("b", "out"), 10e3),
        inputs=inputs,
    )
    network = Network(join(circuit))
    assert [roots.is_silent for roots in find_roots(network, {})] == [False, False]
    (together,) = find_roots(network, {}, drive="together")
    assert together.is_silent


# The self-check, and what it falls back on


@pytest.mark.parametrize("name", CIRCUITS)
def test_scaled_pencil_takes_over_where_the_quick_way_misses(
    reference: Reader,
    with_pickup: Hookup,
    monkeypatch: pytest.MonkeyPatch,
    name: str,
) -> None:
    def no_zeros(self: object, k: int) -> NDArray[np.complex128]:
        return np.empty(0, complex)

    monkeypatch.setattr(roots_module._Shifted, "zeros", no_zeros)
    network = Network(join(reference(name), with_pickup))
    truth = response(network, {}, HZ)
    for roots, wanted in zip(find_roots(network, {}), truth, strict=True):
        assert roots.is_stable
        np.testing.assert_allclose(roots.response(HZ), wanted, rtol=1e-9)


@pytest.mark.parametrize("name", ["swept_bell", "phono_two_stage"])
def test_error_of_the_self_check_is_what_direct_solves_say(
    reference: Reader, with_pickup: Hookup, name: str
) -> None:
    network = Network(join(reference(name), with_pickup))
    (roots,) = roots_of(network.at(network.setting({})))
    hz = np.array([1.0, 11.0, 97.0, 830.0, 7.3e3, 29e3, 1e5])
    truth: NDArray[np.complex128] = response(network, {}, hz)[0]
    off = np.abs(roots.response(hz) / truth - 1).max()
    assert roots.error == pytest.approx(off, abs=1e-14)
    assert roots.error < 1e-10
