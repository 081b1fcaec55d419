# SPDX-License-Identifier: GPL-3.0-or-later
"""What knobs do, against published tone controls, closed forms, and plain physics."""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.controls import Knob, SwitchControl
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Hookup, join
from tonebench.circuit.parts import (
    Capacitor,
    OpAmp,
    Pot,
    Resistor,
    Switch,
    VariableResistor,
)
from tonebench.circuit.tapers import parse_taper
from tonebench.errors import CircuitError, RequestError
from tonebench.study.traits import Traits, traits

Drawn = Callable[..., Circuit]
Reference = Callable[[str], Circuit]
LINEAR = parse_taper("linear")


def _db(ratio: complex) -> float:
    return 20 * math.log10(abs(ratio))


# -- a published tone control ----------------------------------------------------------


@pytest.fixture(scope="module")
def tone() -> Traits:
    from conftest import REFERENCE

    return traits(join(read_circuit(REFERENCE / "tone_control.toml")))


def test_the_published_tone_control_cuts_what_it_boosts(tone: Traits) -> None:
    """Solved independently: bass +18.365 dB at 20 Hz, treble +18.903 dB at 20 kHz."""
    for name, at_hz, level in (("bass", 20, 18.365), ("treble", 20_000, 18.903)):
        knob = tone.controls[name]
        assert knob.kind == "both"
        assert knob.boost.level_db == pytest.approx(level, abs=2e-3)
        assert knob.cut.level_db == pytest.approx(-level, abs=2e-3)
        assert knob.boost.at_hz == pytest.approx(at_hz, rel=1e-3)
        assert (knob.cut_at, knob.boost_at) == (0, 10)


def test_the_published_tone_control_is_flat_at_its_centre(tone: Traits) -> None:
    """Both limbs are equal there: 0 dB at all frequencies, an identity."""
    for knob in tone.controls.values():
        assert knob.flattest == 5
        assert knob.centre_within_db == pytest.approx(0, abs=1e-6)


def test_the_published_tone_control_is_two_shelves(tone: Traits) -> None:
    assert tone.controls["bass"].shape == "low shelf"
    assert tone.controls["treble"].shape == "high shelf"


@pytest.mark.parametrize(
    ("name", "corners_hz"),
    [("bass", (31.831, 289.37)), ("treble", (869.70, 8841.9))],
)
def test_the_published_shelves_stand_between_the_corners_of_their_formulas(
    tone: Traits, name: str, corners_hz: tuple[float, float]
) -> None:
    """fL = 1/(2πR2C1), fLB = 1/(2πR1C1), fH = 1/(2πR3C2), fHB = 1/(2πC2(R1 + R3 + 2R5))
    (Franco, ex. 3.7, with 50 and 5 nF): half of a step, in dB, is done at their
    geometric mean; the other half of the network moves that by a tenth at most.
    """
    change = tone.controls[name].places[-1].change
    assert change is not None
    wanted = math.sqrt(corners_hz[0] * corners_hz[1])
    assert change.centre_hz == pytest.approx(wanted, rel=0.1)


def test_the_published_bass_shelf_reaches_its_limit_at_dc(tone: Traits) -> None:
    """1 + R2/R1 = 20.079 dB by the formula; with the rest of the network 20.073 dB."""
    shelves = [f for f in tone.features if f.here.frequency_hz < 120]
    reached = max(max(map(abs, f.range_db)) for f in shelves)
    assert reached == pytest.approx(20.073, abs=0.05)


def test_quarters_of_the_turn_add_up_to_the_range(tone: Traits) -> None:
    """Solved independently: at ¾ of its turn bass is at +6.701 dB at 20 Hz."""
    quarters = tone.controls["bass"].quarters_db
    assert quarters == pytest.approx([11.664, 6.701, 6.701, 11.664], abs=3e-3)
    assert sum(quarters) == pytest.approx(2 * 18.365, abs=3e-3)


def test_halves_of_one_network_meddle_with_each_other(tone: Traits) -> None:
    """Solved independently at 1 kHz: both knobs up +3.500 dB, one by one 0.329 and
    3.955 dB; cut and boost mirror each other, so the difference comes twice.
    """
    found = {(each.turn, each.changes): each for each in tone.interactions}
    assert set(found) == {("bass", "treble"), ("treble", "bass")}
    assert found["treble", "bass"].db > abs(3.500 - 0.329 - 3.955)


