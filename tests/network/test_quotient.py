# SPDX-License-Identifier: GPL-3.0-or-later
"""One response divided by another, against closed forms and complex arithmetic."""

from collections.abc import Callable

import numpy as np
import pytest
from loaded_pickup import BRIGHT, LARGE, SMALL, Coil
from numpy.typing import NDArray

from tonebench.circuit.circuit import STRAIGHT, Circuit
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Hookup, Neighbour, Pickup, Piezo, join
from tonebench.circuit.parts import Capacitor, OpAmp, Part, Resistor
from tonebench.errors import CircuitError
from tonebench.network.nodal import Network
from tonebench.network.quotient import divided
from tonebench.network.response import response
from tonebench.network.roots import Roots, find_roots

Complex = NDArray[np.complex128]
Draw = Callable[..., Circuit]

HZ = np.geomspace(10, 24_000, 301)
S = 2j * np.pi * HZ
#: Lead and load of what recorded a take.
LOADS = [(0.0, None), (350e-12, 1e6), (700e-12, 1e6), (1.6e-9, 220e3), (3e-9, 47e3)]
COILS = [SMALL, LARGE, BRIGHT]
coils = pytest.mark.parametrize("coil", COILS, ids=[coil.name for coil in COILS])
loads = pytest.mark.parametrize(("lead", "load"), LOADS)


def pickup(coil: Coil) -> Pickup:
    return Pickup(coil.name, coil.ohm, coil.henry, coil.farad, coil.losses_ohm)


def roots(circuit: Circuit, hookup: Hookup) -> Roots:
    (found,) = find_roots(Network(join(circuit, hookup)), {})
    return found


def direct(circuit: Circuit, hookup: Hookup) -> Complex:
    return response(Network(join(circuit, hookup)), {}, HZ)[0]


def recorded(coil: Coil, lead: float, load: float | None, *before: Circuit) -> Hookup:
    neighbours = tuple(Neighbour(circuit) for circuit in before)
    return Hookup(
        {"": pickup(coil)}, cable_farad=lead, load_ohm=load, before=neighbours
    )


def rc(*, series_ohm: float, farad: float) -> tuple[Part, ...]:
    return (
        Resistor("R1", ("in", "out"), series_ohm),
        Capacitor("C1", ("out", "gnd"), farad),
    )


# The load itself


@coils
@loads
def test_a_loaded_pickup_is_its_closed_form(
    coil: Coil, lead: float, load: float | None
) -> None:
    got = roots(STRAIGHT, recorded(coil, lead, load)).response(HZ)
    wanted = coil.loaded(HZ, lead, load or np.inf)
    np.testing.assert_allclose(got, wanted, rtol=1e-11)


# Closed form over closed form


@coils
@loads
def test_another_hookup_over_the_old_one_is_one_closed_form_over_the_other(
    coil: Coil, lead: float, load: float | None
) -> None:
    old = roots(STRAIGHT, recorded(coil, lead, load))
    new = roots(STRAIGHT, recorded(LARGE, 500e-12, 470e3))
    got = divided(new, old).response(HZ)
    wanted = LARGE.loaded(HZ, 500e-12, 470e3) / coil.loaded(HZ, lead, load or np.inf)
    np.testing.assert_allclose(got, wanted, rtol=1e-10)


@coils
@loads
def test_a_circuit_behind_the_pickup_is_not_loaded_twice(
    drawn: Draw, coil: Coil, lead: float, load: float | None
) -> None:
    """A series resistor and a capacitor behind coil and lead, in closed form."""
    circuit = drawn(*rc(series_ohm=33e3, farad=2.2e-9))
    hookup = Hookup({"": pickup(SMALL)}, cable_farad=600e-12)
    beyond = 33e3 + 1 / (S * 2.2e-9)
    total = SMALL.on(HZ, S * 600e-12 + 1 / beyond) / (S * 2.2e-9) / beyond
    old = roots(STRAIGHT, recorded(coil, lead, load))
    got = divided(roots(circuit, hookup), old)
    assert got.is_stable
    wanted = total / coil.loaded(HZ, lead, load or np.inf)
    np.testing.assert_allclose(got.response(HZ), wanted, rtol=1e-10)


