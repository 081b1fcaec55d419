# SPDX-License-Identifier: GPL-3.0-or-later
"""A result says what was counted, and one that was changed is found out."""

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from blind_folders import PLAN
from commands import names_in

from tonebench.compare.blind_result import read_result, result_of, write_result
from tonebench.compare.blind_session import Session
from tonebench.compare.blind_words import percent
from tonebench.errors import InputError

SEED = "00112233445566778899aabbccddeeff"
LEVELS = {"by": "loudness", "a_db": -23.0, "b_db": -23.0}


def session(right: int, kind: str = "which") -> Session:
    """Return a finished session with so many right, or so many votes for A."""
    plan = replace(PLAN, kind=kind)
    order = Session(plan, SEED).order
    said = (k if n < right else 3 - k for n, k in enumerate(order))
    return Session(plan, SEED, tuple(said))


def told(right: int, kind: str = "which") -> str:
    return " ".join(result_of(session(right, kind), LEVELS, "files")["words"])


def test_twelve_of_sixteen_are_shown_and_eleven_are_not() -> None:
    # exact binomial: P(≥ 12 of 16) = 0.0384, P(≥ 11 of 16) = 0.1051
    assert told(12) == (
        "A difference is heard: 12 of 16 right. 12 were asked for before; by guessing, "
        "12 or more come with a probability of 3.8 %. This is about Ada, these clips "
        "and this playback, and no more."
    )
    assert told(11).startswith("No difference is shown: 11 of 16 right.")
    assert "by guessing, 11 or more come with a probability of 10.5 %" in told(11)


def test_not_shown_is_told_apart_from_not_there_by_the_power() -> None:
    # power of 16 trials with 12 asked for: 0.450, 0.798, 0.983 at 0.7, 0.8, 0.9
    assert (
        "That is not to say that there is none: with 16 trials and 12 asked for, a "
        "listener who is right 7 times in 10 is shown with a probability of 45.0 %, "
        "8 in 10 with 79.8 %, 9 in 10 with 98.3 %."
    ) in told(11)
    assert "none" not in told(12)


def test_answers_that_look_mixed_up_are_told_and_not_turned() -> None:
    assert "mixed up" in told(4)
    assert "mixed up" not in told(5)
    assert told(0).startswith("No difference is shown: 0 of 16 right.")


def test_a_preference_is_shown_by_thirteen_of_sixteen_either_way() -> None:
    # two-sided sign test: 2·P(≥ 13 of 16) = 0.0213, 2·P(≥ 12 of 16) = 0.0768
    assert told(13, "prefer").startswith("A is preferred: A 13 times, B 3 times.")
    assert told(3, "prefer").startswith("B is preferred: A 3 times, B 13 times.")
    assert "votes so uneven come with a probability of 2.1 %" in told(3, "prefer")
    assert told(12, "prefer").startswith("No preference is shown: A 12 times")
    assert "with a probability of 7.7 %" in told(12, "prefer")


def test_repeats_are_compared_first_half_to_second() -> None:
    # votes for A: the first 12 of 16, so trials 5 to 8 were answered otherwise later
    result = result_of(session(12, "prefer"), LEVELS, "files")["result"]
    assert (result["pairs"], result["same"]) == (8, 4)
    # P(≥ 4 of 8) = 163/256
    assert result["probability_same"] == 163 / 256
    assert "the same 4 times of 8" in told(12, "prefer")


def test_a_result_without_a_name_is_about_this_listener() -> None:
    plan = replace(PLAN, listener="")
    nobody = Session(plan, SEED, (1,) * 16)
    words = result_of(nobody, LEVELS, "files")["words"]
    assert words[-1].startswith("This is about this listener, ")


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (1.0, "100 %"), (0.9996, "over 99.9 %"), (0.0625, "6.3 %"),
        (0.5, "50.0 %"), (0.0004, "under 0.1 %"), (0.0005, "0.1 %"),
    ],
)  # fmt: skip
def test_chances_are_told_in_per_cent(probability: float, words: str) -> None:
    assert percent(probability) == words


@pytest.mark.parametrize("kind", ["which", "prefer"])
def test_a_result_comes_back_from_its_file(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "r.json"
    values = result_of(session(9, kind), LEVELS, "files")
    write_result(path, values)
    assert read_result(path) == session(9, kind)
    write_result(path, values)  # once more, as after a run that was killed here
    assert names_in(tmp_path) == {"r.json"}


CHANGES: dict[str, Callable[[dict[str, Any]], object]] = {
    "an answer turned": lambda v: v["answers"].__setitem__(0, 3 - v["answers"][0]),
    "the order turned": lambda v: v["order"].__setitem__(0, 3 - v["order"][0]),
    "answers exchanged": lambda v: v["answers"].reverse(),
    "another seed": lambda v: v.update(seed="0" * 32),
    "another listener": lambda v: v["plan"].update(listener="Ben"),
    "another level": lambda v: v["plan"].update(level=0.01),
    "another seal": lambda v: v.update(seal="0" * 64),
    "another count": lambda v: v["result"].update(count=16),
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_changed_result_is_found_out(tmp_path: Path, change: str) -> None:
    values = result_of(session(9), LEVELS, "files")
    CHANGES[change](values)
    path = tmp_path / "r.json"
    path.write_text(json.dumps(values), encoding="utf-8")
    with pytest.raises(InputError, match=r"r\.json: its .* was changed"):
        read_result(path)


@pytest.mark.parametrize(
    "change",
    [
        {"answers": [1, 2]},
        {"answers": [1] * 15 + [3]},
        {"answers": None},
        {"plan": {}},
        {"seed": None},
        {"seed": "é"},
        {"result": None},
    ],
)
def test_what_is_no_finished_test_is_refused(
    tmp_path: Path, change: dict[str, Any]
) -> None:
    values = {**result_of(session(9), LEVELS, "files"), **change}
    path = tmp_path / "r.json"
    path.write_text(json.dumps(values), encoding="utf-8")
    with pytest.raises(InputError, match=r"r\.json: ") as caught:
        read_result(path)
    assert len(str(caught.value).splitlines()) == 1
