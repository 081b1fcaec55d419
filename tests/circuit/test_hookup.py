# SPDX-License-Identifier: GPL-3.0-or-later
"""A circuit and what stands around it, joined into one flat drawing."""

from dataclasses import replace

import pytest

from tonebench.circuit.circuit import STRAIGHT, Circuit, Input
from tonebench.circuit.controls import Knob, SwitchControl
from tonebench.circuit.hookup import (
    Chain,
    Hookup,
    Neighbour,
    Pickup,
    Piezo,
    Source,
    join,
)
from tonebench.circuit.parts import (
    Capacitor,
    Inductor,
    Part,
    Resistor,
    Switch,
    VariableResistor,
)
from tonebench.circuit.tapers import Taper
from tonebench.errors import RequestError

SEDGE = Pickup("sedge", 6100.0, 2.2, 120e-12, losses_ohm=330e3)
MARRAM = Pickup("marram", 9400.0, 4.1, 150e-12)
PLOVER = Circuit(
    "plover",
    "Low shelf",
    (Input("in", "in"),),
    "out",
    (Resistor("R1", ("in", "out"), 10e3), Resistor("R2", ("out", "gnd"), 10e3)),
)
WHIMBREL = Circuit(
    "whimbrel",
    "High-pass",
    (Input("in", "in"),),
    "out",
    (
        Capacitor("C1", ("in", "out"), 10e-9),
        VariableResistor("P1", 1e5, Taper("linear"), "cut", ("out", "bias")),
        Switch("S1", "deep", "out", (("on", ("gnd",)),)),
    ),
    knobs=(Knob("cut", start=3),),
    switches=(SwitchControl("deep", ("on", "off"), start="off"),),
)
DUNLIN = Circuit(
    "dunlin",
    "Harness",
    (Input("neck", "n"), Input("bridge", "b")),
    "out",
    (Resistor("R1", ("n", "out"), 1e5), Resistor("R2", ("b", "out"), 1e5)),
    place="onboard",
)


def parts_by_name(chain: Chain) -> dict[str, Part]:
    assert len({part.ref for part in chain.parts}) == len(chain.parts)
    return {part.ref: part for part in chain.parts}


# -- the line that says the chain ------------------------------------------------------


@pytest.mark.parametrize(
    ("circuit", "hookup", "line"),
    [
        (PLOVER, Hookup(), "ideal source → plover → no load"),
        (
            PLOVER,
            Hookup({"": SEDGE}, cable_farad=700e-12, load_ohm=1e6),
            "sedge → 700 pF lead → plover → 1 MΩ",
        ),
        (
            PLOVER,
            Hookup({"": SEDGE}, cable_farad=700e-12, load_ohm=1e6, place="onboard"),
            "sedge → 30 pF inner wire → plover → 700 pF lead → 1 MΩ",
        ),
        (
            PLOVER,
            Hookup(source_ohm=50.0, load_ohm=1e6, load_farad=100e-12),
            "50 Ω source → plover → 1 MΩ with 100 pF",
        ),
        (
            PLOVER,
            Hookup(
                {"": SEDGE},
                cable_farad=300e-12,
                before=(Neighbour(WHIMBREL), Neighbour(STRAIGHT)),
                into=(Neighbour(PLOVER),),
            ),
            "sedge → whimbrel → straight → 300 pF lead → plover → plover → no load",
        ),
        (
            DUNLIN,
            Hookup({"": SEDGE}, cable_farad=300e-12, into=(Neighbour(PLOVER),)),
            "sedge → 30 pF inner wire → dunlin → 300 pF lead → plover → no load",
        ),
        (
            DUNLIN,
            Hookup({"neck": SEDGE, "bridge": MARRAM}),
            "sedge (neck) + marram (bridge) → 30 pF inner wire → dunlin → no load",
        ),
        (
            DUNLIN,
            Hookup({"neck": SEDGE}),
            "sedge (neck) + ideal source (bridge) → 30 pF inner wire"
            " → dunlin → no load",
        ),
    ],
)
def test_the_line_says_the_chain_in_the_order_of_the_signal(
    circuit: Circuit, hookup: Hookup, line: str
) -> None:
    assert join(circuit, hookup).line == line


