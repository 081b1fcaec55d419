# SPDX-License-Identifier: GPL-3.0-or-later
"""Causes of features against closed forms, and what is left without them."""

import math
from collections.abc import Callable
from dataclasses import replace

import pytest

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Hookup, Pickup
from tonebench.circuit.parts import Capacitor, OpAmp, Resistor
from tonebench.plan.comparison import Side
from tonebench.study.causes import Cause, Causes, causes_of, feature_shifts
from tonebench.study.features import Feature
from tonebench.study.without import Counterfactuals, solved

#: A coil with hardly any losses: its peak is then at f0 = 1/(2π·√(L·C)) to 1e-4.
COIL = Pickup("coil", 100.0, 2.5, 120e-12)
L, C0 = COIL.inductance_henry, COIL.capacitance_farad
Drawn = Callable[..., Circuit]


def peak_of(side: Side) -> Feature:
    (peak,) = (f for f in solved(side.chain, {}).features if f.kind == "peak")
    return peak


def causes(side: Side, feature: Feature) -> Causes:
    return causes_of(feature, Counterfactuals(side, {}))


def of_part(found: Causes, ref: str) -> Cause | None:
    return next((c for c in found.causes if c.who.part == ref), None)


@pytest.mark.parametrize("farad", [220e-12, 470e-12, 1e-9])
def test_capacitor_straight_across_the_pickup_moves_its_peak(
    drawn: Drawn, farad: float
) -> None:
    """f = 1/(2π·√(L·(C0 + C))), so d(ln f)/d(ln C) = −½·C/(C0 + C) (textbook)."""
    circuit = drawn(
        Capacitor("C1", ("in", "gnd"), farad),
        Resistor("R1", ("in", "out"), 1e3),
        output="out",
    )
    side = Side(circuit, Hookup({"": COIL}, load_ohm=10e6))
    peak = peak_of(side)
    f_hz = 1 / (2 * math.pi * math.sqrt(L * (C0 + farad)))
    assert peak.frequency_hz == pytest.approx(f_hz, rel=1e-3)
    cause = of_part(causes(side, peak), "C1")
    assert cause
    share = farad / (C0 + farad)
    assert cause.frequency_shift == pytest.approx(-share / 2, abs=1e-3)
    assert cause.left is not None
    assert cause.left.how == "opened"
    left = cause.left.feature
    if left is not None:  # within reach: 1.5 octaves
        alone_hz = 1 / (2 * math.pi * math.sqrt(L * C0))
        assert left.frequency_hz == pytest.approx(alone_hz, rel=1e-3)


def test_the_same_capacitor_does_nothing_behind_a_buffer(drawn: Drawn) -> None:
    """The buffer's 1 MΩ makes Q = 16, and the tip f0·√(1 − 1/(2Q²)) (textbook)."""
    circuit = drawn(Capacitor("C1", ("in", "gnd"), 1e-9), output="in")
    side = Side(circuit, Hookup({"": COIL}, cable_farad=500e-12, has_buffer=True))
    peak = peak_of(side)
    f_hz = 1 / (2 * math.pi * math.sqrt(L * (C0 + 500e-12)))
    q = 1e6 / (2 * math.pi * f_hz * L)
    tip_hz = f_hz * math.sqrt(1 - 1 / (2 * q * q))
    assert peak.frequency_hz == pytest.approx(tip_hz, rel=1e-3)
    shifts = {s.value.ref: s.size for s in feature_shifts(solved(side.chain, {}), peak)}
    assert shifts["C1"] < 1e-12
    assert of_part(causes(side, peak), "C1") is None


def hump_hz(a: float, z: float, p: float) -> float:
    """Where |s/(s + a)·(s + z)/(s + p)| is greatest, all in Hz.

    With u = f² its square is u(u + z²)/((u + a²)(u + p²)); its derivative vanishes at
    (a² + p² − z²)u² + 2a²p²u + z²a²p² = 0 (calculus).
    """
    k, g = a * a * p * p, z * z - a * a - p * p
    return math.sqrt((k + math.sqrt(k * k + g * z * z * k)) / g)


