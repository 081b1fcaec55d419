# SPDX-License-Identifier: GPL-3.0-or-later
"""Noise against published examples, and against theorems of passive networks."""

import math

import numpy as np
import pytest

from tonebench.circuit.circuit import Circuit, Input
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Hookup, join
from tonebench.circuit.parts import Capacitor, OpAmp, Part, Resistor
from tonebench.network.nodal import Network
from tonebench.network.noise import BOLTZMANN, Noise, noise
from tonebench.network.response import response

HZ = np.geomspace(20, 20_000, 200)


def circuit(*parts: Part) -> Circuit:
    return Circuit("noisy", "Noisy", (Input("in", "in"),), "out", parts)


def noise_of(*parts: Part, hz: object = (1000.0,), kelvin: float = 300.0) -> Noise:
    return noise(Network(join(circuit(*parts))), {}, np.asarray(hz), kelvin)


@pytest.mark.parametrize(
    ("ohm", "kelvin", "nv_per_rt_hz", "uv"),
    [
        # √(4kTR), k exact since 2019; the second column over 20 Hz to 20 kHz
        (50, 290, 0.8949, None),
        (1e3, 290, 4.0019, 0.5657),
        (1e3, 300, 4.0704, 0.5753),
        (6e3, 300, 9.9703, 1.4093),
        (10e3, 300, 12.8716, 1.8194),
        (100e3, 300, 40.704, 5.7535),
        (1e6, 300, 128.716, 18.194),
    ],
)
def test_a_resistor_hisses_as_johnson_found(
    ohm: float, kelvin: float, nv_per_rt_hz: float, uv: float | None
) -> None:
    found = noise_of(Resistor("R1", ("in", "out"), ohm), hz=HZ, kelvin=kelvin)
    density = np.sqrt(found.power)
    np.testing.assert_allclose(1e9 * density, nv_per_rt_hz, rtol=6e-5)  # four digits
    if uv is not None:
        total = math.sqrt(np.trapezoid(found.power, HZ))
        assert 1e6 * total == pytest.approx(uv, rel=1e-4)


def test_a_textbook_resistor_at_25_degrees_is_as_printed() -> None:
    """S. Franco, Design with operational amplifiers, example 7.4: 12.83 nV/√Hz."""
    found = noise_of(Resistor("R1", ("in", "out"), 10e3), kelvin=298.15)
    assert 1e9 * math.sqrt(found.power[0]) == pytest.approx(12.83, abs=0.005)


def test_a_non_inverting_stage_adds_all_of_its_sources() -> None:
    """Gain 10, 10 kΩ source, 5 nV, 0.6 pA, 300 K: 155.525 nV/√Hz (closed formula)."""
    stage = (
        Resistor("RS", ("in", "a"), 10e3),
        Resistor("R1", ("m", "gnd"), 1e3),
        Resistor("R2", ("out", "m"), 9e3),
        OpAmp(
            "U1",
            "a",
            "m",
            "out",
            noise_v_per_rt_hz=5e-9,
            current_noise_a_per_rt_hz=0.6e-12,
        ),
    )
    found = noise_of(*stage, hz=HZ)
    np.testing.assert_allclose(1e9 * np.sqrt(found.power), 155.525, rtol=1e-6)
    total = math.sqrt(np.trapezoid(found.power, HZ))
    assert 1e6 * total == pytest.approx(21.984, rel=1e-4)
    by = {(s.ref, s.origin): 1e9 * math.sqrt(s.power[0]) for s in found.sources}
    assert by["U1", "voltage"] == pytest.approx(50)  # 5 nV by ten
    assert by["RS", "heat"] == pytest.approx(128.716, rel=1e-5)


