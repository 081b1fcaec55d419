# SPDX-License-Identifier: GPL-3.0-or-later
"""Names of nodes: what is called like ground but isn't it, and what is loose."""

import pytest

from tonebench.circuit.circuit import Input
from tonebench.circuit.node_names import (
    ground_name_faults,
    kept_node_meant,
    loose_node_faults,
    outer_nodes,
)


@pytest.mark.parametrize(
    "name",
    [
        *("grd", "grnd", "ground", "GND", "Gnd", "0", "0V", "earth", "Earth"),
        *("vss", "VSS", "masse", "Masse", "agnd"),
    ],
)
def test_other_names_for_ground_are_known(name: str) -> None:
    assert kept_node_meant(name) == "gnd"


@pytest.mark.parametrize(("name", "meant"), [("Bias", "bias"), ("RAIL", "rail")])
def test_capitals_make_another_node_of_a_kept_one(name: str, meant: str) -> None:
    assert kept_node_meant(name) == meant


@pytest.mark.parametrize(
    "name", ["gnd", "bias", "rail", "a", "10", "00", "vref", "grind", "signal ground"]
)
def test_names_that_mean_what_they_say_are_left_alone(name: str) -> None:
    assert kept_node_meant(name) == ""


def test_each_name_is_told_once_with_the_first_that_joins_it() -> None:
    touches = [("R1", "a"), ("C1", "GND"), ("R2", "GND"), ("R2", "0"), ("R2", "gnd")]
    assert [str(fault) for fault in ground_name_faults(touches)] == [
        "C1: joins node 'GND', which is a node like any other; did you mean 'gnd'?",
        "R2: joins node '0', which is a node like any other; did you mean 'gnd'?",
    ]


def test_a_loose_node_is_told_unless_something_outside_touches_it() -> None:
    touches = [("R1", "in"), ("R1", "tap2"), ("R2", "tap_2"), ("R3", "tap_2")]
    touches += [("R2", "gnd"), ("R3", "earth"), ("P1", "w"), ("P1", "w")]
    assert [str(fault) for fault in loose_node_faults(touches, ["in"])] == [
        "R1: joins node 'tap2', which nothing else touches; did you mean 'tap_2'?",
        "P1: joins node 'w', which nothing else touches; "
        "a node joins two parts or more",
    ]


def test_the_ends_of_a_circuit_are_called_as_in_its_file() -> None:
    one = (Input("in", "in"),)
    assert outer_nodes(one, "o") == [("input", "in"), ("input", "gnd"), ("output", "o")]
    two = (Input("neck", "n", back="b"), Input("bridge", "b"))
    assert outer_nodes(two, "o") == [
        ("inputs.neck", "n"),
        ("inputs.neck", "b"),
        ("inputs.bridge", "b"),
        ("inputs.bridge", "gnd"),
        ("output", "o"),
    ]
