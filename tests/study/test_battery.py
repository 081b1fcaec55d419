# SPDX-License-Identifier: GPL-3.0-or-later
"""What a battery's reading means, against stages whose limits are closed forms."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from tonebench.circuit.circuit import Circuit, Supply
from tonebench.circuit.hookup import join
from tonebench.circuit.parts import OpAmp, Resistor, VariableResistor
from tonebench.circuit.tapers import Taper
from tonebench.errors import RequestError
from tonebench.study.battery import (
    KnobLimit,
    battery_life,
    knob_limits,
    loudest_first,
    read_battery,
)
from tonebench.study.headroom import HeadroomMeter

Drawn = Callable[..., Circuit]


@pytest.fixture
def meter(drawn: Drawn) -> HeadroomMeter:
    """Gain 1 + position, swinging volts/2 − 1.5; the knob starts at 0."""
    parts = (
        Resistor("R0", ("in", "gnd"), 1e6),
        Resistor("R1", ("m", "gnd"), 1e3),
        VariableResistor("P1", 10e3, Taper("linear"), "gain", ("out", "m")),
        OpAmp("U1", "in", "m", "out", short_of_rail_v=1.5),
    )
    circuit = drawn(*parts)
    knob = replace(circuit.knobs[0], start=0.0, label="Gain")
    supply = Supply(9.0, 4.5, draw_ampere=2.5e-3)
    return HeadroomMeter(join(replace(circuit, knobs=(knob,), supply=supply)))


@pytest.mark.parametrize(
    ("volts", "loudest_v", "limit"),
    [
        # loudest·(1 + p) = volts/2 − 1.5
        (9.0, 1.0, 2.0),
        (7.0, 1.0, 1.0),
        (9.0, 0.5, 5.0),
        (9.0, 0.3, 9.0),
    ],
)
def test_a_knob_clips_from_where_its_gain_fills_the_swing(
    meter: HeadroomMeter, volts: float, loudest_v: float, limit: float
) -> None:
    (found,) = knob_limits(meter, {}, volts, loudest_v)
    assert found.is_above
    assert found.position == pytest.approx(limit, abs=0.16)
    assert found.position <= limit + 1e-6  # told on the safe side


@pytest.mark.parametrize(
    ("volts", "loudest_v", "state"),
    [
        (9.0, 0.25, "fine"),  # gain 11 takes 0.27 V
        (7.4, 0.25, "loudest"),
        (9.0, 1.0, "loudest"),
        (5.5, 1.0, "loudest"),  # gain 1 takes 1.25 V
        (5.5, 1.3, "change"),
        (5.0, 0.05, "change"),  # flat, whatever clips
        (2.9, 0.05, "change"),
    ],
)
def test_a_reading_is_fine_or_nearly_or_to_be_changed(
    meter: HeadroomMeter, volts: float, loudest_v: float, state: str
) -> None:
    found = read_battery(meter, {}, volts, loudest_v)
    assert found.state == state
    assert found.headroom.jack_v == pytest.approx(max(0, volts / 2 - 1.5), abs=1e-9)
    assert found.is_flat == (volts < 5.4)
    if state == "fine":
        assert found.limits == ()


def test_a_reading_is_told_beside_a_fresh_battery(meter: HeadroomMeter) -> None:
    found = read_battery(meter, {}, 7.0, 1.0)
    assert found.limits[0].position < found.fresh_limits[0].position
    assert found.fresh_limits[0].position == pytest.approx(2.0, abs=0.16)


@pytest.mark.parametrize("volts", [0.0, -1.0, 12.0, float("nan")])
def test_a_reading_of_another_battery_is_refused(
    meter: HeadroomMeter, volts: float
) -> None:
    with pytest.raises(RequestError, match=r"above 0 V and at most 10\.8 V"):
        read_battery(meter, {}, volts)


def test_a_reading_says_nothing_of_a_circuit_that_needs_none(drawn: Drawn) -> None:
    bare = HeadroomMeter(join(drawn(Resistor("R1", ("in", "out"), 1e3))))
    with pytest.raises(RequestError, match="drawn has no supply"):
        read_battery(bare, {}, 9.0)
    assert battery_life(bare, {}) is None


def test_a_block_lasts_about_two_hundred_hours_at_two_and_a_half_milliamperes(
    meter: HeadroomMeter,
) -> None:
    """400 to 600 mAh, so 160 to 240 h (common practice, no source)."""
    life = battery_life(meter, {}, 0.1)
    assert life is not None
    assert life.hours == pytest.approx((160, 240), rel=0.01)
    assert life.until_v == pytest.approx(5.4)
    assert not life.is_by_clipping


def test_it_ends_sooner_where_the_loudest_notes_begin_to_clip(
    meter: HeadroomMeter,
) -> None:
    """2 V by gain 1 need 7 V."""
    life = battery_life(meter, {}, 2.0)
    assert life is not None
    assert life.is_by_clipping
    assert life.until_v == pytest.approx(7.0, abs=0.02)
    assert 0 < life.hours[0] < 160


@pytest.mark.parametrize(
    "supply", [Supply(9.0, 4.5), Supply(5.0, 2.5, 1e-3), Supply(9.0, 4.5, 0.0)]
)
def test_nothing_is_guessed_of_a_battery_that_is_not_known(
    meter: HeadroomMeter, supply: Supply
) -> None:
    circuit = replace(meter.chain.circuit, supply=supply)
    assert battery_life(HeadroomMeter(join(circuit)), {}) is None


def test_two_blocks_last_as_long_as_one_at_twice_the_volts(
    meter: HeadroomMeter,
) -> None:
    supply = Supply(18.0, 9.0, 2.5e-3)
    twice = HeadroomMeter(join(replace(meter.chain.circuit, supply=supply)))
    life = battery_life(twice, {}, 0.1)
    assert life is not None
    assert life.hours == pytest.approx((160, 240), rel=0.01)
    assert life.until_v == pytest.approx(10.8)


def test_limits_that_leave_least_come_first(meter: HeadroomMeter) -> None:
    knob = meter.chain.circuit.knobs[0]
    late, early = KnobLimit(knob, 9.0, True), KnobLimit(knob, 6.0, False)
    first = KnobLimit(knob, 3.0, True)
    assert loudest_first([late, early, first]) == (first, early, late)
