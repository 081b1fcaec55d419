# SPDX-License-Identifier: GPL-3.0-or-later
"""Chance against published lists, against scipy's own test, and against simulation."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binomtest

from tonebench.errors import RequestError
from tonebench.study.odds import (
    at_least_by_guessing,
    holm,
    least_preferred,
    least_right,
    power,
    power_of_preference,
    sign_test,
)

#: Least right at 95 % for 10 to 25 trials, as published for forced-choice listening
#: tests (an encyclopedia's table, found again by exact counting).
PUBLISHED = [9, 9, 10, 10, 11, 12, 12, 13, 13, 14, 15, 15, 16, 16, 17, 18]


def test_least_right_is_the_published_list() -> None:
    assert [least_right(n, 0.05) for n in range(10, 26)] == PUBLISHED


@pytest.mark.parametrize(
    ("right", "trials", "probability"),
    [
        # counted apart from this program, by the closed formula
        (5, 5, 0.03125), (7, 8, 0.03516), (8, 8, 0.00391), (8, 10, 0.05469),
        (9, 10, 0.01074), (10, 12, 0.01929), (11, 16, 0.10506), (12, 16, 0.03841),
        (13, 16, 0.01064), (14, 16, 0.00209), (15, 20, 0.02069), (17, 24, 0.03196),
        (18, 25, 0.02164), (32, 50, 0.03245), (59, 100, 0.04431), (63, 100, 0.00602),
    ],
)  # fmt: skip
def test_probability_by_guessing_is_the_known_one(
    right: int, trials: int, probability: float
) -> None:
    assert at_least_by_guessing(right, trials) == pytest.approx(probability, abs=5e-6)


@pytest.mark.parametrize(
    ("trials", "strict"), [(8, 8), (10, 10), (16, 14), (20, 16), (25, 19), (5, None)]
)
def test_one_in_a_hundred_needs_more(trials: int, strict: int | None) -> None:
    assert least_right(trials, 0.01) == strict


@pytest.mark.parametrize(
    ("trials", "ability", "known"),
    [
        # counted apart from this program, by the closed formula
        (16, 0.7, 0.450), (16, 0.8, 0.798), (16, 0.9, 0.983),
        (25, 0.7, 0.512), (25, 0.8, 0.891), (25, 0.9, 0.998),
    ],
)  # fmt: skip
def test_power_is_the_known_one(trials: int, ability: float, known: float) -> None:
    assert power(trials, 0.05, ability) == pytest.approx(known, abs=5e-4)


def test_too_few_trials_show_nothing_whatever_the_ability() -> None:
    assert least_right(4, 0.05) is None
    assert power(4, 0.05, 1.0) == 0
    assert least_preferred(5, 0.05) is None
    assert power_of_preference(5, 0.05, 1.0) == 0


@given(st.integers(1, 120).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
@settings(deadline=None, max_examples=60)
def test_probabilities_agree_with_scipy(counted: tuple[int, int]) -> None:
    right, trials = counted
    guessed = binomtest(right, trials, 0.5, "greater").pvalue
    assert at_least_by_guessing(right, trials) == pytest.approx(guessed, rel=1e-9)
    either = binomtest(right, trials, 0.5, "two-sided").pvalue
    assert sign_test(right, trials - right) == pytest.approx(either, rel=1e-9)


@given(st.integers(6, 60), st.sampled_from([0.05, 0.01, 0.001]))
@settings(deadline=None, max_examples=60)
def test_one_answer_fewer_than_the_least_would_not_do(n: int, level: float) -> None:
    for least, chance in (
        (least_right(n, level), lambda k: binomtest(k, n, 0.5, "greater").pvalue),
        (least_preferred(n, level), lambda k: binomtest(k, n, 0.5).pvalue),
    ):
        if least is None:
            assert chance(n) > level
        else:
            assert chance(least) <= level < chance(least - 1)


def test_power_is_how_often_simulated_listeners_get_there() -> None:
    draws = np.random.default_rng(11).binomial(16, 0.7, 200_000)
    often = float(np.mean(draws >= 12))
    assert power(16, 0.05, 0.7) == pytest.approx(often, abs=0.005)
    either = float(np.mean((draws >= 13) | (draws <= 3)))
    assert power_of_preference(16, 0.05, 0.7) == pytest.approx(either, abs=0.005)


def test_pooled_guessers_keep_to_the_level_whatever_each_of_them_does() -> None:
    """Four who guess, one always says A, one goes by turns: the sum stays binomial."""
    rng = np.random.default_rng(3)
    order = rng.integers(0, 2, (20_000, 4, 16))
    said = rng.integers(0, 2, order.shape)
    said[:, 1] = 0
    said[:, 2] = np.arange(16) % 2
    said[:, 3, 1:] = 1 - order[:, 3, :-1]  # bets against the trial before
    right = (said == order).sum(axis=(1, 2))
    needed = least_right(64, 0.05)
    assert needed == 40  # exact: P(≥ 40 of 64) = 0.0300, P(≥ 39) = 0.0517
    assert float(np.mean(right >= needed)) == pytest.approx(0.0300, abs=0.005)


def test_holm_is_the_worked_example() -> None:
    # p = 0.01, 0.04, 0.03, 0.005: sorted and times 4, 3, 2, 1, made to rise. By hand.
    assert holm([0.01, 0.04, 0.03, 0.005]) == pytest.approx((0.03, 0.06, 0.06, 0.02))
    assert holm([0.9, 0.8]) == (1.0, 1.0)
    assert holm([]) == ()


def test_holm_singles_out_a_guesser_no_oftener_than_the_level() -> None:
    rng = np.random.default_rng(7)
    right = rng.binomial(16, 0.5, (5_000, 6))
    chance = [at_least_by_guessing(k, 16) for k in range(17)]
    wrong = [min(holm([chance[k] for k in row])) <= 0.05 for row in right]
    assert float(np.mean(wrong)) <= 0.05


@pytest.mark.parametrize(("right", "trials"), [(-1, 5), (6, 5)])
def test_impossible_counts_are_refused(right: int, trials: int) -> None:
    with pytest.raises(RequestError, match="right answers must be from 0 to 5"):
        at_least_by_guessing(right, trials)


def test_an_impossible_ability_is_refused() -> None:
    with pytest.raises(RequestError, match=r"a chance must be from 0 to 1, got 1\.2"):
        power(16, 0.05, 1.2)
