# SPDX-License-Identifier: GPL-3.0-or-later
"""The solver in the time domain against closed formulas, before it judges anything."""

from collections.abc import Callable

import numpy as np
import pytest
import time_domain
from numpy.typing import NDArray
from tableau import Positions

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.hookup import Hookup, join
from tonebench.circuit.parts import (
    Capacitor,
    Inductor,
    OpAmp,
    Part,
    Pot,
    Resistor,
    Switch,
    VariableResistor,
)
from tonebench.circuit.tapers import parse_taper

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
Drawn = Callable[..., Circuit]

RATE = 48_000


def noise_in_silence(frames: int = 48_000) -> Real:
    samples = np.zeros(2 * frames)
    middle = slice(frames // 2, frames // 2 + frames)
    samples[middle] = np.random.default_rng(2).standard_normal(frames)
    return samples


def through(samples: Real, gain: Callable[[Complex], Complex]) -> Real:
    """Return the samples through a gain of s, by their spectrum."""
    s = 2j * np.pi * np.fft.rfftfreq(len(samples)) * RATE
    return np.fft.irfft(np.fft.rfft(samples) * gain(s), len(samples))


def off_db(got: Real, wanted: Real, below_hz: float = 10_000) -> float:
    low = np.fft.rfftfreq(len(got)) * RATE < below_hz
    energy = np.abs(np.fft.rfft(got - wanted)[low]) ** 2
    reference = np.abs(np.fft.rfft(wanted)[low]) ** 2
    return float(10 * np.log10(energy.sum() / reference.sum()))


def second_order(s: Complex, R: float, L: float, C: float, load: float) -> Complex:
    """A coil's own voltage through R and L to C and a load: a voltage divider."""
    across = 1 / (s * C + 1 / load)
    return across / (R + s * L + across)


CASES: list[tuple[list[Part], Callable[[Complex], Complex]]] = [
    (
        [
            Resistor("R1", ("in", "out"), 10e3),
            Capacitor("C1", ("out", "gnd"), 22e-9),
        ],
        lambda s: 1 / (1 + s * 10e3 * 22e-9),
    ),
    (
        [
            Capacitor("C1", ("in", "out"), 100e-9),
            Resistor("R1", ("out", "gnd"), 15e3),
        ],
        lambda s: s * 15e3 * 100e-9 / (1 + s * 15e3 * 100e-9),
    ),
    (
        [
            Inductor("L1", ("in", "out"), 2.2, winding_ohm=6100),
            Capacitor("C1", ("out", "gnd"), 400e-12),
            Capacitor("C2", ("out", "gnd"), 420e-12),  # a loop of capacitors
            Resistor("R1", ("out", "gnd"), 250e3),
        ],
        lambda s: second_order(s, 6100, 2.2, 820e-12, 250e3),
    ),
    (
        [
            Resistor("R1", ("in", "m"), 10e3),
            Resistor("R2", ("m", "out"), 33e3),
            Capacitor("C1", ("m", "out"), 4.7e-9),
            OpAmp("U1", "bias", "m", "out"),
        ],
        lambda s: -3.3 / (1 + s * 33e3 * 4.7e-9),
    ),
    (
        [OpAmp("U1", "in", "out", "out", gbw_hz=30e3)],  # follower: one pole at gbw
        lambda s: 1 / (1 + s / (2 * np.pi * 30e3)),
    ),
]


@pytest.mark.parametrize(("parts", "gain"), CASES)
def test_fixed_circuit_follows_its_closed_formula(
    drawn: Drawn, parts: list[Part], gain: Callable[[Complex], Complex]
) -> None:
    samples = noise_in_silence()
    got = time_domain.exact(join(drawn(*parts)), {}, samples, RATE)
    assert off_db(got, through(samples, gain)) < -90


@pytest.mark.parametrize(
    ("taper", "position", "share"),
    [
        ("linear", 3.0, 0.3),
        ("audio-20", 5.0, 0.2),
        ("reverse-audio-20", 5.0, 0.8),
        ("blend", 2.5, 0.5),
        ("reverse-blend", 7.5, 0.5),
        ("linear", 0.0, 0.0),
        ("audio", 10.0, 1.0),
    ],
)
def test_pots_divide_by_the_share_that_their_taper_is_named_for(
    drawn: Drawn, taper: str, position: float, share: float
) -> None:
    pot = Pot("P1", 50e3, parse_taper(taper), "k", ("gnd", "in"), "out")
    samples = noise_in_silence(4800)
    chain = join(drawn(pot), Hookup(source_ohm=50e3))
    got = time_domain.exact(chain, {"k": position}, samples, RATE)
    np.testing.assert_allclose(got, samples * share / 2, atol=1e-11)


def test_switch_and_variable_resistor_stand_as_they_are_told(drawn: Drawn) -> None:
    parts = (
        VariableResistor("P1", 20e3, parse_taper("linear"), "k", ("in", "a")),
        Switch("S1", "sw", "a", (("on", ("out",)), ("off", ("b",)))),
        Resistor("R1", ("out", "gnd"), 10e3),
        Resistor("R2", ("b", "gnd"), 10e3),
    )
    samples = noise_in_silence(4800)
    chain = join(drawn(*parts))
    at: Positions = {"k": 2.5, "sw": "on"}
    on = time_domain.exact(chain, at, samples, RATE)
    np.testing.assert_allclose(on, samples * 10 / 15, atol=1e-11)
    off = time_domain.exact(chain, {**at, "sw": "off"}, samples, RATE)
    assert np.abs(off).max() < 1e-11


@pytest.mark.parametrize("oversampling", [8, 16])
def test_turning_resistor_follows_a_made_solution(
    drawn: Drawn, oversampling: int
) -> None:
    """Method of manufactured solutions: v is chosen, u = v + R(t)·C·dv/dt follows.

    The error of the trapezoidal rule is of second order: ω³h²/12 a second of each rate.
    """
    parts = (
        VariableResistor("P1", 20e3, parse_taper("linear"), "k", ("in", "out")),
        Capacitor("C1", ("out", "gnd"), 22e-9),
    )
    rate, seconds = RATE * oversampling, 0.05
    time = np.arange(round(seconds * rate)) / rate
    w = 2 * np.pi * 400
    wanted, slope = np.sin(w * time) ** 2, w * np.sin(2 * w * time)

    def positions(at: Real) -> Positions:
        return {"k": 10 * np.asarray(at) / seconds}

    resistance = 20e3 * time / seconds
    u = wanted + resistance * 22e-9 * slope
    got = time_domain.trapezoidal(join(drawn(*parts)), positions, u, rate)
    assert np.abs(got - wanted).max() < 2 * (2 * w / rate) ** 2 / 12


def test_both_solvers_agree_on_a_circuit_that_stands_still(drawn: Drawn) -> None:
    parts = (
        Resistor("R1", ("in", "a"), 4.7e3),
        Capacitor("C1", ("a", "gnd"), 47e-9),
        Pot("P1", 50e3, parse_taper("audio"), "k", ("gnd", "a"), "out"),
        Capacitor("C2", ("out", "gnd"), 1e-9),
    )
    chain, hz = join(drawn(*parts)), 500.0
    time = np.arange(RATE // 5 * 16) / (RATE * 16)
    swell = np.exp(-(((time - 0.1) / 0.02) ** 2)) * np.sin(2 * np.pi * hz * time)
    slow = time_domain.exact(chain, {"k": 6.0}, swell[::16], RATE)
    fine = time_domain.trapezoidal(chain, lambda t: {"k": 6.0}, swell, RATE * 16)
    assert off_db(fine[::16], slow, 20_000) < -100