# -- what is joined to what ------------------------------------------------------------


def test_without_a_hookup_the_source_drives_the_input_itself() -> None:
    chain = join(PLOVER)
    assert chain.parts == PLOVER.parts
    assert chain.sources == (Source("in", "in", "gnd"),)
    assert chain.output == "out"


def test_a_pickup_is_its_own_voltage_behind_a_coil_with_capacitance_and_losses() -> (
    None
):
    chain = join(PLOVER, Hookup({"in": SEDGE}))
    (source,) = chain.sources
    assert (source.input, source.back) == ("in", "gnd")
    parts = parts_by_name(chain)
    coil = parts["pickup.in"]
    assert coil == Inductor("pickup.in", (source.node, "in"), 2.2, winding_ohm=6100.0)
    assert parts["pickup.in.capacitance"] == Capacitor(
        "pickup.in.capacitance", ("in", "gnd"), 120e-12
    )
    assert parts["pickup.in.losses"] == Resistor(
        "pickup.in.losses", ("in", "gnd"), 330e3
    )


def test_a_pickup_without_losses_has_no_such_resistor() -> None:
    assert "pickup.in.losses" not in parts_by_name(join(PLOVER, Hookup({"": MARRAM})))


def test_a_piezo_is_its_own_voltage_behind_a_capacitance() -> None:
    chain = join(PLOVER, Hookup({"": Piezo("brent", 500e-12)}))
    (source,) = chain.sources
    assert parts_by_name(chain)["pickup.in"] == Capacitor(
        "pickup.in", (source.node, "in"), 500e-12
    )


def test_a_source_with_resistance_stands_behind_it() -> None:
    chain = join(PLOVER, Hookup(source_ohm=50.0))
    (source,) = chain.sources
    assert source.node != "in"
    assert parts_by_name(chain)["source.in"] == Resistor(
        "source.in", (source.node, "in"), 50.0
    )


def test_the_load_lies_across_the_output() -> None:
    parts = parts_by_name(join(PLOVER, Hookup(load_ohm=1e6, load_farad=50e-12)))
    assert parts["load"] == Resistor("load", ("out", "gnd"), 1e6)
    assert parts["load capacitance"] == Capacitor(
        "load capacitance", ("out", "gnd"), 50e-12
    )


def test_the_lead_is_before_a_floor_unit_and_behind_an_onboard_one() -> None:
    hookup = Hookup(cable_farad=700e-12)
    floor, onboard = (
        join(PLOVER, hookup),
        join(PLOVER, replace(hookup, place="onboard")),
    )
    assert parts_by_name(floor)["lead"] == Capacitor("lead", ("in", "gnd"), 700e-12)
    assert parts_by_name(onboard)["lead"] == Capacitor("lead", ("out", "gnd"), 700e-12)


def test_a_circuit_says_itself_where_it_is() -> None:
    parts = parts_by_name(join(DUNLIN, Hookup({"": SEDGE}, cable_farad=700e-12)))
    assert parts["lead"] == Capacitor("lead", ("out", "gnd"), 700e-12)
    inner = Capacitor("inner.neck", ("n", "gnd"), 30e-12)  # the default, onboard
    assert parts["inner.neck"] == inner


def test_coils_in_series_have_their_capacitances_across_themselves() -> None:
    series = replace(DUNLIN, inputs=(Input("neck", "n", "b"), Input("bridge", "b")))
    chain = join(series, Hookup({"": MARRAM}))
    capacitance = parts_by_name(chain)["pickup.neck.capacitance"]
    assert isinstance(capacitance, Capacitor)
    assert capacitance.across == ("n", "b")
    assert [source.back for source in chain.sources] == ["b", "gnd"]


def test_a_neighbour_carries_its_name_in_front_of_parts_nodes_and_controls() -> None:
    chain = join(PLOVER, Hookup(before=(Neighbour(WHIMBREL, {"cut": 8}),)))
    parts = parts_by_name(chain)
    assert parts["whimbrel.C1"] == Capacitor(
        "whimbrel.C1", ("whimbrel.in", "in"), 10e-9
    )
    pot = parts["whimbrel.P1"]
    assert isinstance(pot, VariableResistor)
    assert pot.across == ("in", "bias")  # grounds are shared
    assert pot.knob == "whimbrel.cut"
    assert chain.setting({}) == {"whimbrel.cut": 8, "whimbrel.deep": "off"}
    assert chain.sources == (Source("in", "whimbrel.in", "gnd"),)
    assert parts["R1"] == PLOVER.parts[0]