@coils
@pytest.mark.parametrize("name", ["tern", "plover", "whimbrel"])
def test_a_shipped_circuit_is_divided_as_complex_numbers_are(
    coil: Coil, name: str
) -> None:
    circuit = read_circuit(name)
    hookup = recorded(SMALL, 700e-12, 1e6)
    for lead, load in LOADS:
        old = roots(STRAIGHT, recorded(coil, lead, load))
        got = divided(roots(circuit, hookup), old)
        assert got.is_stable
        wanted = direct(circuit, hookup) / coil.loaded(HZ, lead, load or np.inf)
        np.testing.assert_allclose(got.response(HZ), wanted, rtol=1e-9)


# What stood before the recorder


def test_what_stood_before_the_recorder_is_taken_out_with_its_load(drawn: Draw) -> None:
    """Coil, 22 kΩ and 1.5 nF, then lead and load of the recorder: a closed form."""
    box = drawn(*rc(series_ohm=22e3, farad=1.5e-9))
    end = S * (1.5e-9 + 400e-12) + 1 / 220e3
    beyond = 22e3 + 1 / end
    wanted_old = SMALL.on(HZ, 1 / beyond) / end / beyond
    old = roots(STRAIGHT, recorded(SMALL, 400e-12, 220e3, box))
    np.testing.assert_allclose(old.response(HZ), wanted_old, rtol=1e-11)

    new = roots(STRAIGHT, recorded(SMALL, 700e-12, 1e6))
    wanted = SMALL.loaded(HZ, 700e-12, 1e6) / wanted_old
    np.testing.assert_allclose(divided(new, old).response(HZ), wanted, rtol=1e-10)


@pytest.mark.parametrize("before", [["tern"], ["plover"], ["whimbrel", "tern"]])
@pytest.mark.parametrize("name", ["tern", "plover", "whimbrel"])
def test_coupling_capacitors_cancel_against_those_of_the_chain(
    before: list[str], name: str
) -> None:
    """Before and after the same: what is left is one circuit, buffered from it."""
    boxes = [read_circuit(box) for box in before]
    neighbours = tuple(map(Neighbour, boxes))
    hookup = Hookup({"": pickup(SMALL)}, cable_farad=500e-12, before=neighbours)
    circuit = read_circuit(name)
    old = roots(STRAIGHT, recorded(LARGE, 300e-12, 1e6, *boxes))
    got = divided(roots(circuit, hookup), old)
    assert got.is_stable
    wanted = direct(circuit, hookup) / direct(
        STRAIGHT, recorded(LARGE, 300e-12, 1e6, *boxes)
    )
    # zeros of the boxes beyond 16 MHz, right of the axis, may be left out
    np.testing.assert_allclose(np.abs(got.response(HZ) / wanted), 1, rtol=1e-5)
    np.testing.assert_allclose(np.angle(got.response(HZ) / wanted), 0, atol=0.01)


def test_a_coupling_capacitor_that_the_chain_lacks_is_made_up_for_from_2_hz() -> None:
    """What is at 0 Hz is lost, not just soft: jω/(jω + 2π·2) of it comes back.

    One capacitor leaves 0.04 dB at 20 Hz, by that formula.
    """
    before = recorded(SMALL, 300e-12, 1e6, read_circuit("tern"))
    new = roots(STRAIGHT, recorded(SMALL, 300e-12, 1e6))
    got = divided(new, roots(STRAIGHT, before))
    assert got.is_stable
    wanted = direct(STRAIGHT, recorded(SMALL, 300e-12, 1e6)) / direct(STRAIGHT, before)
    count = int(np.sum(got.poles == -4 * np.pi))
    assert count >= 1
    kept = (S / (S + 4 * np.pi)) ** count
    np.testing.assert_allclose(got.response(HZ), wanted * kept, rtol=1e-4)


def test_a_piezo_on_another_resistance_is_one_closed_form_over_the_other() -> None:
    """Its own voltage behind 470 pF: both keep 0 Hz back, their quotient doesn't."""
    element = Piezo("brent", 470e-12)

    def closed(lead: float, load: float) -> Complex:
        return np.asarray(S * 470e-12 / (S * (470e-12 + lead) + 1 / load))

    old, new = (
        roots(STRAIGHT, Hookup({"": element}, cable_farad=lead, load_ohm=load))
        for lead, load in ((600e-12, 1e6), (250e-12, 10e6))
    )
    got = divided(new, old)
    assert got.is_stable
    wanted = closed(250e-12, 10e6) / closed(600e-12, 1e6)
    np.testing.assert_allclose(got.response(HZ), wanted, rtol=1e-12)


