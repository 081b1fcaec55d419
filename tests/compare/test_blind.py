# SPDX-License-Identifier: GPL-3.0-or-later
"""A test is fixed before it starts: its order, by outside hashes, and its seal."""

import hashlib
import subprocess
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from blind_folders import PLAN

from tonebench.compare.blind import (
    canonical,
    check_of,
    draw_order,
    new_seed,
    plan_from,
    seal_of,
)
from tonebench.errors import InputError, RequestError
from tonebench.study.odds import at_least_by_guessing

SEED = "00112233445566778899aabbccddeeff"


def test_the_order_is_drawn_as_told_by_another_program_s_hashes() -> None:
    # coreutils' sha256sum, on the texts that the docstring promises
    wanted = []
    for k in range(1, 17):
        told = subprocess.run(
            ["sha256sum"], input=f"{SEED}:{k}".encode(), capture_output=True, check=True
        )
        wanted.append(1 + int(told.stdout[:2], 16) % 2)
    assert draw_order(SEED, 16) == tuple(wanted)
    assert set(wanted) == {1, 2}


def test_a_longer_test_begins_with_the_same_order() -> None:
    assert draw_order(SEED, 25)[:10] == draw_order(SEED, 10)


def test_orders_are_fair_and_a_trial_tells_nothing_of_the_next() -> None:
    seeds = (f"{k:032x}" for k in range(4000))
    orders = np.array([draw_order(seed, 16) for seed in seeds]) - 1
    # five standard deviations of a fair coin's mean
    assert abs(orders.mean() - 0.5) < 5 * 0.5 / np.sqrt(orders.size)
    same = orders[:, 1:] == orders[:, :-1]
    assert abs(same.mean() - 0.5) < 5 * 0.5 / np.sqrt(same.size)


@pytest.mark.parametrize("habit", ["always 1", "by turns", "the other than before"])
def test_who_guesses_by_any_habit_is_right_as_often_as_the_binomial_says(
    habit: str,
) -> None:
    orders = np.array([draw_order(f"{k:032x}", 16) for k in range(6000)])
    match habit:
        case "always 1":
            said = np.ones_like(orders)
        case "by turns":
            said = np.ones_like(orders) + np.arange(16) % 2
        case _:
            said = np.ones_like(orders)
            said[:, 1:] = 3 - orders[:, :-1]
    often = float(np.mean((said == orders).sum(axis=1) >= 12))
    chance = at_least_by_guessing(12, 16)
    assert often == pytest.approx(chance, abs=5 * np.sqrt(chance / 6000))


def test_seal_and_check_are_plain_hashes_of_plain_texts() -> None:
    text = (
        '{"clips":{"a":"' + "a" * 64 + '","b":"' + "b" * 64 + '"},'
        '"comparison":"Both boxes","kind":"which","level":0.05,"listener":"Ada",'
        '"pairing":"both flat","schema":1,"take":"walk.wav","trials":16}'
    )
    assert canonical(PLAN.as_json()) == text
    seal = hashlib.sha256(f"{SEED}\n{text}".encode()).hexdigest()
    assert seal_of(SEED, PLAN) == seal
    check = hashlib.sha256(f"{SEED}\n{seal}\n[1,2,2]".encode()).hexdigest()
    assert check_of(SEED, seal, (1, 2, 2)) == check


@pytest.mark.parametrize(
    "change",
    [{"trials": 17}, {"listener": "Ben"}, {"level": 0.01}, {"clips": ("a", "c")}],
)
def test_another_plan_has_another_seal(change: dict[str, Any]) -> None:
    assert seal_of(SEED, replace(PLAN, **change)) != seal_of(SEED, PLAN)


def test_seeds_are_new_each_time() -> None:
    seeds = {new_seed() for _ in range(100)}
    assert len(seeds) == 100
    assert {len(bytes.fromhex(seed)) for seed in seeds} == {16}


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"kind": "abc"}, "kind must be one of which, prefer: 'abc'"),
        ({"level": 0.2}, r"level must be 0\.05 or 0\.01, got 0\.2"),
        ({"trials": 0}, "trials must be from 5 to 100, got 0"),
        ({"trials": 4}, "trials must be from 5 to 100, got 4"),
        ({"trials": 101}, "trials must be from 5 to 100, got 101"),
        ({"trials": 6, "level": 0.01}, "trials must be from 7 to 100, got 6"),
        ({"trials": 4, "kind": "prefer"}, "trials must be from 6 to 100, got 4"),
        ({"trials": 15, "kind": "prefer"}, "must be even for a preference.*got 15"),
        ({"listener": "x" * 61}, "a name of up to 60 printable signs"),
        ({"listener": "a\nb"}, "a name of up to 60 printable signs"),
    ],
)
def test_a_plan_that_can_t_show_anything_is_refused(
    change: dict[str, Any], told: str
) -> None:
    with pytest.raises(RequestError, match=told):
        replace(PLAN, **change)


@pytest.mark.parametrize("kind", ["which", "prefer"])
def test_a_plan_comes_back_from_its_values(kind: str) -> None:
    plan = replace(PLAN, kind=kind)
    assert plan_from(plan.as_json()) == plan
    # 12 of 16 are right at 0.038; 13 of 16 for one side at 2 · 0.0106
    assert plan.least == {"which": 12, "prefer": 13}[kind]


@pytest.mark.parametrize(
    "change",
    [
        {"schema": 2},
        {"kind": 5},
        {"trials": "16"},
        {"clips": {}},
        {"clips": None},
        {"listener": None},
        {"more": 1},
    ],
)
def test_values_that_are_no_plan_are_refused(change: dict[str, Any]) -> None:
    with pytest.raises(InputError, match=r"schema must be 1|holds no plan"):
        plan_from({**PLAN.as_json(), **change})
