# SPDX-License-Identifier: GPL-3.0-or-later
"""Poles and zeros against direct solves and closed formulas."""

from collections.abc import Callable
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tonebench.circuit.circuit import STRAIGHT, Circuit, Input
from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Hookup, join
from tonebench.circuit.parts import (
    Capacitor,
    Inductor,
    OpAmp,
    Resistor,
)
from tonebench.network import roots as roots_module
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.network.roots import Roots, find_roots, roots_of

Draw = Callable[..., Circuit]
Reader = Callable[[str], Circuit]

HZ = np.geomspace(1, 1e5, 101)
CIRCUITS = sorted(
    path.stem
    for path in (Path(__file__).parents[1] / "reference_circuits").glob("*.toml")
)


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


@pytest.mark.parametrize("more", [{}, {"tone": 2}, {"cut": "hard"}])
def test_inputs_share_their_poles_and_have_zeros_of_their_own(
    reference: Reader, with_pickup: Hookup, more: Settings
) -> None:
    network = Network(join(reference("passive_harness"), with_pickup))
    neck, bridge = find_roots(network, {"neck": 3, **more})
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


def test_a_response_that_falls_by_several_powers_has_no_zeros_at_all() -> None:
    """A coil, a lead and two more low-passes: four powers of s, and no finite zero.

    Rounding splits a multiple zero at infinity into a ring, half of it right of the
    axis, which must not count when the response is divided by.
    """
    parts = (
        Inductor("L1", ("in", "a"), 2.2, winding_ohm=6100),
        Capacitor("C1", ("a", "gnd"), 820e-12),
        Resistor("R1", ("a", "b"), 1e5),
        Capacitor("C2", ("b", "gnd"), 1e-9),
        Resistor("R2", ("b", "out"), 1e5),
        Capacitor("C3", ("out", "gnd"), 1e-9),
    )
    found = one(replace(STRAIGHT, parts=parts, output="out"))
    assert len(found.zeros) == 0
    assert len(found.poles) == 4


def test_a_zero_far_above_hearing_is_kept_where_it_counts() -> None:
    """20 kΩ and 10 pF into 1 kΩ: a zero at 1/(R·C) = 5e6 rad/s, by hand."""
    parts = (
        Resistor("R1", ("in", "out"), 20e3),
        Capacitor("C1", ("in", "out"), 10e-12),
        Resistor("R2", ("out", "gnd"), 1e3),
    )
    (zero,) = one(replace(STRAIGHT, parts=parts, output="out")).zeros
    assert zero == pytest.approx(-1 / (20e3 * 10e-12), rel=1e-9)