# What cancels, and what doesn't


@coils
@loads
def test_a_load_over_itself_is_nothing_at_all(
    coil: Coil, lead: float, load: float | None
) -> None:
    old = roots(STRAIGHT, recorded(coil, lead, load))
    got = divided(old, old)
    assert len(got.zeros) == len(got.poles) == 0
    assert got.gain == pytest.approx(1, abs=1e-15)


def test_what_is_left_are_the_circuits_own_roots_behind_a_buffer() -> None:
    """A follower of 1 MΩ hides the circuit: the pickup's two poles cancel exactly."""
    circuit = read_circuit("plover")
    coil = {"": pickup(SMALL)}
    behind = roots(circuit, Hookup(coil, cable_farad=700e-12, has_buffer=True))
    old = roots(STRAIGHT, recorded(SMALL, 700e-12, 1e6))
    alone = roots(circuit, Hookup())
    got = divided(behind, old)
    assert len(got.poles) == len(alone.poles)
    assert len(got.zeros) == len(alone.zeros)
    np.testing.assert_allclose(got.response(HZ), alone.response(HZ), rtol=1e-9)


def roots_of(zeros: list[complex], poles: list[complex]) -> Roots:
    return Roots(np.array(zeros, complex), np.array(poles, complex), 1.0, 6000.0)


def test_only_alike_roots_cancel() -> None:
    """A double real root and a pair that rounding split off it must not be mixed."""
    total = roots_of([-100], [-5e3, -5e3 * (1 + 1e-10)])
    old = roots_of([-900], [-5e3 + 1e-7j, -5e3 - 1e-7j])
    got = divided(total, old)
    assert sum(root.imag for root in got.zeros) == 0
    assert len(got.zeros) == 3
    assert len(got.poles) == 3
    np.testing.assert_allclose(
        got.response(HZ), total.response(HZ) / old.response(HZ), rtol=1e-12
    )


def test_pairs_cancel_whole() -> None:
    pair = [-3e3 + 2e4j, -3e3 - 2e4j]
    total = roots_of([], [*pair, -50])
    old = roots_of([], [root * (1 + 1e-11) for root in pair])
    got = divided(total, old)
    assert got.poles.tolist() == [-50]
    assert len(got.zeros) == 0


def test_roots_that_differ_stay(drawn: Draw) -> None:
    total, old = roots_of([], [-1e3, -2e3]), roots_of([-4e3], [-1e3 * 1.001])
    got = divided(total, old)
    assert sorted(got.zeros.real) == [-1e3 * 1.001]
    assert sorted(got.poles.real) == [-4e3, -2e3, -1e3]
    np.testing.assert_allclose(
        got.response(HZ), total.response(HZ) / old.response(HZ), rtol=1e-13
    )


# Silence, and the right of the axis


def test_silence_stays_silence_whatever_is_taken_out() -> None:
    silent = find_roots(Network(join(read_circuit("plover"))), {"level": 0})[0]
    assert silent.is_silent
    old = roots(STRAIGHT, recorded(SMALL, 300e-12, 1e6))
    assert divided(silent, old).is_silent
    with pytest.raises(CircuitError, match="lets nothing out as it is set"):
        divided(old, silent)


def test_a_zero_right_of_the_axis_cannot_be_taken_out(drawn: Draw) -> None:
    """An all-pass (1 − sRC)/(1 + sRC) of one op-amp: its inverse is unstable."""
    all_pass = drawn(
        Resistor("R1", ("in", "m"), 10e3),
        Resistor("R2", ("m", "out"), 10e3),
        Resistor("R3", ("in", "p"), 10e3),
        Capacitor("C1", ("p", "gnd"), 22e-9),
        OpAmp("U1", "p", "m", "out"),
    )
    turned = roots(all_pass, Hookup())
    assert turned.zeros.real.max() == pytest.approx(1 / (10e3 * 22e-9), rel=1e-9)
    plain = roots(STRAIGHT, recorded(SMALL, 300e-12, 1e6))
    with pytest.raises(CircuitError, match="can't be taken out of the sound"):
        divided(plain, turned)
    # with the same one in the chain it cancels
    assert divided(turned, turned).is_stable