def test_stages_parted_by_op_amps_leave_each_other_alone(with_pickup: Hookup) -> None:
    """An ideal output is a voltage source: nothing behind it reaches back."""
    assert traits(join(read_circuit("tern"), with_pickup)).interactions == ()


# -- kinds, by closed forms ------------------------------------------------------------


def test_a_capacitor_behind_a_variable_resistor_only_cuts(drawn: Drawn) -> None:
    """At 0: 1/(1 + sRC); at 10: (1 + sPC)/(1 + s(R + P)C)."""
    r, p, c = 10e3, 250e3, 22e-9
    circuit = drawn(
        Resistor("R1", ("in", "out"), r),
        VariableResistor("P1", p, LINEAR, "tone", ("out", "x")),
        Capacitor("C1", ("x", "gnd"), c),
    )
    knob = traits(join(circuit)).controls["tone"]
    s = 2j * math.pi * 20_000
    wanted = _db(1 / (1 + s * r * c)) - _db((1 + s * p * c) / (1 + s * (r + p) * c))
    assert (knob.kind, knob.flattest, knob.cut_at) == ("cut", 10, 0)
    assert knob.cut.level_db == pytest.approx(wanted, abs=1e-6)
    assert knob.boost.level_db < 0.5
    assert knob.shape == "high shelf"


def test_a_leg_at_an_op_amps_minus_only_boosts(drawn: Drawn) -> None:
    """1 + F/(P + 1/sC) with P from 1 MΩ down to 0."""
    f, p, c = 10e3, 1e6, 10e-9
    circuit = drawn(
        OpAmp("U1", "in", "m", "out"),
        Resistor("R1", ("m", "out"), f),
        VariableResistor("P1", p, LINEAR, "presence", ("m", "x")),
        Capacitor("C1", ("x", "gnd"), c),
    )
    knob = traits(join(circuit)).controls["presence"]
    s = 2j * math.pi * 20_000
    wanted = _db(1 + f * s * c) - _db(1 + f / (p + 1 / (s * c)))
    assert (knob.kind, knob.boost_at) == ("boost", 0)
    assert knob.boost.level_db == pytest.approx(wanted, abs=1e-6)


def test_a_volume_is_a_level_and_silences(drawn: Drawn) -> None:
    volume = Pot("P1", 100e3, LINEAR, "volume", ("gnd", "in"), "out")
    knob = traits(join(drawn(volume))).controls["volume"]
    assert (knob.kind, knob.cut.level_db, knob.off) == (
        "level",
        -math.inf,
        (("in", 0),),
    )
    assert knob.quarters_db[0] == math.inf
    halves = [_db(2), _db(1.5), _db(4 / 3)]
    assert knob.quarters_db[1:] == pytest.approx(halves, abs=1e-6)


def _swept(drawn: Drawn, low_ohm: float, track: float) -> Circuit:
    """Return a Sallen-Key high-pass of Q 0.707 with two ganged pots."""
    circuit = drawn(
        Capacitor("C1", ("in", "a"), 1e-7),
        Capacitor("C2", ("a", "b"), 1e-7),
        Resistor("R1", ("a", "r"), low_ohm),
        VariableResistor("P1", track, LINEAR, "corner", ("r", "out")),
        Resistor("R2", ("b", "t"), 2 * low_ohm),
        VariableResistor("P2", 2 * track, LINEAR, "corner", ("t", "gnd")),
        OpAmp("U1", "b", "out", "out"),
    )
    return replace(circuit, knobs=(Knob("corner"),))


def test_a_swept_filter_is_a_frequency(drawn: Drawn) -> None:
    """f₀ = 1/(2πC√(R₁R₂)): from 1125 Hz with 1 kΩ and 2 kΩ to 102 Hz with 11 and 22."""
    knob = traits(join(_swept(drawn, 1e3, 10e3))).controls["corner"]
    assert knob.kind == "frequency"
    wanted = [1 / (2 * math.pi * 1e-7 * r * math.sqrt(2)) for r in (1e3, 11e3)]
    assert knob.moves_hz == pytest.approx(wanted, rel=1e-3)


