# SPDX-License-Identifier: GPL-3.0-or-later
"""Parts check their own values, name their terminals and can be renamed."""

import math
from collections.abc import Callable

import pytest

from tonebench.circuit.parts import (
    Capacitor,
    Inductor,
    OpAmp,
    Part,
    Pot,
    Resistor,
    Switch,
    Transconductor,
    VariableResistor,
    rename_nodes,
    terminals,
)
from tonebench.circuit.tapers import Taper
from tonebench.errors import CircuitError

AB = ("a", "b")
LINEAR = Taper("linear")


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (
            lambda: Resistor("R1", AB, -470.0),
            "R1: resistance must be 0 ohm or more, got -470",
        ),
        (lambda: Resistor("R1", AB, math.nan), "must be 0 ohm or more, got nan"),
        (lambda: Resistor("R1", AB, math.inf), "must be 0 ohm or more, got inf"),
        (lambda: Capacitor("C1", AB, 0.0), "C1: capacitance must be above 0 farad"),
        (lambda: Inductor("L1", AB, 0.0), "L1: inductance must be above 0 henry"),
        (lambda: Inductor("L1", AB, 1.0, winding_ohm=-1.0), "L1: winding must be 0"),
        (
            lambda: Pot("P1", 1e5, LINEAR, "k", AB, "w", end_ohm=5e4),
            "P1: end must be below half of the track",
        ),
        (
            lambda: Pot("P1", 1e5, LINEAR, "k", AB, "w", tap="t"),
            "P1: tap and tap_at belong together",
        ),
        (
            lambda: Pot("P1", 1e5, LINEAR, "k", AB, "w", tap="t", tap_at=1.0),
            "P1: tap_at must be between 0 and 1",
        ),
        (
            lambda: VariableResistor("P1", 1e5, LINEAR, "k", AB, open_at=5.0),
            "P1: open_at must be a position near one end",
        ),
        (lambda: OpAmp("U1", "p", "m", "o", gbw_hz=0.0), "U1: gbw must be above 0 Hz"),
        (
            lambda: OpAmp("U1", "p", "m", "o", open_loop_gain=math.nan),
            "U1: open_loop_gain must be above 0",
        ),
        (
            lambda: Transconductor("G1", 0.0, AB, AB),
            "G1: transconductance must be a number other than 0",
        ),
    ],
)
def test_a_part_refuses_a_value_it_cannot_have(
    make: Callable[[], Part], message: str
) -> None:
    with pytest.raises(CircuitError) as caught:
        make()
    assert message in str(caught.value)


def test_a_resistor_of_nothing_is_a_wire_link() -> None:
    assert Resistor("R1", AB, 0.0).resistance_ohm == 0


def test_an_op_amp_without_values_is_ideal() -> None:
    assert OpAmp("U1", "p", "m", "o").is_ideal
    assert not OpAmp("U1", "p", "m", "o", gbw_hz=3e6, open_loop_gain=1e5).is_ideal


def test_a_switch_is_open_where_it_is_not_thrown() -> None:
    switch = Switch("S1", "mode", "p", (("low", ("q",)), ("high", ("q", "r"))))
    assert switch.thrown_to("high") == ("q", "r")
    assert switch.thrown_to("mid") == ()


EVERY_KIND: list[Part] = [
    Resistor("R1", AB, 1.0),
    Capacitor("C1", AB, 1.0),
    Inductor("L1", AB, 1.0),
    Pot("P1", 1e5, LINEAR, "k", AB, "w", tap="t", tap_at=0.5),
    VariableResistor("P2", 1e5, LINEAR, "k", AB),
    OpAmp("U1", "p", "m", "o"),
    Switch("S1", "mode", "p", (("low", ("q",)), ("high", ("q", "r")))),
    Transconductor("G1", 1e-3, ("g", "s"), ("d", "s")),
]


TERMINALS = [
    [("", "a"), ("", "b")],
    [("", "a"), ("", "b")],
    [("", "a"), ("", "b")],
    [("end at 0", "a"), ("end at 10", "b"), ("wiper", "w"), ("tap", "t")],
    [("", "a"), ("", "b")],
    [("plus", "p"), ("minus", "m"), ("out", "o")],
    [("common", "p"), ("low and high", "q"), ("high", "r")],
    [("control +", "g"), ("control −", "s"), ("current in", "d"), ("current out", "s")],
]


@pytest.mark.parametrize(
    ("part", "said"),
    [*zip(EVERY_KIND, TERMINALS, strict=True)],
    ids=[part.ref for part in EVERY_KIND],
)
def test_terminals_are_called_what_a_builder_calls_them(
    part: Part, said: list[tuple[str, str]]
) -> None:
    assert list(terminals(part)) == said


@pytest.mark.parametrize("part", EVERY_KIND, ids=[part.ref for part in EVERY_KIND])
def test_renaming_changes_every_node_and_nothing_else(part: Part) -> None:
    table = {node: f"x.{node}" for _, node in terminals(part)}
    renamed = rename_nodes(part, table, "x.1")
    assert renamed.ref == "x.1"
    assert [node for _, node in terminals(renamed)] == [
        f"x.{node}" for _, node in terminals(part)
    ]
    back = {new: old for old, new in table.items()}
    assert rename_nodes(renamed, back, part.ref) == part
