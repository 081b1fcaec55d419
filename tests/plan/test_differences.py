# SPDX-License-Identifier: GPL-3.0-or-later
"""What differs between A and B, in one line, whatever it is."""

import pytest

from tonebench.circuit.files import read_circuit, read_pickup
from tonebench.circuit.hookup import Hookup, Neighbour
from tonebench.plan.comparison import Pairing, Side
from tonebench.plan.differences import what_differs

TERN, PLOVER = Side(read_circuit("tern")), Side(read_circuit("plover"))
DUNLIN = read_circuit("dunlin")
SEDGE, MARRAM = read_pickup("sedge"), read_pickup("marram")


def desk(**changes: object) -> Side:
    """Return tern behind sedge and 700 pF into 10 kΩ, but for some changes."""
    standard: dict[str, object] = {
        "pickups": {"": SEDGE}, "cable_farad": 700e-12, "load_ohm": 1e4,
    }  # fmt: skip
    return Side(TERN.circuit, Hookup(**{**standard, **changes}))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("b", "told"),
    [
        (
            Side(PLOVER.circuit, desk().hookup),
            "only the circuit differs: tern against plover",
        ),
        (
            desk(pickups={"": MARRAM}),
            "only the pickup differs: sedge against marram",
        ),
        (desk(pickups={}), "only the pickup differs: sedge against no pickup"),
        (desk(source_ohm=50.0), "only the source differs: ideal against 50 Ω"),
        (
            desk(inner_farad=30e-12),
            "only the inner wire differs: as usual against 30 pF",
        ),
        (desk(cable_farad=0.0), "only the lead differs: 700 pF against no lead"),
        (desk(load_ohm=1e6), "only the load differs: 10 kΩ against 1 MΩ"),
        (desk(load_ohm=None), "only the load differs: 10 kΩ against open"),
        (
            desk(load_farad=1e-9),
            "only the load capacitance differs: none against 1 nF",
        ),
        (desk(place="onboard"), "only the place differs: floor against onboard"),
        (
            desk(before=(Neighbour(read_circuit("whimbrel")),)),
            "only the circuit before it differs: nothing against whimbrel",
        ),
        (
            desk(into=(Neighbour(PLOVER.circuit, {"bass": 7}),)),
            "only the circuit after it differs: nothing against plover at bass 7",
        ),
        (
            Side(TERN.circuit.with_parts({"C1": "47n"}), desk().hookup),
            "only the part C1 differs: 100 nF against 47 nF",
        ),
        (desk(), "A and B are the same but for settings"),
        (
            desk(load_ohm=1e6, pickups={"": MARRAM}),
            "the pickup and the load differ: sedge against marram, 10 kΩ against 1 MΩ",
        ),
    ],
)
def test_what_differs_is_said_in_one_line(b: Side, told: str) -> None:
    assert what_differs(desk(), b) == told


def test_pickups_of_two_inputs_are_told_as_one_if_they_are_one() -> None:
    same = Side(DUNLIN, Hookup({"": SEDGE}))
    mixed = Side(DUNLIN, Hookup({"neck": SEDGE, "bridge": MARRAM}))
    told = "only the pickup differs: sedge against sedge + marram"
    assert what_differs(same, mixed) == told


def test_a_place_that_the_file_says_already_is_no_difference() -> None:
    assert what_differs(Side(DUNLIN), Side(DUNLIN, Hookup(place="onboard"))) == (
        "A and B are the same but for settings"
    )


@pytest.mark.parametrize(
    ("a", "b", "pairing", "told"),
    [
        (TERN, TERN, Pairing("one"), "nothing differs: A and B are the same"),
        (
            TERN,
            TERN,
            Pairing("one", {"tilt": 2}, {"tilt": 7.5, "level": 5}),
            "only the settings differ: tilt 2 against 7½",
        ),
        # where two circuits start is how they are
        (
            TERN,
            PLOVER,
            Pairing("one"),
            "only the circuit differs: tern against plover",
        ),
        (
            TERN,
            PLOVER,
            Pairing("one", {"tilt": 2}, {"bass": 6}),
            "the circuit and the settings differ: tern against plover, "
            "tilt 2 on A, bass 6 on B",
        ),
    ],
)
def test_settings_count_where_a_pairing_is_told(
    a: Side, b: Side, pairing: Pairing, told: str
) -> None:
    assert what_differs(a, b, pairing) == told