def test_what_stands_behind_is_driven_by_the_output_and_gives_its_own() -> None:
    into = (Neighbour(WHIMBREL), Neighbour(WHIMBREL))
    chain = join(PLOVER, Hookup(into=into, load_ohm=1e6))
    parts = parts_by_name(chain)
    assert parts["whimbrel.C1"] == Capacitor(
        "whimbrel.C1", ("out", "whimbrel.out"), 10e-9
    )
    assert parts["whimbrel-2.C1"] == Capacitor(
        "whimbrel-2.C1", ("whimbrel.out", "whimbrel-2.out"), 10e-9
    )
    assert chain.output == "whimbrel-2.out"
    assert parts["load"] == Resistor("load", (chain.output, "gnd"), 1e6)


def test_a_neighbour_of_the_same_circuit_gets_a_number() -> None:
    parts = parts_by_name(join(PLOVER, Hookup(into=(Neighbour(PLOVER),))))
    assert set(parts) == {"R1", "R2", "plover-2.R1", "plover-2.R2"}


@pytest.mark.parametrize("where", ["before", "into"])
def test_straight_as_a_neighbour_changes_nothing(where: str) -> None:
    alone = join(PLOVER, Hookup({"": SEDGE}, cable_farad=300e-12))
    hookup = Hookup({"": SEDGE}, cable_farad=300e-12, **{where: (Neighbour(STRAIGHT),)})  # type: ignore[arg-type]
    with_it = join(PLOVER, hookup)
    assert with_it.parts == alone.parts
    assert with_it.output == alone.output
    assert with_it.sources == alone.sources


def test_in_front_of_a_neighbour_the_pickup_is_on_the_neighbour() -> None:
    chain = join(
        PLOVER, Hookup({"": SEDGE}, cable_farad=1e-9, before=(Neighbour(WHIMBREL),))
    )
    parts = parts_by_name(chain)
    coil = parts["pickup.in"]
    assert isinstance(coil, Inductor)
    assert coil.across[1] == "whimbrel.in"
    assert parts["lead"] == Capacitor("lead", ("in", "gnd"), 1e-9)  # behind it


# -- what is refused -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("circuit", "hookup", "message"),
    [
        (
            PLOVER,
            Hookup({"neck": SEDGE}),
            "plover has no input 'neck' to put a pickup on; it has in",
        ),
        (
            DUNLIN,
            Hookup(before=(Neighbour(PLOVER),)),
            "plover can't stand before dunlin: there is more than one input to drive",
        ),
        (
            replace(PLOVER, inputs=(Input("in", "in", "out"),)),
            Hookup(before=(Neighbour(WHIMBREL),)),
            "whimbrel can't stand before plover",
        ),
        (
            PLOVER,
            Hookup(into=(Neighbour(DUNLIN),)),
            "plover can't feed into dunlin: it has 2 inputs",
        ),
        (
            PLOVER,
            Hookup(into=(Neighbour(WHIMBREL, {"cuts": 5}),)),
            "there is no knob or switch 'cuts'; did you mean 'cut'?",
        ),
    ],
)
def test_a_hookup_that_does_not_fit_is_refused(
    circuit: Circuit, hookup: Hookup, message: str
) -> None:
    with pytest.raises(RequestError) as caught:
        join(circuit, hookup)
    assert message in str(caught.value)


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"cable_farad": -1e-12}, "cable must be 0 or more, got -1e-12"),
        ({"source_ohm": float("nan")}, "source must be 0 or more, got nan"),
        ({"inner_farad": -1.0}, "inner must be 0 or more, got -1"),
        ({"load_ohm": 0.0}, "load must be above 0 ohm, got 0"),
    ],
)
def test_a_hookup_refuses_values_that_no_wire_has(
    values: dict[str, float], message: str
) -> None:
    with pytest.raises(RequestError) as caught:
        Hookup(**values)  # type: ignore[arg-type]
    assert str(caught.value) == message
