# SPDX-License-Identifier: GPL-3.0-or-later
"""Sensitivities against closed forms, and against differences of direct solves."""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from tonebench.circuit.circuit import STRAIGHT, Circuit
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Chain, Hookup, join
from tonebench.circuit.parts import (
    Capacitor,
    Inductor,
    OpAmp,
    Part,
    Pot,
    Resistor,
    Transconductor,
    VariableResistor,
)
from tonebench.circuit.tapers import parse_taper
from tonebench.network.nodal import Network
from tonebench.network.ports import Ports, Value
from tonebench.network.response import response
from tonebench.network.sensitivity import crossing_shifts, level_slopes, tip_shifts

FIELD = {
    "resistance": "resistance_ohm",
    "capacitance": "capacitance_farad",
    "inductance": "inductance_henry",
    "winding": "winding_ohm",
    "gbw": "gbw_hz",
    "transconductance": "transconductance_siemens",
}
HZ = np.geomspace(20, 20_000, 40)


def multiplied(chain: Chain, value: Value, factor: float) -> Chain:
    """Return a chain drawn anew with one value multiplied."""
    name = FIELD[value.quantity]

    def other(part: Part) -> Part:
        if part.ref != value.ref:
            return part
        return replace(part, **{name: getattr(part, name) * factor})

    return replace(chain, parts=tuple(other(part) for part in chain.parts))


def settings_of(circuit: Circuit) -> list[dict[str, float | str]]:
    knobs = [{knob.name: at for knob in circuit.knobs} for at in (3.3, 8.0, 5.0)]
    switched = [{s.name: s.positions[-1]} for s in circuit.switches]
    return [*knobs, *[{**knobs[0], **switch} for switch in switched]]


@pytest.mark.parametrize("name", ["tern", "plover", "dunlin", "whimbrel"])
def test_sensitivities_equal_differences_of_direct_solves(
    name: str, with_pickup: Hookup
) -> None:
    """Central differences at ±1e-4 err by 1e-8 of the third derivative."""
    circuit = read_circuit(name)
    chain = join(circuit, with_pickup)
    for setting in settings_of(circuit):
        ports = Ports(Network(chain), setting, HZ, 0)
        slopes = level_slopes(ports)
        for value, slope in zip(ports.values, slopes, strict=True):
            up, down = (
                np.log(
                    np.abs(
                        response(Network(multiplied(chain, value, f)), setting, HZ)[0]
                    )
                )
                for f in (math.exp(1e-4), math.exp(-1e-4))
            )
            np.testing.assert_allclose(slope, (up - down) / 2e-4, rtol=0, atol=2e-6)


@pytest.mark.parametrize("name", ["tern", "plover", "dunlin", "whimbrel"])
def test_changed_values_equal_the_circuit_drawn_anew(
    name: str, with_pickup: Hookup
) -> None:
    circuit = read_circuit(name)
    chain = join(circuit, with_pickup)
    setting = settings_of(circuit)[0]
    ports = Ports(Network(chain), setting, HZ, 0)
    for value in ports.values:
        for factor in (0.02, 0.7, 50.0):
            anew = response(Network(multiplied(chain, value, factor)), setting, HZ)[0]
            np.testing.assert_allclose(
                ports.changed(value, factor), anew, rtol=1e-8, err_msg=str(value)
            )


def test_coils_transconductors_links_and_ends_of_tracks_are_exact_too(
    drawn: Callable[..., Circuit],
) -> None:
    """A link of 2 Ω, a winding, a pot with end resistance, a current source."""
    circuit = drawn(
        Resistor("R1", ("in", "a"), 2.0),
        Inductor("L1", ("a", "b"), 0.5, winding_ohm=40.0),
        Capacitor("C1", ("b", "gnd"), 1e-7),
        Pot("P1", 1e4, parse_taper("audio"), "level", ("gnd", "b"), "w", end_ohm=50.0),
        VariableResistor("P2", 5e3, parse_taper("linear"), "tone", ("w", "out")),
        Transconductor("G1", 1e-4, ("w", "gnd"), ("out", "gnd")),
        Resistor("R2", ("out", "gnd"), 1e4),
    )
    chain = join(circuit)
    setting = {"level": 4.0, "tone": 7.0}
    ports = Ports(Network(chain), setting, HZ, 0)
    assert {value.quantity for value in ports.values} >= {"winding", "transconductance"}
    for k, value in enumerate(ports.values):
        anew = response(Network(multiplied(chain, value, 1.7)), setting, HZ)[0]
        np.testing.assert_allclose(ports.changed(value, 1.7), anew, rtol=1e-9)
        up, down = (
            response(Network(multiplied(chain, value, math.exp(h))), setting, HZ)[0]
            for h in (1e-4, -1e-4)
        )
        size = np.abs(ports.transfer).max()
        np.testing.assert_allclose(
            ports.slopes[k], (up - down) / 2e-4, rtol=0, atol=2e-6 * size
        )
    for ref in ("L1", "R1", "G1"):
        found = ports.without(ref, "opened")
        part = circuit.part(ref)
        anew = response(Network(drawn_without(chain, part, "opened")), setting, HZ)[0]
        assert found is not None
        np.testing.assert_allclose(found, anew, rtol=1e-9, atol=1e-14)
    assert ports.without("G1", "shorted") is None


