# SPDX-License-Identifier: GPL-3.0-or-later
"""Several listeners together: the sum, each alone corrected, and what that means."""

from dataclasses import replace

import pytest
from blind_folders import PLAN

from tonebench.compare.blind import Plan
from tonebench.compare.blind_pool import pool
from tonebench.compare.blind_session import Session
from tonebench.errors import RequestError

PREFER = replace(PLAN, kind="prefer")


def heard(name: str, right: int, plan: Plan = PLAN, seed: int = 0) -> Session:
    """Return a listener's finished test with so many right, or for A."""
    plan = replace(plan, listener=name)
    session = Session(plan, f"{seed:032x}")
    said = (k if n < right else 3 - k for n, k in enumerate(session.order))
    return replace(session, answers=tuple(said))


def test_the_sum_is_tested_and_each_alone_is_corrected() -> None:
    pooled = pool([heard("Ada", 12), heard("Ben", 9), heard("Cas", 10)])
    assert (pooled["count"], pooled["trials"]) == (31, 48)
    # exact binomial, scipy.stats.binomtest(31, 48, 0.5, "greater") = 0.02973
    assert pooled["probability"] == pytest.approx(0.02973, abs=5e-6)
    assert pooled["is_shown"]
    # P(≥ 12, 10, 9 of 16) = 0.0384, 0.2272, 0.4018; Holm: times 3, 2, 1, rising
    corrected = {e["listener"]: e["probability_corrected"] for e in pooled["listeners"]}
    assert corrected["Ada"] == pytest.approx(3 * 0.03841, abs=2e-5)
    assert corrected["Cas"] == pytest.approx(2 * 0.22725, abs=2e-5)
    assert corrected["Ben"] == pytest.approx(0.45450, abs=4e-5)
    assert not any(e["is_shown"] for e in pooled["listeners"])
    words = " ".join(pooled["words"])
    assert words.startswith("A difference is heard, pooled: 31 of 48 right by 3")
    assert "Ada 12 of 16 right, 11.5 %, not shown" in words
    assert "it doesn't tell who was not, and it is no average ability" in words


def test_what_is_not_shown_is_not_said_to_be_not_there() -> None:
    pooled = pool([heard("Ada", 8), heard("Ben", 9)])
    assert not pooled["is_shown"]
    assert pooled["words"][0].startswith("No difference shown, pooled: 17 of 32 right")
    assert pooled["words"][1] == "That is not to say that there is none."


def test_two_tests_of_one_name_are_one_listener_s() -> None:
    pooled = pool([heard("Ada", 12), heard("Ada", 9, seed=1), heard("Ben", 8)])
    assert [(e["listener"], e["count"], e["trials"]) for e in pooled["listeners"]] == [
        ("Ada", 21, 32),
        ("Ben", 8, 16),
    ]


def test_two_tests_without_a_name_are_two_listeners() -> None:
    pooled = pool([heard("", 12), heard("", 9, seed=1)])
    assert [e["listener"] for e in pooled["listeners"]] == ["no. 1", "no. 2"]


def test_tests_of_different_lengths_are_pooled() -> None:
    pooled = pool([heard("Ada", 12), heard("Ben", 9, replace(PLAN, trials=10))])
    assert (pooled["count"], pooled["trials"]) == (21, 26)


def test_preferences_are_pooled_by_answers_and_by_people() -> None:
    votes = {"Ada": 14, "Ben": 13, "Cas": 8, "Dee": 5, "Eli": 15, "Fay": 12}
    pooled = pool([heard(name, a, PREFER) for name, a in votes.items()])
    assert (pooled["count"], pooled["trials"]) == (67, 96)
    assert pooled["is_shown"]
    # one vote each: 4 to A, 1 to B, 1 to neither; two-sided sign test 12/32
    assert pooled["leaning"] == {"a": 4, "b": 1, "neither": 1, "probability": 0.375}
    words = " ".join(pooled["words"])
    assert words.startswith("A is preferred, pooled: A 67 times, B 29 times by 6")
    assert "4 lean to A, 1 to B, 1 to neither" in words
    assert "probability of 37.5 %" in words


@pytest.mark.parametrize(
    ("sessions", "told"),
    [
        ([], "two tests or more"),
        ([heard("Ada", 9)], "two tests or more"),
        ([heard("Ada", 9), heard("Ada", 9)], "given twice"),
        ([heard("Ada", 9), heard("Ben", 9, PREFER)], "not of one kind"),
        (
            [heard("Ada", 9), heard("Ben", 9, replace(PLAN, level=0.01))],
            "not of one level",
        ),
        (
            [heard("Ada", 9), heard("Ben", 9, replace(PLAN, clips=("a", "b")))],
            "not of one pair of clips",
        ),
    ],
    ids=["none", "one", "twice", "kinds", "levels", "clips"],
)
def test_tests_that_don_t_belong_together_are_refused(
    sessions: list[Session], told: str
) -> None:
    with pytest.raises(RequestError, match=told):
        pool(sessions)
