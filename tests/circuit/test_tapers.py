# SPDX-License-Identifier: GPL-3.0-or-later
"""Tapers against the closed law (bˣ − 1)/(b − 1), b = (1/y − 1)²."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tonebench.circuit.tapers import Taper, parse_taper
from tonebench.errors import CircuitError

POSITIONS = st.floats(0, 10)
NAMES = st.sampled_from(["linear", "blend", "reverse-blend"]) | st.builds(
    "{}audio-{}".format, st.sampled_from(["", "reverse-"]), st.integers(1, 49)
)


@pytest.mark.parametrize("percent", [10, 15, 20])
def test_an_audio_taper_has_its_percentage_at_mid_rotation(percent: int) -> None:
    # "10 % resistance at half rotation" is published for audio pots; 15 and 20 %
    # variants are common practice, no source.
    share = parse_taper(f"audio-{percent}").share(5)
    assert share == pytest.approx(percent / 100, abs=1e-12)


@pytest.mark.parametrize(("percent", "b"), [(10, 81), (15, 32.11), (20, 16)])
def test_an_audio_taper_follows_the_law_with_the_base_of_its_percentage(
    percent: int, b: float
) -> None:
    # b computed independently from the closed formula, two decimals; a share at a
    # quarter of the rotation is then (b^¼ − 1)/(b − 1).
    share = parse_taper(f"audio-{percent}").share(2.5)
    assert share == pytest.approx((b**0.25 - 1) / (b - 1), abs=1e-5)


def test_audio_shares_at_the_quarters_are_those_of_powers_of_three() -> None:
    # b = 81: 81^¼ = 3 and 81^¾ = 27, so the shares are 2/80 and 26/80.
    taper = parse_taper("audio-10")
    assert taper.share(2.5) == pytest.approx(0.025, abs=1e-12)
    assert taper.share(7.5) == pytest.approx(0.325, abs=1e-12)


def test_audio_without_a_number_has_fifteen_percent() -> None:
    assert parse_taper("audio").share(5) == pytest.approx(0.15, abs=1e-12)


@given(st.integers(1, 49), POSITIONS)
@settings(deadline=None)
def test_reverse_audio_is_audio_turned_round(percent: int, position: float) -> None:
    forward, reverse = f"audio-{percent}", f"reverse-audio-{percent}"
    share = parse_taper(reverse).share(position)
    assert share == pytest.approx(1 - parse_taper(forward).share(10 - position))


@pytest.mark.parametrize(
    ("name", "shares"),
    [
        ("linear", [0, 0.25, 0.5, 0.75, 1]),
        ("blend", [0, 0.5, 1, 1, 1]),
        ("reverse-blend", [0, 0, 0, 0.5, 1]),
    ],
)
def test_straight_tapers_have_straight_shares(name: str, shares: list[float]) -> None:
    taper = parse_taper(name)
    assert [taper.share(position) for position in (0, 2.5, 5, 7.5, 10)] == shares


@given(NAMES, POSITIONS, POSITIONS)
@settings(deadline=None)
def test_every_taper_rises_from_nothing_to_all(
    name: str, one: float, other: float
) -> None:
    taper = parse_taper(name)
    assert taper.share(0) == 0
    assert taper.share(10) == 1
    low, high = sorted((one, other))
    assert 0 <= taper.share(low) <= taper.share(high) <= 1


def test_a_table_runs_straight_between_its_rows_and_may_fall() -> None:
    taper = parse_taper([[0, 1], [4, 0.5], [10, 0]])
    assert taper.share(2) == 0.75
    assert taper.share(7) == 0.25
    assert taper.share(10) == 0


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("log", "write linear, audio"),
        ("A", "write linear, audio"),
        ("audio-50", "from 1 to 49 %"),
        ("audio-0.5", "from 1 to 49 %"),
        ("audio-", "write linear, audio"),
        (15, "write linear, audio"),
        ([], "the first position must be 0"),
        ([[0, 0], [5, 1]], "the last one 10"),
        ([[0, 0], [5, 0.5], [5, 0.6], [10, 1]], "positions must rise"),
        ([[0, 0], [float("nan"), 0.5], [10, 1]], "positions must rise"),
        ([[0, 0], [10, 1.5]], "from 0 to 1"),
        ([[0, 0], [10, float("nan")]], "from 0 to 1"),
        ([[0, 0], [5, 0.6], [10, 0.5]], "only rise or only fall"),
        ([[0, 0, 0], [10, 1]], "not a pair"),
        ([0, 10], "not a pair"),
    ],
)
def test_what_is_no_taper_is_refused_with_a_reason(text: object, words: str) -> None:
    with pytest.raises(CircuitError, match=words):
        parse_taper(text)


def test_a_taper_keeps_its_name_for_parts_lists() -> None:
    assert parse_taper("audio-20").name == "audio-20"
    assert parse_taper([[0, 0], [10, 1]]) == Taper("table")
