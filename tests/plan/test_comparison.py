# SPDX-License-Identifier: GPL-3.0-or-later
"""Comparisons as values: sides, pairs of settings, and how they are matched."""

from pathlib import Path

import pytest

from tonebench.audio.take import Take
from tonebench.circuit.circuit import STRAIGHT
from tonebench.circuit.files import read_circuit
from tonebench.errors import RequestError
from tonebench.plan.comparison import (
    Comparison,
    Match,
    Pairing,
    Side,
    pairing_of,
)

TERN, PLOVER = Side(read_circuit("tern")), Side(read_circuit("plover"))


def test_both_turns_what_either_side_has_and_a_and_b_their_own() -> None:
    both = {"level": 4.0, "tilt": 2.0}
    pairing = pairing_of("one", TERN, PLOVER, both, {"tilt": 3.0}, {"bass": 7.0})
    assert pairing.a == {"level": 4.0, "tilt": 3.0}
    assert pairing.b == {"level": 4.0, "bass": 7.0}


def test_both_may_not_name_what_neither_side_has() -> None:
    with pytest.raises(RequestError, match="no knob or switch 'treble'; there are"):
        pairing_of("one", TERN, PLOVER, {"treble": 4.0}, {}, {})
    with pytest.raises(RequestError, match="did you mean 'level'"):
        pairing_of("one", TERN, PLOVER, {"levle": 4.0}, {}, {})


@pytest.mark.parametrize(
    "pairing",
    [
        Pairing("one", a={"bass": 3}),  # is b's
        Pairing("one", b={"tilt": 3}),
        Pairing("one", a={"tilt": -1}),
        Pairing("one", b={"bass": "loud"}),
    ],
)
def test_a_comparison_refuses_settings_that_its_sides_do_not_have(
    pairing: Pairing,
) -> None:
    with pytest.raises(RequestError):
        Comparison("t", (Take(Path("take.wav")),), TERN, PLOVER, (pairing,))


def test_a_comparison_has_a_pairing() -> None:
    with pytest.raises(RequestError, match="at least one pairing"):
        Comparison("t", (Take(Path("take.wav")),), TERN, PLOVER, ())


@pytest.mark.parametrize("hz", [0, 0.99, 100_001, float("nan"), float("inf"), -200])
def test_the_frequency_to_match_at_is_within_reason(hz: float) -> None:
    with pytest.raises(RequestError, match="match_hz must be from 1 to 100000 Hz"):
        Match("frequency", hz)
    assert Match("frequency", 1).frequency_hz == 1
    assert Match("frequency", 100_000).frequency_hz == 100_000


def test_an_unknown_match_is_refused_with_those_there_are() -> None:
    with pytest.raises(RequestError, match="loudness, rms, frequency, none, got 'ear'"):
        Match("ear")


def test_straight_has_nothing_to_set() -> None:
    pairing = pairing_of("one", Side(STRAIGHT), PLOVER, {"bass": 7.0}, {}, {})
    assert pairing.a == {}
    assert pairing.b == {"bass": 7.0}
