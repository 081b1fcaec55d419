# SPDX-License-Identifier: GPL-3.0-or-later
"""Ways to an aim: values against closed forms, series against IEC 60063."""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Hookup
from tonebench.circuit.parts import Capacitor, OpAmp, Resistor
from tonebench.errors import RequestError
from tonebench.plan.comparison import Side
from tonebench.study.aim import Aim, parse_aim
from tonebench.study.ways import Way, ways_to

Drawn = Callable[..., Circuit]


@pytest.fixture
def corner(drawn: Drawn) -> Side:
    """Return C1 = 100 nF into R1 = 10 kΩ: a high-pass at 159.15 Hz."""
    return Side(
        drawn(
            Capacitor("C1", ("in", "a"), 100e-9),
            Resistor("R1", ("a", "gnd"), 10e3),
            OpAmp("U1", "a", "out", "out"),
        )
    )


def by_part(side: Side, aim: str, **changes: float) -> dict[str, Way]:
    found = ways_to(side, parse_aim(aim, side), changes)
    return {way.who.part: way for way in found.ways}


@pytest.mark.parametrize("wanted_hz", [25.0, 60.0, 900.0])
def test_values_for_a_corner_are_those_of_the_closed_form(
    corner: Side, wanted_hz: float
) -> None:
    """C = 1/(2π·R·f), R = 1/(2π·C·f) (textbook)."""
    ways = by_part(corner, f"high-pass={wanted_hz:g}")
    farad = 1 / (2 * math.pi * 10e3 * wanted_hz)
    ohm = 1 / (2 * math.pi * 100e-9 * wanted_hz)
    assert ways["C1"].exact == pytest.approx(farad, rel=2e-3)
    assert ways["R1"].exact == pytest.approx(ohm, rel=2e-3)
    for ref, other in (("C1", 10e3), ("R1", 100e-9)):
        reached = 1 / (2 * math.pi * other * ways[ref].e24)
        assert ways[ref].reached_e24 == pytest.approx(reached, rel=1e-3)
        # an octave above a corner 10·lg(1 + ¼) = 0.97 dB are lost (textbook)
        assert abs(ways[ref].aside.most_db) < 0.97


def test_sold_values_are_of_the_published_series(corner: Side) -> None:
    """636.6 nF: E12 has 680 n, E24 620 n (IEC 60063)."""
    way = by_part(corner, "high-pass=25")["C1"]
    assert way.exact == pytest.approx(636.6e-9, rel=2e-3)
    assert (way.e12, way.e24) == (680e-9, 620e-9)


def test_sallen_key_corner_is_met_with_either_capacitor_or_the_grounded_resistor(
    reference: Callable[[str], Circuit],
) -> None:
    """f0 and Q by the textbook, with C1 ≠ C2 Q = √(R1·R2·C1·C2)/(R1·(C1 + C2)).

    |H|² = ½ at y = (f/f0)² with y² + (2 − 1/Q²)·y − 1 = 0 (textbook). More feedback
    resistance R1 alone only moves the corner up.
    """
    side = Side(reference("sallen_key_high_pass"))
    ways = by_part(side, "high-pass=1500")
    assert set(ways) == {"C1", "C2", "R2"}
    for ref, way in ways.items():
        values = {"R1": 12e3, "R2": 24e3, "C1": 4.7e-9, "C2": 4.7e-9} | {ref: way.exact}
        r1, r2, c1, c2 = values["R1"], values["R2"], values["C1"], values["C2"]
        root = math.sqrt(r1 * r2 * c1 * c2)
        k = 2 - (r1 * (c1 + c2) / root) ** 2
        y = (math.sqrt(k * k + 4) - k) / 2
        # a hump of up to 0.5 dB counts as passband: with R2 alone Q rises to 0.85
        rel = 0.05 if ref == "R2" else 2e-3
        assert math.sqrt(y) / (2 * math.pi * root) == pytest.approx(1500, rel=rel)


def test_level_of_a_bell_is_met(with_pickup: Hookup) -> None:
    side = Side(read_circuit("whimbrel"), Hookup())
    found = ways_to(side, Aim("level", "peak", 6.0), {"bell": 10})
    assert found.now == pytest.approx(10.5, abs=0.2)
    assert found.ways
    for way in found.ways:
        assert way.reached_e24 == pytest.approx(6.0, abs=0.5)