def test_a_sweep_that_moves_another_knobs_bell_is_a_frequency(
    reference: Reference,
) -> None:
    """Its bell stands at 1/(2π√(L·C)), L = C3·R4·R with R from 680 Ω up to 10.68 kΩ
    (textbook's simulated inductor, exact: L = R·C3·(R4 − R)).
    """
    found = traits(join(reference("swept_bell"))).controls["sweep"]
    assert found.kind == "frequency"
    assert {name for where in found.where for name in where} == {"bell"}
    wanted = [
        1 / (2 * math.pi * math.sqrt(22e-9 * 4.7e-9 * r * (100e3 - r)))
        for r in (680.0, 10_680.0)
    ]
    assert found.moves_hz == pytest.approx(wanted, rel=0.05)


def test_a_knob_that_does_nothing_is_told_so(drawn: Drawn) -> None:
    circuit = drawn(
        Resistor("R1", ("in", "out"), 1e3),
        Resistor("R2", ("out", "gnd"), 1e3),
        Pot("P1", 1e4, LINEAR, "trim", ("in", "gnd"), "w"),
    )
    assert traits(join(circuit)).controls["trim"].kind == "nothing"


def test_changes_below_half_a_decibel_do_not_count(drawn: Drawn) -> None:
    """100 Ω in series with 10 kΩ: −0.086 dB."""
    circuit = drawn(
        VariableResistor("P1", 100.0, LINEAR, "trim", ("in", "out")),
        Resistor("R1", ("out", "gnd"), 10e3),
    )
    assert traits(join(circuit)).controls["trim"].kind == "nothing"


def test_the_flattest_position_is_found_wherever_it_is(reference: Reference) -> None:
    """On a taper of 10 % at the middle the passive control is flat at its centre, on a
    linear pot where the wiper has done the same tenth of the track: at 1.
    """
    circuit = reference("passive_bass")
    assert traits(join(circuit)).controls["bass"].flattest == 5
    straight = tuple(
        replace(part, taper=LINEAR) if isinstance(part, Pot) else part
        for part in circuit.parts
    )
    found = traits(join(replace(circuit, parts=straight))).controls["bass"]
    assert isinstance(found.flattest, float)
    assert found.flattest == pytest.approx(1, abs=0.15)


def test_a_switch_is_told_as_a_knob_is(drawn: Drawn) -> None:
    """A capacitor switched across a divider's lower half: −3 dB at 1/(2π·5 kΩ·C)."""
    circuit = drawn(
        Resistor("R1", ("in", "out"), 10e3),
        Resistor("R2", ("out", "gnd"), 10e3),
        Switch("S1", "dark", "out", (("on", ("x",)),)),
        Capacitor("C1", ("x", "gnd"), 10e-9),
        switches=(SwitchControl("dark", ("off", "on"), start="on"),),
    )
    dark = traits(join(circuit)).controls["dark"]
    assert (dark.kind, dark.flattest, dark.cut_at) == ("cut", "off", "on")
    s = 2j * math.pi * 20_000
    assert dark.cut.level_db == pytest.approx(-_db(1 + s * 5e3 * 10e-9), abs=1e-6)
    assert dark.quarters_db == ()


# -- features over all settings --------------------------------------------------------


def test_a_buffered_coil_keeps_its_peak_at_every_setting(with_pickup: Hookup) -> None:
    """1/(2π√(LC)) of 2.2 H on 820 pF is 3747 Hz; its losses lower that a little."""
    found = traits(join(read_circuit("tern"), with_pickup))
    (peak,) = [each for each in found.features if each.here.kind == "peak"]
    assert peak.always
    assert peak.here.frequency_hz == pytest.approx(3747, rel=0.02)


def test_a_low_input_resistance_takes_the_peak_away_at_every_setting(
    with_pickup: Hookup,
) -> None:
    """47 kΩ on 2.2 H and 820 pF: Q is about R·√(C/L) = 0.9 less other losses; behind a
    buffer the peak is there at every setting again.
    """
    plover = read_circuit("plover")
    found = traits(join(plover, replace(with_pickup, load_ohm=10e3)))
    assert found.card.inputs[0].resonance is not None
    assert found.card.inputs[0].resonance.peak_hz is None
    start = [each for each in found.features if each.is_here]
    assert [each.here.kind for each in start] == ["high-pass", "low-pass"]
    behind = traits(join(plover, replace(with_pickup, has_buffer=True)))
    peaks = [each for each in behind.features if each.here.kind == "peak"]
    assert any(
        each.is_here and abs(each.here.frequency_hz - 3747) < 80 for each in peaks
    )


