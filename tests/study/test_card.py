# SPDX-License-Identifier: GPL-3.0-or-later
"""The result card against closed forms and the house's own arithmetic."""

import math
from collections.abc import Callable
from dataclasses import replace

import pytest

from tonebench.circuit.circuit import Circuit, Supply
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Hookup, Pickup, join
from tonebench.circuit.parts import Capacitor, OpAmp, Pot, Resistor
from tonebench.circuit.tapers import parse_taper
from tonebench.study.bleed import bleed_parts
from tonebench.study.card import Card
from tonebench.study.traits import traits

Drawn = Callable[..., Circuit]
LINEAR = parse_taper("linear")
COIL = Pickup("coil", 6100.0, 2.2, 120e-12)


def _card(circuit: Circuit, hookup: Hookup | None = None) -> Card:
    return traits(join(circuit, hookup)).card


def test_a_corner_of_38_hz_takes_4_db_from_a_low_b(drawn: Drawn) -> None:
    """10·lg(1 + (f₀/f)²): 4.0 dB at 30.87 Hz, 2.7 dB at 41.2 Hz (equal temperament)."""
    farad = 1 / (2 * math.pi * 38 * 10e3)
    circuit = drawn(
        Capacitor("C1", ("in", "out"), farad), Resistor("R1", ("out", "gnd"), 10e3)
    )
    (card,) = _card(circuit).inputs
    assert card.corner_hz == pytest.approx(38, rel=1e-3)
    assert round(card.lost_db["low B"], 1) == 4.0
    assert round(card.lost_db["bass E"], 1) == 2.7
    wanted = 10 * math.log10(1 + (38 / 82.407) ** 2)
    assert card.lost_db["guitar E"] == pytest.approx(wanted, abs=2e-3)


def test_loads_are_told_against_the_coils_own_impedance(drawn: Drawn) -> None:
    """R + jωL with the winding's capacitance across it; 68 kΩ at all frequencies."""
    circuit = drawn(Resistor("R1", ("in", "gnd"), 68e3), output="in")
    (card,) = _card(circuit, Hookup({"": COIL}, cable_farad=700e-12)).inputs
    for load in card.loads:
        s = 2j * math.pi * load.frequency_hz
        z = COIL.resistance_ohm + s * COIL.inductance_henry
        z /= 1 + z * s * COIL.capacitance_farad
        assert load.input_ohm == pytest.approx(68e3, rel=1e-9)
        assert load.source_ohm == pytest.approx(abs(z), rel=1e-9)
        assert load.ratio == pytest.approx(68e3 / abs(z), rel=1e-9)


def test_an_ideal_source_has_nothing_to_load(drawn: Drawn) -> None:
    (card,) = _card(drawn(Resistor("R1", ("in", "gnd"), 68e3), output="in")).inputs
    assert card.resonance is None
    assert [load.ratio for load in card.loads] == [None] * 3


def test_the_loaded_resonance_is_that_at_the_coils_terminals(
    drawn: Drawn, with_pickup: Hookup
) -> None:
    """What follows a buffer doesn't reach it: 1/(2π√(LC)) of 2.2 H on 820 pF."""
    circuit = drawn(
        OpAmp("U1", "in", "b", "b"),
        Resistor("R1", ("b", "out"), 1e5),
        Capacitor("C1", ("out", "gnd"), 1e-6),
    )
    (card,) = _card(circuit, with_pickup).inputs
    assert card.resonance is not None
    assert card.resonance.peak_hz == pytest.approx(3747, rel=0.02)


def test_polarity_and_gain_are_told_at_500_hz(drawn: Drawn) -> None:
    """An inverting stage: −R2/R1."""
    circuit = drawn(
        Resistor("R1", ("in", "m"), 10e3),
        Resistor("R2", ("m", "out"), 30e3),
        OpAmp("U1", "gnd", "m", "out"),
    )
    (card,) = _card(circuit).inputs
    assert card.inverts
    assert card.gain_db == pytest.approx(20 * math.log10(3), abs=1e-9)
    assert (card.corner_hz, card.lost_db) == (None, {})


def test_a_volume_shows_a_quarter_of_its_track_at_worst(drawn: Drawn) -> None:
    """Halfway up a linear track on a stiff source: R/4."""
    volume = Pot("P1", 100e3, LINEAR, "volume", ("gnd", "in"), "out")
    card = _card(drawn(volume), Hookup(load_ohm=10e3))
    assert card.output_ohm == pytest.approx(25e3, rel=1e-9)
    assert card.output_at == {"volume": 5}


def _volume(drawn: Drawn, *more: Capacitor | Resistor) -> Circuit:
    track = Pot("P1", 250e3, LINEAR, "volume", ("gnd", "in"), "out")
    circuit = drawn(track, *more)
    return replace(circuit, knobs=(replace(circuit.knobs[0], start=10.0),))


def _lost(below: Callable[[complex], complex]) -> float:
    """Return 20·lg of a divider's gain at 500 Hz over that at 5 kHz."""
    at = [abs(below(2j * math.pi * hz)) for hz in (500.0, 5000.0)]
    return 20 * math.log10(at[0] / at[1])


def test_treble_lost_at_7_is_that_of_the_divider_on_its_lead(drawn: Drawn) -> None:
    """75 kΩ over 175 kΩ ∥ 1 nF; with 470 pF across the upper leg 75 kΩ ∥ 470 pF."""

    def leg(ohm: float, farad: float, s: complex) -> complex:
        return ohm / (1 + s * ohm * farad)

    def gain(bleed: float) -> Callable[[complex], complex]:
        def at(s: complex) -> complex:
            lower = leg(175e3, 1e-9, s)
            return lower / (lower + leg(75e3, bleed, s))

        return at

    lead = Hookup(load_farad=1e-9)
    (plain,) = _card(_volume(drawn), lead).treble
    assert plain.lost_db == pytest.approx(_lost(gain(0)), abs=1e-9)
    assert (plain.bleed, plain.without_db) == ((), None)
    bleed = Capacitor("C1", ("in", "out"), 470e-12)
    (bled,) = _card(_volume(drawn, bleed), lead).treble
    assert bled.lost_db == pytest.approx(_lost(gain(470e-12)), abs=1e-9)
    assert bled.bleed == ("C1",)
    assert bled.without_db == pytest.approx(plain.lost_db, abs=1e-9)


def test_a_bleed_is_known_by_where_it_lies(drawn: Drawn) -> None:
    in_series = (
        Capacitor("C1", ("in", "x"), 1e-9),
        Resistor("R1", ("x", "out"), 150e3),
    )
    assert bleed_parts(_volume(drawn, *in_series), "volume") == ("C1", "R1")
    to_ground = Capacitor("C1", ("out", "gnd"), 1e-9)
    assert bleed_parts(_volume(drawn, to_ground), "volume") == ()
    assert bleed_parts(read_circuit("dunlin"), "neck") == ("C1", "R1")


def test_headroom_and_hiss_are_on_the_card_where_there_is_a_supply(
    drawn: Drawn,
) -> None:
    """A follower on 9 V around 4.5 V, 1.5 V short of each rail, swings 3 V."""
    follower = OpAmp(
        "U1", "in", "out", "out", noise_v_per_rt_hz=5e-9, short_of_rail_v=1.5
    )
    circuit = replace(drawn(follower), supply=Supply(9.0, 4.5))
    card = _card(circuit)
    assert card.headroom is not None
    assert card.headroom.jack_v == pytest.approx(3, rel=1e-6)
    assert card.hiss_v is not None
    assert card.hiss_v > 0
    assert _card(drawn(follower)).headroom is None