def drawn_without(chain: Chain, part: Part, fate: str) -> Chain:
    assert not isinstance(part, str)
    others = tuple(other for other in chain.parts if other is not part)
    wire = (Resistor("wire", part.across, 0.0),) if fate == "shorted" else ()  # type: ignore[union-attr]
    return replace(chain, parts=others + wire)


@pytest.mark.parametrize("fate", ["opened", "shorted"])
@pytest.mark.parametrize("name", ["tern", "plover", "dunlin", "whimbrel"])
def test_parts_opened_or_shorted_equal_the_circuit_drawn_anew(
    name: str, fate: str, with_pickup: Hookup
) -> None:
    chain = join(read_circuit(name), replace(with_pickup, load_ohm=10e3))
    network = Network(chain)
    ports = Ports(network, {}, HZ, 0)
    compared = 0
    for part in chain.parts:
        if not hasattr(part, "across") or hasattr(part, "knob"):
            continue
        found = ports.without(part.ref, "opened" if fate == "opened" else "shorted")
        if found is None:
            continue
        anew = response(Network(drawn_without(chain, part, fate)), {}, HZ)[0]
        atol = 1e-11 * float(np.abs(ports.transfer).max())
        np.testing.assert_allclose(found, anew, rtol=1e-7, atol=atol, err_msg=part.ref)
        compared += 1
    assert compared >= 8


def test_part_without_which_nothing_can_be_solved_has_no_counterfactual(
    drawn: Callable[..., Circuit],
) -> None:
    circuit = drawn(
        Resistor("R1", ("in", "m"), 1e4),
        Resistor("R2", ("m", "out"), 1e4),
        OpAmp("U1", "gnd", "m", "out"),
    )
    ports = Ports(Network(join(circuit)), {}, [100.0, 1000.0])
    assert ports.without("R2", "opened") is None
    assert ports.without("U1", "opened") is None
    shorted = ports.without("R2", "shorted")
    assert shorted is not None
    np.testing.assert_allclose(shorted, 0, atol=1e-15)


def test_corner_of_an_rc_goes_down_as_either_value_goes_up(
    drawn: Callable[..., Circuit],
) -> None:
    """f = 1/(2π·RC): d(ln f)/d(ln R) = d(ln f)/d(ln C) = −1 (textbook)."""
    circuit = drawn(
        Resistor("R1", ("in", "out"), 1e4), Capacitor("C1", ("out", "gnd"), 1e-8)
    )
    corner_hz = 1 / (2 * math.pi * 1e4 * 1e-8)
    ports = Ports(Network(join(circuit)), {}, [corner_hz, 1e-6 * corner_hz])
    found = crossing_shifts(ports, 0, (1,), (1.0,))
    assert [shift.value.ref for shift in found] == ["R1", "C1"]
    for shift in found:
        assert shift.frequency == pytest.approx(-1, abs=1e-9)
        assert shift.level == pytest.approx(0, abs=1e-9)


