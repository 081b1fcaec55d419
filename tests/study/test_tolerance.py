# SPDX-License-Identifier: GPL-3.0-or-later
"""Tolerances: which one counts for a part, and what builds drawn by lot look like."""

from collections.abc import Callable

import numpy as np
import pytest

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.files import read_circuit
from tonebench.circuit.parts import Capacitor, Inductor, OpAmp, Pot, Resistor
from tonebench.circuit.tapers import Taper
from tonebench.errors import RequestError
from tonebench.study.tolerance import (
    PartTolerance,
    asked_shares,
    draw,
    factors,
    refs_of,
    tolerances,
)

Drawn = Callable[..., Circuit]
LINEAR = Taper("linear")


@pytest.fixture
def box(drawn: Drawn) -> Circuit:
    return drawn(
        Resistor("R1", ("in", "a"), 1e3),
        Resistor("R2", ("a", "b"), 1e3, tolerance=0.05),
        Resistor("R3", ("b", "c"), 0.0),
        Capacitor("C1", ("c", "gnd"), 1e-9),
        Inductor("L1", ("c", "d"), 1.0),
        Pot("P1", 10e3, LINEAR, "gain", ("d", "gnd"), "w"),
        Pot("P2", 50e3, LINEAR, "gain", ("w", "gnd"), "out"),
        Pot("P3", 50e3, LINEAR, "tone", ("w", "gnd"), "out"),
        OpAmp("U1", "x", "out", "out"),
    )


def test_what_the_file_does_not_say_is_what_is_usual(box: Circuit) -> None:
    """1 % resistors, 10 % capacitors, 20 % pots (common practice, no source)."""
    found = {part.refs: (part.share, part.is_usual) for part in tolerances(box)}
    assert found == {
        ("R1",): (0.01, True),
        ("R2",): (0.05, False),
        ("C1",): (0.10, True),
        ("L1",): (0.10, True),
        ("P1", "P2"): (0.20, True),
        ("P3",): (0.20, True),
    }


def test_what_is_asked_for_a_part_counts_before_its_own(box: Circuit) -> None:
    asked = asked_shares(box, {"R2": "0.1%", "resistor": "2%", "pot": "10%"})
    found = {part.refs: (part.share, part.is_usual) for part in tolerances(box, asked)}
    assert found["R2",] == (0.001, False)
    assert found["R1",] == (0.02, False)
    assert found["P1", "P2"] == (0.10, False)
    assert found["C1",] == (0.10, True)
    only_kind = tolerances(box, asked_shares(box, {"resistor": "2%"}))
    assert {p.refs: p.share for p in only_kind}["R2",] == 0.05  # its own


def test_gangs_of_unlike_tolerance_are_not_one_part(box: Circuit) -> None:
    parts = tolerances(box, {"P2": 0.05})
    assert {("P1",), ("P2",), ("P3",)} <= {part.refs for part in parts}


def test_ganged_pots_are_off_alike_and_other_parts_are_not(box: Circuit) -> None:
    parts = tolerances(box)
    off = draw(parts, 1000)
    found = dict(zip(refs_of(parts), factors(parts, off).T, strict=True))
    np.testing.assert_array_equal(found["P1"], found["P2"])
    assert abs(np.corrcoef(found["P1"], found["P3"])[0, 1]) < 0.1
    assert abs(np.corrcoef(found["R1"], found["R2"])[0, 1]) < 0.1


def test_values_lie_evenly_between_their_limits(box: Circuit) -> None:
    """An even spread between −t and t has the standard deviation t/√3 (textbook)."""
    parts = tolerances(box)
    found = factors(parts, draw(parts, 20_000))
    for ref, column in zip(refs_of(parts), found.T, strict=True):
        share = next(part.share for part in parts if ref in part.refs)
        assert np.abs(column - 1).max() <= share
        assert column.mean() == pytest.approx(1, abs=0.02 * share)
        assert column.std() == pytest.approx(share / 3**0.5, rel=0.02)


def test_one_seed_gives_the_same_builds_and_another_gives_others(box: Circuit) -> None:
    parts = tolerances(box)
    np.testing.assert_array_equal(draw(parts, 50), draw(parts, 50))
    assert np.any(draw(parts, 50) != draw(parts, 50, seed=2))


@pytest.mark.parametrize(
    ("name", "text", "told"),
    [
        ("C1", "120%", "C1: tolerance must be from 0 to below 100 %, got '120%'"),
        ("C1", "wide", "C1: cannot read 'wide' as a tolerance"),
        ("C9", "5%", "there is no part or kind of part 'C9'"),
        ("U1", "5%", "there is no part or kind of part 'U1'"),
        ("resistors", "5%", "did you mean 'resistor'"),
    ],
)
def test_a_tolerance_that_can_not_be_is_refused(
    box: Circuit, name: str, text: str, told: str
) -> None:
    with pytest.raises(RequestError, match=told):
        asked_shares(box, {name: text})


@pytest.mark.parametrize(
    ("kind", "share", "finer"),
    [
        ("resistor", 0.05, 0.01),
        ("resistor", 0.01, 0.001),
        ("resistor", 0.001, None),
        ("capacitor", 0.1, 0.05),
        ("pot", 0.2, 0.1),
        ("pot", 0.3, 0.2),
    ],
)
def test_the_next_grade_is_a_finer_one(kind, share, finer) -> None:  # type: ignore[no-untyped-def]
    assert PartTolerance(("X1",), kind, share, False).tighter == finer


def test_every_part_with_a_value_of_the_shipped_circuits_has_a_tolerance() -> None:
    for name in ("tern", "plover", "whimbrel", "dunlin"):
        circuit = read_circuit(name)
        fixed = {p.ref for p in circuit.parts if p.ref[0] in "US"}
        found = set(refs_of(tolerances(circuit)))
        assert found == {part.ref for part in circuit.parts} - fixed
