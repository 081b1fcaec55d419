# SPDX-License-Identifier: GPL-3.0-or-later
"""Preferred values against the lists and counts of IEC 60063."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tonebench.circuit import eseries
from tonebench.errors import RequestError
from tonebench.units import parse_value

# IEC 60063, as printed in public lists of the series
E12 = (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)
E24_BETWEEN = (11, 13, 16, 20, 24, 30, 36, 43, 51, 62, 75, 91)
E48 = (
    *(100, 105, 110, 115, 121, 127, 133, 140, 147, 154, 162, 169),
    *(178, 187, 196, 205, 215, 226, 237, 249, 261, 274, 287, 301),
    *(316, 332, 348, 365, 383, 402, 422, 442, 464, 487, 511, 536),
    *(562, 590, 619, 649, 681, 715, 750, 787, 825, 866, 909, 953),
)
E96_BETWEEN = (
    *(102, 107, 113, 118, 124, 130, 137, 143, 150, 158, 165, 174),
    *(182, 191, 200, 210, 221, 232, 243, 255, 267, 280, 294, 309),
    *(324, 340, 357, 374, 392, 412, 432, 453, 475, 499, 523, 549),
    *(576, 604, 634, 665, 698, 732, 768, 806, 845, 887, 931, 976),
)


def test_the_series_are_those_of_the_standard() -> None:
    assert eseries.mantissas("E3") == (10, 22, 47)
    assert eseries.mantissas("E6") == (10, 15, 22, 33, 47, 68)
    assert eseries.mantissas("E12") == E12
    assert eseries.mantissas("E24") == tuple(sorted(E12 + E24_BETWEEN))
    assert eseries.mantissas("E48") == E48
    assert eseries.mantissas("E96") == tuple(sorted(E48 + E96_BETWEEN))


def test_e192_has_its_one_number_that_no_formula_gives() -> None:
    numbers = eseries.mantissas("E192")
    assert len(numbers) == 192
    assert 920 in numbers  # IEC 60063
    assert 919 not in numbers
    assert set(eseries.mantissas("E96")) < set(numbers)


@pytest.mark.parametrize("text", ["4k7", "22n", "0.56", "1M", "8n2", "R47", "10u"])
def test_a_preferred_value_is_the_number_its_text_reads_as(text: str) -> None:
    value = parse_value(text)
    assert eseries.nearest(value, "E12") == value
    assert eseries.is_preferred(value, "E12")


@settings(deadline=None, max_examples=300)
@given(
    st.floats(1e-13, 1e8, allow_nan=False), st.sampled_from(("E3", "E12", "E24", "E96"))
)
def test_no_other_value_of_the_series_is_nearer(
    value: float, series: eseries.Series
) -> None:
    found = eseries.nearest(value, series)
    miss = abs(math.log(value / found))
    for number in eseries.mantissas(series):
        for exponent in range(-17, 10):
            other = float(f"{number}e{exponent}")
            assert miss <= abs(math.log(value / other)) + 1e-9


def test_neighbours_stand_on_both_sides_across_decades() -> None:
    assert eseries.neighbours(9500) == (9100, 10_000)
    assert eseries.neighbours(10_000) == (10_000, 11_000)
    assert eseries.neighbours(990, "E3") == (470, 1000)


def test_the_coarsest_series_is_named_or_none() -> None:
    assert eseries.coarsest_series(1e-8) == "E3"
    assert eseries.coarsest_series(8.2e-9) == "E12"
    assert eseries.coarsest_series(499) == "E96"
    assert eseries.coarsest_series(250e3) is None  # a pot's number, not a preferred one


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_what_is_no_value_is_refused(value: float) -> None:
    with pytest.raises(RequestError, match="a preferred value is above 0"):
        eseries.nearest(value)


def test_an_unknown_series_is_refused_with_those_there_are() -> None:
    with pytest.raises(RequestError, match=r"one of E3, E6, E12, .* got 'E13'"):
        eseries.mantissas("E13")  # type: ignore[arg-type]  # what is tested
