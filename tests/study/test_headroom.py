# SPDX-License-Identifier: GPL-3.0-or-later
"""Headroom against the figures of a 9 V rail and the gains of textbook stages."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from tonebench.circuit.circuit import Circuit, Supply
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Hookup, join
from tonebench.circuit.parts import Capacitor, OpAmp, Pot, Resistor
from tonebench.circuit.tapers import Taper
from tonebench.study.headroom import (
    HEADROOM_HZ,
    HeadroomMeter,
    corners,
    headroom,
    jacks,
    one_turned,
    slew_needed,
    swings,
)

Drawn = Callable[..., Circuit]
NINE = Supply(9.0, 4.5)


def stage(drawn: Drawn, gain: float, supply: Supply | None = NINE) -> Circuit:
    """A non-inverting stage: 1 + R2/R1."""
    parts = (
        Resistor("R1", ("m", "gnd"), 1e3),
        Resistor("R2", ("out", "m"), (gain - 1) * 1e3),
        Resistor("R3", ("in", "gnd"), 1e6),
        OpAmp("U1", "in", "m", "out", short_of_rail_v=1.5),
    )
    return replace(drawn(*parts), supply=supply)


@pytest.mark.parametrize(
    ("short_v", "volts", "peak_v"),
    [
        (1.5, None, 3.0),  # of 9 V, 1.5 V short of each rail: +8.751 dBu
        (0.0, None, 4.5),  # rail to rail: +12.272 dBu
        (1.5, 7.2, 2.1),
        (1.5, 2.0, 0.0),
    ],
)
def test_an_op_amp_swings_from_its_bias_to_short_of_a_rail(
    drawn: Drawn, short_v: float, volts: float | None, peak_v: float
) -> None:
    op_amp = OpAmp("U1", "in", "out", "out", short_of_rail_v=short_v)
    circuit = replace(drawn(op_amp), supply=NINE)
    assert swings(circuit, volts) == {"U1": pytest.approx(peak_v)}


def test_the_nearer_rail_counts_where_the_bias_is_not_half(drawn: Drawn) -> None:
    circuit = stage(drawn, 10, Supply(9.0, 3.0))
    assert swings(circuit)["U1"] == pytest.approx(1.5)
    assert swings(circuit, 6.0)["U1"] == pytest.approx(0.5)  # the bias falls with it


@pytest.mark.parametrize("gain", [2.0, 10.0])
def test_what_comes_in_may_be_the_swing_over_the_gain(
    drawn: Drawn, gain: float
) -> None:
    found = headroom(join(stage(drawn, gain)), {})
    assert found is not None
    assert found.jack_v == pytest.approx(3 / gain, rel=1e-9)
    assert (found.ref, found.swing_v) == ("U1", 3.0)
    tired = headroom(join(stage(drawn, gain)), {}, 7.2)
    assert tired is not None
    assert tired.jack_v == pytest.approx(2.1 / gain, rel=1e-9)


def test_it_is_told_at_the_jack_behind_any_pickup(
    drawn: Drawn, with_pickup: Hookup
) -> None:
    """What drives the jack doesn't matter: volts there are volts there."""
    plover = read_circuit("plover")
    alone = headroom(join(plover, Hookup(load_ohm=1e6)), {"bass": 9, "bell": 7})
    behind = headroom(join(plover, with_pickup), {"bass": 9, "bell": 7})
    assert alone is not None
    assert behind is not None
    assert behind.jack_v == pytest.approx(alone.jack_v, rel=1e-6)
    assert behind.at_hz == alone.at_hz


def test_the_frequency_that_takes_least_is_found(drawn: Drawn) -> None:
    """Gain 1 + R2/(R1 + 1/jωC) rises with frequency: at the top of the range."""
    parts = (
        Resistor("R1", ("n", "gnd"), 1e3),
        Capacitor("C1", ("m", "n"), 100e-9),
        Resistor("R2", ("out", "m"), 9e3),
        OpAmp("U1", "in", "m", "out", short_of_rail_v=1.5),
    )
    found = headroom(join(replace(drawn(*parts), supply=NINE)), {})
    assert found is not None
    assert found.at_hz == pytest.approx(HEADROOM_HZ[-1])
    s = 2j * 3.141592653589793 * HEADROOM_HZ[-1]
    gain = abs(1 + 9e3 / (1e3 + 1 / (s * 100e-9)))
    assert found.jack_v == pytest.approx(3 / gain, rel=1e-9)


def test_a_stage_inside_clips_though_the_output_is_turned_down(drawn: Drawn) -> None:
    volume = Pot("P1", 10e3, Taper("linear"), "level", ("gnd", "hot"), "out")
    parts = (
        Resistor("R1", ("m", "gnd"), 1e3),
        Resistor("R2", ("hot", "m"), 9e3),
        OpAmp("U1", "in", "m", "hot", short_of_rail_v=1.5),
        volume,
    )
    chain = join(replace(drawn(*parts), supply=NINE))
    for level in (10, 1, 0):
        found = headroom(chain, {"level": level})
        assert found is not None
        assert found.jack_v == pytest.approx(0.3, rel=1e-9)


def test_without_op_amp_or_supply_nothing_is_told(drawn: Drawn) -> None:
    passive = join(read_circuit("dunlin"), Hookup(source_ohm=1e3))
    assert headroom(passive, {}) is None
    assert not HeadroomMeter(passive).can_clip
    unsupplied = join(stage(drawn, 10, supply=None))
    assert headroom(unsupplied, {}) is None
    assert HeadroomMeter(unsupplied).least([{}]) is None


def test_all_ends_of_all_controls_are_tried() -> None:
    chain = join(read_circuit("whimbrel"))
    turned = one_turned(chain, {"bell": 3})
    assert {"bell": 10.0} in turned
    assert {"bell": 3, "corner": "75"} in turned
    assert len(turned) == 2 + 3 + 2
    assert len(corners(chain)) == 2 * 3 * 2


def test_the_jack_is_behind_what_drives_it(with_pickup: Hookup) -> None:
    assert jacks(join(read_circuit("tern"), with_pickup)) == ["in"]
    assert jacks(join(read_circuit("tern"), Hookup(source_ohm=50))) == ["in"]
    assert jacks(join(read_circuit("tern"))) == ["in"]
    both = jacks(join(read_circuit("dunlin"), with_pickup))
    assert both == ["neck", "bridge"]


@pytest.mark.parametrize(
    ("slew_v_per_us", "frequency_hz", "peak_v"),
    [
        (0.5, 100e3, 0.79577),  # Malvino & Bates, Electronic Principles, ex. 19-13
        (0.5, 198.94e3, 0.4),  # Franco, Design with Op Amps, ex. 6.8(c)
        (0.5, 7957.7, 10.0),  # computed independently from the same formula
        (13.0, 206.9e3, 10.0),
        (13.0, 517.3e3, 4.0),
    ],
)
def test_a_sine_needs_a_slew_rate_by_its_full_power_bandwidth(
    slew_v_per_us: float, frequency_hz: float, peak_v: float
) -> None:
    """f = SR/(2π·V): the full-power bandwidth, published with these figures."""
    assert slew_needed(peak_v, frequency_hz) == pytest.approx(
        slew_v_per_us * 1e6, rel=1e-4
    )