def test_range_of_a_tone_control_is_met_as_the_formula_says(
    reference: Callable[[str], Circuit],
) -> None:
    """Bass boost at DC is 1 + R2/R1 (Franco, ex. 3.7); at 20 Hz it is nearly there.

    The pot R2 alone can: 12 dB is about R2/R1 = 3, that is 33 kΩ, and its corner moves
    up as it gets smaller.
    """
    side = Side(reference("tone_control"))
    knob = side.circuit.knobs[0].name
    found = ways_to(side, parse_aim(f"{knob}=12dB", side))
    pot = next(way for way in found.ways if way.who.part == "R2")
    assert pot.exact == pytest.approx(3 * 11e3, rel=0.15)
    assert pot.reached_e24 == pytest.approx(12, abs=0.5)


def test_flat_makes_the_least_deviation(drawn: Drawn) -> None:
    """R2·C2 must equal R1·C1 in a compensated divider (textbook): 10 k·1 n = R2·2 n."""
    circuit = drawn(
        Resistor("R1", ("in", "out"), 10e3),
        Capacitor("C1", ("in", "out"), 1e-9),
        Resistor("R2", ("out", "gnd"), 12e3),
        Capacitor("C2", ("out", "gnd"), 2e-9),
    )
    side = Side(circuit, Hookup(source_ohm=0))
    ways = by_part(side, "flat")
    assert ways["R2"].exact == pytest.approx(5e3, rel=0.02)
    assert ways["C2"].exact == pytest.approx(10e3 * 1e-9 / 12e3, rel=0.02)
    assert ways["R2"].reached_e24 < 0.1


def test_a_peak_that_is_not_there_is_brought_back_by_the_part_that_damped_it(
    with_pickup: Hookup,
) -> None:
    side = Side(read_circuit("plover"), replace(with_pickup, load_ohm=10e3))
    found = ways_to(side, parse_aim("peak=3.5k", side))
    assert found.now is None
    assert [way.who.part for way in found.ways] == ["R1"]
    assert found.ways[0].aside.gain_db == pytest.approx(
        20 * np.log10(47 / (found.ways[0].e24 / 1000)), abs=2
    )


def test_an_aim_that_is_met_needs_nothing(corner: Side) -> None:
    found = ways_to(corner, parse_aim("high-pass=159", corner))
    assert found.is_there
    assert found.ways == ()


def test_an_aim_out_of_reach_has_no_ways(corner: Side) -> None:
    assert ways_to(corner, parse_aim("low-pass=3k", corner)).ways == ()


@pytest.mark.parametrize(
    ("text", "aim"),
    [
        ("high-pass=25", Aim("frequency", "high-pass", 25.0)),
        ("low-pass = 4k7", Aim("frequency", "low-pass", 4700.0)),
        ("peak=3.5kHz", Aim("frequency", "peak", 3500.0)),
        ("peak=+6dB", Aim("level", "peak", 6.0)),
        ("dip=−10 dB", Aim("level", "dip", -10.0)),
        ("bass=12dB", Aim("range", "bass", 12.0)),
        ("bass=12", Aim("range", "bass", 12.0)),
        ("flat", Aim("flat", "", 0.0)),
    ],
)
def test_aims_are_read_as_written(text: str, aim: Aim) -> None:
    assert parse_aim(text, Side(read_circuit("plover"))) == aim


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("high-pass", "cannot read 'high-pass' as an aim; write it like high-pass=25"),
        ("hi-pass=25", "did you mean 'high-pass'?"),
        ("treble=6dB", "there is no feature or knob to aim at 'treble'"),
        ("high-pass=6dB", "a high-pass is aimed at by its frequency, got '6dB'"),
        ("peak=loud", "cannot read 'loud'"),
        ("high-pass=1M", "must be from 10 Hz to 24 kHz, got 1e+06"),
        ("bass=lots", "cannot read 'lots' as decibels"),
        ("bass=0", "bass: a range must be above 0 dB, got 0"),
        ("flat=1", "there is no feature or knob to aim at 'flat'"),
    ],
)
def test_what_is_no_aim_is_refused_with_how_to_write_one(text: str, told: str) -> None:
    with pytest.raises(RequestError) as caught:
        parse_aim(text, Side(read_circuit("plover")))
    assert told in str(caught.value)


def test_a_silent_setting_has_no_ways() -> None:
    side = Side(read_circuit("plover"))
    with pytest.raises(RequestError, match="silent at this setting"):
        ways_to(side, parse_aim("high-pass=25", side), {"level": 0})