def test_high_pass_under_a_low_shelf_makes_a_hump_where_the_closed_form_says(
    drawn: Drawn,
) -> None:
    """High-pass a = 1/(2π·R1·C1); shelf of an inverting stage R2, R3 with R4 + C2.

    Its feedback is R3 ∥ (R4 + 1/sC2): gain −(R3/R2)·(1 + s·R4·C2)/(1 + s·(R3 + R4)·C2).
    """
    r1, c1, r2, r3, r4, c2 = 100e3, 80e-9, 10e3, 100e3, 10e3, 100e-9
    circuit = drawn(
        Capacitor("C1", ("in", "a"), c1),
        Resistor("R1", ("a", "gnd"), r1),
        OpAmp("U1", "a", "b", "b"),
        Resistor("R2", ("b", "m"), r2),
        Resistor("R3", ("m", "out"), r3),
        Resistor("R4", ("m", "x"), r4),
        Capacitor("C2", ("x", "out"), c2),
        OpAmp("U2", "gnd", "m", "out"),
    )
    side = Side(circuit)
    peak = peak_of(side)

    def closed(log_c1: float = 0.0, log_c2: float = 0.0) -> float:
        farad1, farad2 = c1 * math.exp(log_c1), c2 * math.exp(log_c2)
        a = 1 / (2 * math.pi * r1 * farad1)
        z = 1 / (2 * math.pi * r4 * farad2)
        p = 1 / (2 * math.pi * (r3 + r4) * farad2)
        return hump_hz(a, z, p)

    assert peak.frequency_hz == pytest.approx(closed(), rel=1e-6)
    shifts = {
        s.value.ref: s.frequency for s in feature_shifts(solved(side.chain, {}), peak)
    }
    for ref, low, high in (
        ("C1", closed(-1e-4), closed(1e-4)),
        ("C2", closed(0, -1e-4), closed(0, 1e-4)),
    ):
        slope = math.log(high / low) / 2e-4
        assert shifts[ref] == pytest.approx(slope, abs=1e-5)
    assert shifts["C1"] + shifts["C2"] == pytest.approx(-1, abs=1e-6)


def test_load_resistor_damps_the_peak_as_published() -> None:
    """A generic single coil, computed: 2.5 H, 6 kΩ, 120 pF; 500 pF and 1 MΩ, 200 kΩ.

    Peaks at 4029.6 Hz, +16.03 dB and 3930.1 Hz, +7.757 dB.
    """
    coil = Pickup("generic", 6e3, 2.5, 120e-12)
    straight = read_circuit("straight")
    for load_ohm, hz, gain_db in ((1e6, 4029.6, 16.03), (200e3, 3930.1, 7.757)):
        side = Side(
            straight, Hookup({"": coil}, cable_farad=500e-12, load_ohm=load_ohm)
        )
        others = Counterfactuals(side, {})
        (peak,) = (f for f in others.here.features if f.kind == "peak")
        assert peak.frequency_hz == pytest.approx(hz, rel=1e-4)
        assert peak.gain_db == pytest.approx(gain_db, abs=0.006)
        found = causes_of(peak, others)
        load = of_part(found, "load")
        assert load
        assert load.level_shift > 0
        assert load.left
        assert load.left.how == "no load"
        assert load.left.feature
        assert load.left.feature.level_db > peak.level_db + 3


def test_output_capacitor_and_load_are_the_causes_of_the_low_end_that_is_lost(
    with_pickup: Hookup,
) -> None:
    """C6 sees 10 kΩ ∥ 25 kΩ: 1/(2π·470 nF·7.24 kΩ) = 46.8 Hz, and 13.5 Hz without load.

    The input's 7 Hz and the shelf's tolerance of flat move the sum of all by 10 %.
    """
    side = Side(read_circuit("plover"), replace(with_pickup, load_ohm=10e3))
    others = Counterfactuals(side, {})
    (corner,) = (f for f in others.here.features if f.kind == "high-pass")
    assert corner.frequency_hz == pytest.approx(46.8, rel=0.1)
    found = causes_of(corner, others)
    assert [cause.who.part for cause in found.causes[:2]] == ["C6", "load"]
    capacitor, load = found.causes[:2]
    assert capacitor.frequency_shift == pytest.approx(-1, abs=0.1)
    assert capacitor.left
    assert capacitor.left.how == "bridged"
    assert capacitor.left.feature is None
    assert load.frequency_shift == pytest.approx(-25 / 35, abs=0.05)
    assert load.left
    assert load.left.feature
    assert load.left.feature.frequency_hz == pytest.approx(13.5, rel=0.25)
    assert {left.how for left in found.around} == {
        "ideal source",
        "buffer",
        "no cable",
        "no load",
    }


def test_causes_of_two_pickups_are_told_apart(with_pickup: Hookup) -> None:
    side = Side(read_circuit("dunlin"), with_pickup)
    others = Counterfactuals(side, {})
    peak = next(f for f in others.here.features if f.kind == "peak")
    parts = {cause.who.part for cause in causes_of(peak, others).causes}
    assert {"pickup (neck)", "pickup (bridge)", "cable"} <= parts