def test_an_output_capacitor_on_a_low_load_stays_whatever_is_turned(
    with_pickup: Hookup,
) -> None:
    """470 nF on 100 Ω and 25 kΩ ∥ 10 kΩ: 1/(2πRC) = 46.8 Hz; C1 on R1 adds its 7.2 Hz,
    and both together are −3 dB where (1 + f1²/f²)(1 + f2²/f²) = 2.
    """
    hookup = replace(with_pickup, load_ohm=10e3)
    found = traits(join(read_circuit("plover"), hookup))
    (low,) = [each for each in found.features if each.here.kind == "high-pass"]
    f1 = 1 / (2 * math.pi * 470e-9 * (100 + 25e3 * 10e3 / 35e3))
    f2 = 1 / (2 * math.pi * 470e-9 * 47e3)
    squares = [1, -(f1**2 + f2**2), -((f1 * f2) ** 2)]
    assert low.always
    assert low.here.frequency_hz == pytest.approx(
        math.sqrt(max(np.roots(squares))), rel=0.03
    )


def test_a_switched_bell_does_not_stay(with_pickup: Hookup) -> None:
    found = traits(join(read_circuit("whimbrel"), with_pickup))
    bells = [each for each in found.features if 600 < each.here.frequency_hz < 1000]
    assert sorted(each.here.kind for each in bells) == ["dip", "peak"]
    assert not any(each.always or each.is_here for each in bells)


def test_a_moved_corner_is_one_feature_with_a_range(drawn: Drawn) -> None:
    """f₀ = 1/(2πC√(R₁R₂)), from 102 to 1125 Hz; at the centre 187 Hz (6 kΩ, 12 kΩ)."""
    found = traits(join(_swept(drawn, 1e3, 10e3)))
    (corner,) = found.features
    assert (corner.here.kind, corner.always) == ("high-pass", True)
    at = [1 / (2 * math.pi * 1e-7 * r * math.sqrt(2)) for r in (11e3, 6e3, 1e3)]
    assert corner.here.frequency_hz == pytest.approx(at[1], rel=1e-3)
    assert corner.range_hz == pytest.approx((at[0], at[2]), rel=1e-3)


def test_silent_settings_are_left_out_of_every_setting(drawn: Drawn) -> None:
    circuit = drawn(
        Resistor("R1", ("in", "a"), 1e4),
        Capacitor("C1", ("a", "gnd"), 1e-8),
        OpAmp("U1", "a", "b", "b"),
        Pot("P1", 1e5, LINEAR, "volume", ("gnd", "b"), "out"),
    )
    (top,) = traits(join(circuit)).features
    assert (top.here.kind, top.always, top.share) == ("low-pass", True, 1)


def test_a_circuit_without_controls_has_features_all_the_same(drawn: Drawn) -> None:
    circuit = drawn(
        Resistor("R1", ("in", "out"), 1e4), Capacitor("C1", ("out", "gnd"), 1e-8)
    )
    found = traits(join(circuit))
    assert (dict(found.controls), found.interactions) == ({}, ())
    assert found.features[0].always


# -- refusals --------------------------------------------------------------------------


def test_an_unknown_knob_is_refused() -> None:
    with pytest.raises(RequestError, match="there is no knob or switch 'tlt'"):
        traits(join(read_circuit("tern")), {"tlt": 4})


def test_an_unstable_circuit_is_refused_with_its_pole_and_part(drawn: Drawn) -> None:
    """Fed back to its plus input an op-amp's pole lies on the right: it latches."""
    circuit = drawn(
        Resistor("R1", ("in", "p"), 1e4),
        Resistor("R2", ("p", "out"), 1e4),
        OpAmp("U1", "p", "gnd", "out", gbw_hz=3e6, open_loop_gain=1e5),
    )
    with pytest.raises(CircuitError, match="pole"):
        traits(join(circuit))


def test_settings_that_short_a_source_are_left_out_while_others_are_told(
    drawn: Drawn,
) -> None:
    circuit = drawn(
        VariableResistor("P1", 1e4, LINEAR, "load", ("in", "gnd")),
        Resistor("R1", ("in", "out"), 1e4),
        Resistor("R2", ("out", "gnd"), 1e4),
    )
    assert traits(join(circuit)).controls["load"].kind == "nothing"
    shorted = replace(circuit, knobs=(Knob("load", start=0.0),))
    with pytest.raises(CircuitError, match="shorts the source"):
        traits(join(shorted))