def test_a_textbook_inverting_stage_comes_to_154_microvolts() -> None:
    """S. Franco, Design with operational amplifiers, example 7.7: 154 µV.

    The book's op-amp has 1/f noise as well, so each source is shaped here by the book's
    corners: 200 Hz for the voltage, 2 kHz for the currents, from 0.1 Hz up. Its sum by
    hand is 153.69 µV.
    """
    hz = np.geomspace(0.1, 1e9, 40_001)
    stage = (
        Resistor("R1", ("in", "m"), 100e3),
        Resistor("R2", ("out", "m"), 200e3),
        Resistor("R3", ("p", "gnd"), 68e3),
        OpAmp(
            "U1",
            "p",
            "m",
            "out",
            gbw_hz=1e6,
            noise_v_per_rt_hz=20e-9,
            current_noise_a_per_rt_hz=0.5e-12,
        ),
    )
    found = noise_of(*stage, hz=hz, kelvin=298.0)
    corner_hz = {"heat": 0.0, "voltage": 200.0, "current": 2000.0}
    powers = {
        origin: sum(
            np.trapezoid(s.power * (1 + corner_hz[origin] / hz), hz)
            for s in found.sources
            if s.origin == origin
        )
        for origin in corner_hz
    }
    microvolts = {origin: 1e6 * math.sqrt(power) for origin, power in powers.items()}
    assert microvolts["voltage"] == pytest.approx(43.53, rel=1e-3)
    assert microvolts["current"] == pytest.approx(106.26, rel=1e-3)
    assert microvolts["heat"] == pytest.approx(102.15, rel=1e-3)
    assert 1e6 * math.sqrt(sum(powers.values())) == pytest.approx(153.69, rel=1e-3)


@pytest.mark.parametrize("ohm", [1e3, 100e3])
def test_the_noise_on_a_capacitor_is_kt_over_c_whatever_the_resistor(
    ohm: float,
) -> None:
    """Equipartition: the mean of C·v²/2 is kT/2."""
    farad = 1e-9
    corner = 1 / (2 * math.pi * ohm * farad)
    hz = np.concatenate(
        [[corner * 1e-6], np.geomspace(corner * 1e-4, corner * 1e4, 8001)]
    )
    found = noise_of(
        Resistor("R1", ("in", "out"), ohm),
        Capacitor("C1", ("out", "gnd"), farad),
        hz=hz,
    )
    wanted = BOLTZMANN * 300 / farad
    assert np.trapezoid(found.power, hz) == pytest.approx(wanted, rel=1e-3)


@pytest.mark.parametrize("tone", [0.0, 4.0, 10.0])
@pytest.mark.parametrize("mode", ["volumes", "blend"])
def test_a_passive_circuit_hisses_like_the_real_part_of_its_output_impedance(
    tone: float, mode: str, with_pickup: Hookup
) -> None:
    """H. Nyquist, 1928: 4kT·Re(Z); Z from what a small load takes away."""
    setting = {"tone": tone, "mode": mode, "neck": 7.0, "bridge": 9.0}
    harness = read_circuit("dunlin")
    around = Hookup(with_pickup.pickups, cable_farad=700e-12)
    loaded_ohm = 50e3
    loaded = Hookup(with_pickup.pickups, cable_farad=700e-12, load_ohm=loaded_ohm)
    openly, into = (
        response(Network(join(harness, hookup)), setting, HZ)[0]
        for hookup in (around, loaded)
    )
    impedance = loaded_ohm * (openly / into - 1)
    found = noise(Network(join(harness, around)), setting, HZ, 300.0)
    wanted = 4 * BOLTZMANN * 300 * impedance.real
    np.testing.assert_allclose(found.power, wanted, rtol=1e-6)


def test_a_switch_and_a_wire_make_no_noise() -> None:
    wire = Resistor("R1", ("in", "a"), 0.0), Resistor("R2", ("a", "out"), 1e3)
    assert [source.ref for source in noise_of(*wire).sources] == ["R2"]
    refs = {
        s.ref
        for s in noise(
            Network(join(read_circuit("dunlin"), Hookup(source_ohm=1e3))), {}, HZ
        ).sources
    }
    assert not refs & {"S1", "S2", "S3"}
