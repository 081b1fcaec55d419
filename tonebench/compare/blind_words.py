# SPDX-License-Identifier: GPL-3.0-or-later
"""What a blind test comes to, in plain sentences.

The sentences are templates, so that the page's script fills in the very same ones.
Counts nothing itself.
"""

import math
from collections.abc import Mapping
from typing import Any

#: True shares for which a result tells its power.
ABILITIES = (0.7, 0.8, 0.9)

_POWER = (
    "with {trials} trials and {least} asked for, {who} 7 times in 10 is shown with a "
    "probability of {power7}, 8 in 10 with {power8}, 9 in 10 with {power9}."
)
#: By kind of test: what is said if it is shown, if not, and beside it.
WORDS = {
    "which": {
        "shown": "A difference is heard: {count} of {trials} right. {least} were asked "
        "for before; by guessing, {count} or more come with a probability of {chance}.",
        "not shown": "No difference is shown: {count} of {trials} right. {least} were "
        "asked for before; by guessing, {count} or more come with a probability of "
        "{chance}.",
        "power": "That is not to say that there is none: "
        + _POWER.replace("{who}", "a listener who is right"),
        "turned": "So few right are as rare by guessing as so many would be: were the "
        "two answers mixed up? The result stays what it is; begin a new test.",
    },
    "prefer": {
        "shown": "{side} is preferred: A {count} times, B {other} times. {least} for "
        "one side were asked for before; without a preference, votes so uneven come "
        "with a probability of {chance}.",
        "not shown": "No preference is shown: A {count} times, B {other} times. "
        "{least} for one side were asked for before; without a preference, votes so "
        "uneven come with a probability of {chance}.",
        "power": "That is not to say that there is none: "
        + _POWER.replace("{who}", "a side that is chosen"),
        "repeats": "Asked again unseen, the answer was the same {same} times of "
        "{pairs}; answered at random, {same} or more of {pairs} come with a "
        "probability of {chance_same}.",
    },
    "any": {
        "scope": "This is about {listener}, these clips and this playback, and no "
        "more.",
        "nobody": "this listener",
    },
}


def percent(probability: float) -> str:
    """Return a probability in per cent, a half rounded up, and never as nothing or all.

    Examples
    --------
    >>> percent(0.03841), percent(0.0625), percent(0.00002), percent(0.99999)
    ('3.8 %', '6.3 %', 'under 0.1 %', 'over 99.9 %')
    """
    tenths = math.floor(1000 * probability + 0.5)
    if tenths == 0:
        return "under 0.1 %"
    if tenths >= 1000:
        return "100 %" if probability >= 1 else "over 99.9 %"
    return f"{tenths // 10}.{tenths % 10} %"


def result_words(listener: str, kind: str, result: Mapping[str, Any]) -> list[str]:
    """Return a result in sentences; `result` is as `counted` returns it."""
    words, count, trials = WORDS[kind], result["count"], result["trials"]
    facts: dict[str, Any] = {
        "count": count,
        "other": trials - count,
        "trials": trials,
        "least": result["least"],
        "chance": percent(result["probability"]),
        "side": "A" if count > trials - count else "B",
        **_powers(result),
    }
    told = [words["shown" if result["is_shown"] else "not shown"].format(**facts)]
    if not result["is_shown"]:
        told.append(words["power"].format(**facts))
    if kind == "which" and trials - count >= result["least"]:
        told.append(words["turned"])
    if kind == "prefer":
        facts |= {
            "same": result["same"],
            "pairs": result["pairs"],
            "chance_same": percent(result["probability_same"]),
        }
        told.append(words["repeats"].format(**facts))
    any_kind = WORDS["any"]
    told.append(any_kind["scope"].format(listener=listener or any_kind["nobody"]))
    return told


def _powers(result: Mapping[str, Any]) -> dict[str, str]:
    """Return the power by how many times in ten: power7, power8, power9."""
    return {
        f"power{round(10 * entry['share'])}": percent(entry["probability"])
        for entry in result["power"]
    }