def test_a_loaded_corner_is_shared_by_the_resistors_as_their_conductances(
    drawn: Callable[..., Circuit],
) -> None:
    """R2 and R3 in parallel: d(ln f)/d(ln R2) = −R3/(R2 + R3) (textbook)."""
    circuit = drawn(
        Capacitor("C1", ("in", "out"), 1e-7),
        Resistor("R2", ("out", "gnd"), 1e4),
        Resistor("R3", ("out", "gnd"), 3e4),
    )
    corner_hz = 1 / (2 * math.pi * 7500 * 1e-7)
    ports = Ports(Network(join(circuit)), {}, [corner_hz, 1e7 * corner_hz])
    shifts = {s.value.ref: s for s in crossing_shifts(ports, 0, (1,), (1.0,))}
    assert shifts["C1"].frequency == pytest.approx(-1, abs=1e-9)
    assert shifts["R2"].frequency == pytest.approx(-0.75, abs=1e-9)
    assert shifts["R3"].frequency == pytest.approx(-0.25, abs=1e-9)


def peak_of_sallen_key(f0_hz: float, q: float) -> float:
    """Return the frequency of the maximum of a second-order high-pass (textbook)."""
    return f0_hz / math.sqrt(1 - 1 / (2 * q * q))


def test_peak_of_a_sallen_key_high_pass_moves_as_the_closed_form_says(
    reference: Callable[[str], Circuit],
) -> None:
    """f0 = 1/(2πC·√(Rf·Rg)), Q = ½·√(Rg/Rf) (textbook), so Q goes with Rg^½.

    Peak height Q/√(1 − 1/(4Q²)), at f0/√(1 − 1/(2Q²)) (textbook).
    """
    circuit = reference("sallen_key_high_pass")
    resistors = [p for p in circuit.parts if isinstance(p, Resistor)]
    capacitors = [p for p in circuit.parts if isinstance(p, Capacitor)]
    farad = capacitors[0].capacitance_farad
    grounded = next(r for r in resistors if "gnd" in r.across)
    feedback = next(r for r in resistors if r is not grounded)
    circuit = circuit.with_parts({grounded.ref: 9 * feedback.resistance_ohm})
    f0_hz = 1 / (2 * math.pi * farad * 3 * feedback.resistance_ohm)
    q = 1.5
    tip_hz = peak_of_sallen_key(f0_hz, q)
    ports = Ports(Network(join(circuit)), {}, [tip_hz])
    shifts = {shift.value.ref: shift for shift in tip_shifts(ports)}

    def tip(log_ratio: float) -> tuple[float, float]:  # of Rg
        f, sharp = f0_hz * math.exp(-log_ratio / 2), q * math.exp(log_ratio / 2)
        height = sharp / math.sqrt(1 - 1 / (4 * sharp * sharp))
        return math.log(peak_of_sallen_key(f, sharp)), math.log(height)

    (up_f, up_h), (down_f, down_h) = tip(1e-5), tip(-1e-5)
    found = shifts[grounded.ref]
    assert found.frequency == pytest.approx((up_f - down_f) / 2e-5, abs=1e-5)
    assert found.level == pytest.approx((up_h - down_h) / 2e-5, abs=1e-5)
    both = sum(shifts[c.ref].frequency for c in capacitors)
    assert both == pytest.approx(-1, abs=1e-6)  # f0 goes with 1/C, Q doesn't change
    assert sum(shifts[c.ref].level for c in capacitors) == pytest.approx(0, abs=1e-6)


def test_peak_of_a_pickup_moves_with_half_of_inductance_and_capacitance(
    with_pickup: Hookup,
) -> None:
    """With little loss f0 = 1/(2π·√(L·(C0 + C))): −½ for L, shared by the capacitances.

    The maximum of a second-order low-pass stands at f0·√(1 − 1/(2Q²)); Q near 5 keeps
    it within 2 % of f0, and its shift within 0.03 of ½.
    """
    chain = join(STRAIGHT, with_pickup)
    network = Network(chain)
    hz = np.linspace(3500, 4000, 5001)
    tip_hz = hz[np.argmax(np.abs(response(network, {}, hz)[0]))]
    ports = Ports(network, {}, [tip_hz, 20.0])
    shifts = {
        (s.value.ref, s.value.quantity): s.frequency for s in tip_shifts(ports, 0, 1)
    }
    assert shifts["pickup.in", "inductance"] == pytest.approx(-0.5, abs=0.04)
    lead, coil = (
        shifts["lead", "capacitance"],
        shifts["pickup.in.capacitance", "capacitance"],
    )
    assert lead / coil == pytest.approx(700 / 120, rel=1e-9)
    assert lead + coil == pytest.approx(-0.5, abs=0.04)
