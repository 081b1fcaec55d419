# SPDX-License-Identifier: GPL-3.0-or-later
"""Legs of pots and switches, in ohms counted by hand on a drawing of the part."""

import pytest

from tonebench.circuit.parts import Capacitor, Pot, Resistor, Switch, VariableResistor
from tonebench.circuit.tapers import parse_taper
from tonebench.network.legs import leg_nodes, leg_ohms

LINEAR = parse_taper("linear")


def pot(**changes: object) -> Pot:
    values: dict[str, object] = {"ends": ("low", "high"), "wiper": "w"} | changes
    return Pot("P1", 1000.0, LINEAR, "k", **values)  # type: ignore[arg-type]


def legs(part: Pot, position: float) -> dict[frozenset[str], float]:
    """Return the ohms of the legs that are not open, by the nodes they join."""
    found = zip(leg_nodes(part), leg_ohms(part, {"k": position}), strict=True)
    return {frozenset(pair): ohm for pair, ohm in found if ohm is not None}


def between(**ohms: float) -> dict[frozenset[str], float]:
    return {frozenset(key.split("_")): value for key, value in ohms.items()}


@pytest.mark.parametrize(
    ("position", "first"), [(0, 0.0), (2.5, 250.0), (5, 500.0), (10, 1000.0)]
)
def test_wiper_divides_the_track(position: float, first: float) -> None:
    assert legs(pot(), position) == between(low_w=first, w_high=1000 - first)


def test_end_resistance_stays_between_wiper_and_each_end() -> None:
    assert legs(pot(end_ohm=10.0), 0) == between(low_w=10, w_high=990)
    assert legs(pot(end_ohm=10.0), 10) == between(low_w=990, w_high=10)


def test_tap_divides_the_part_of_the_track_that_the_wiper_leaves() -> None:
    tapped = pot(tap="t", tap_at=0.4)
    assert legs(tapped, 1) == between(low_w=100, w_t=300, t_high=600)
    assert legs(tapped, 4) == between(low_t=400, w_t=0, w_high=600)
    assert legs(tapped, 9) == between(low_t=400, w_t=500, w_high=100)


@pytest.mark.parametrize(
    ("open_at", "position", "is_off"),
    [
        (9.8, 9.79, False),
        (9.8, 9.8, True),
        (9.8, 10, True),
        (10, 10, True),
        (0, 0, True),
        (0, 0.01, False),
        (0.5, 0.5, True),
        (0.5, 0.51, False),
    ],
)
def test_wiper_leaves_the_track_from_open_at_to_the_nearer_end(
    open_at: float, position: float, is_off: bool
) -> None:
    found = legs(pot(open_at=open_at), position)
    if is_off:  # the track itself stays between the ends
        assert found == between(low_high=1000)
    else:
        assert set(found) == {frozenset({"low", "w"}), frozenset({"w", "high"})}


def test_tapped_track_stays_when_the_wiper_leaves_it() -> None:
    tapped = pot(tap="t", tap_at=0.25, open_at=10)
    assert legs(tapped, 10) == between(low_t=250, t_high=750)


@pytest.mark.parametrize(("open_at", "at_10"), [(None, 1000.0), (10, None)])
def test_variable_resistor_rises_with_the_knob_or_opens(
    open_at: float | None, at_10: float | None
) -> None:
    part = VariableResistor("P1", 1000.0, LINEAR, "k", ("a", "b"), open_at=open_at)
    assert leg_nodes(part) == (("a", "b"),)
    assert leg_ohms(part, {"k": 0}) == (0,)
    assert leg_ohms(part, {"k": 7.5}) == (750,)
    assert leg_ohms(part, {"k": 10}) == (at_10,)


def test_switch_joins_common_with_what_it_is_thrown_to_and_nothing_else() -> None:
    part = Switch("S1", "s", "c", (("one", ("a",)), ("both", ("a", "b"))))
    assert leg_nodes(part) == (("c", "a"), ("c", "b"))
    assert leg_ohms(part, {"s": "one"}) == (0, None)
    assert leg_ohms(part, {"s": "both"}) == (0, 0)
    assert leg_ohms(part, {"s": "off"}) == (None, None)


def test_only_resistors_that_would_cost_digits_are_legs() -> None:
    wire = Resistor("R1", ("a", "b"), 0.0)
    assert leg_nodes(wire) == (("a", "b"),)
    assert leg_ohms(wire, {}) == (0,)
    assert leg_nodes(Resistor("R2", ("a", "b"), 4700.0)) == ()
    assert leg_nodes(Capacitor("C1", ("a", "b"), 1e-9)) == ()
