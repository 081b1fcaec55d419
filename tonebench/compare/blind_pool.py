# SPDX-License-Identifier: GPL-3.0-or-later
"""Several finished blind tests of the same two clips, taken together.

All answers are counted as one list, which is exact for the one question whether all
were guessing, whatever each of them did; beside it every listener stands alone,
corrected for being one of several. Who heard what is not to be read from the sum.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from tonebench.compare.blind import SCHEMA
from tonebench.compare.blind_session import Session
from tonebench.compare.blind_words import percent
from tonebench.errors import RequestError
from tonebench.study.odds import (
    at_least_by_guessing,
    holm,
    least_preferred,
    least_right,
    sign_test,
)

_MEANS = (
    "Pooled means that all answers are counted as one list. It tells whether all of "
    "them could have been guessing; it doesn't tell who was not, and it is no average "
    "ability. It holds if the number of listeners was settled before, and every test "
    "that was made is in it."
)


def pool(sessions: Sequence[Session]) -> dict[str, Any]:
    """Return several finished tests taken together, as plain values.

    Tests of one name are one listener's; tests without a name are each another's.

    Raises
    ------
    RequestError
        If there are fewer than two, one is there twice, or they are of different
        kinds, clips or levels.
    """
    _refuse_unlike(sessions)
    kind, level = sessions[0].plan.kind, sessions[0].plan.level
    listeners = _listeners(sessions)
    chance = _chance(kind)
    alone = [chance(entry["count"], entry["trials"]) for entry in listeners]
    for entry, own, corrected in zip(listeners, alone, holm(alone), strict=True):
        entry |= {
            "probability": own,
            "probability_corrected": corrected,
            "is_shown": corrected <= level,
        }
    trials = sum(entry["trials"] for entry in listeners)
    count = sum(entry["count"] for entry in listeners)
    probability = chance(count, trials)
    least = (least_right if kind == "which" else least_preferred)(trials, level)
    pooled: dict[str, Any] = {
        "schema": SCHEMA,
        "kind": kind,
        "level": level,
        "trials": trials,
        "count": count,
        "least": least,
        "probability": probability,
        "is_shown": probability <= level,
        "listeners": listeners,
    }
    if kind == "prefer":
        pooled["leaning"] = _leaning(listeners)
    return {**pooled, "words": pool_words(pooled)}


def _refuse_unlike(sessions: Sequence[Session]) -> None:
    if len(sessions) < 2:
        raise RequestError("to pool, give the results of two tests or more")
    if len({session.seal for session in sessions}) < len(sessions):
        raise RequestError("one test is given twice; give each result once")
    for word, found in (
        ("kind", {session.plan.kind for session in sessions}),
        ("level", {session.plan.level for session in sessions}),
        ("pair of clips", {session.plan.clips for session in sessions}),
    ):
        if len(found) > 1:
            raise RequestError(
                f"the tests are not of one {word}; pool those that are, apart"
            )


def _listeners(sessions: Sequence[Session]) -> list[dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {}
    for number, session in enumerate(sessions, start=1):
        name = session.plan.listener or f"no. {number}"
        entry = found.setdefault(name, {"listener": name, "trials": 0, "count": 0})
        entry["trials"] += session.plan.trials
        entry["count"] += sum(session.hits)
    return list(found.values())


def _chance(kind: str) -> Any:
    if kind == "which":
        return at_least_by_guessing
    return lambda count, trials: sign_test(count, trials - count)


def _leaning(listeners: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Return one vote per listener: what the test says of people, not of answers."""
    more = [2 * entry["count"] - entry["trials"] for entry in listeners]
    a, b = sum(m > 0 for m in more), sum(m < 0 for m in more)
    return {"a": a, "b": b, "neither": more.count(0), "probability": sign_test(a, b)}


def pool_words(pooled: Mapping[str, Any]) -> list[str]:
    """Return pooled tests in sentences."""
    count, trials, least = (pooled[key] for key in ("count", "trials", "least"))
    many = len(pooled["listeners"])
    who = "1 listener" if many == 1 else f"{many} listeners"
    chance = percent(pooled["probability"])
    if pooled["kind"] == "which":
        found = "A difference is heard" if pooled["is_shown"] else "No difference shown"
        told = [
            f"{found}, pooled: {count} of {trials} right by {who}, and {least} show "
            f"it. If all were guessing, {count} or more would come with a probability "
            f"of {chance}."
        ]
    else:
        other = trials - count
        side = "A" if count > other else "B"
        found = f"{side} is preferred" if pooled["is_shown"] else "No preference shown"
        told = [
            f"{found}, pooled: A {count} times, B {other} times by {who}, and {least} "
            "for one side show it. If nobody chose by sound, votes so uneven would "
            f"come with a probability of {chance}.",
            _leaning_words(pooled["leaning"]),
        ]
    if not pooled["is_shown"]:
        told.append("That is not to say that there is none.")
    each = "; ".join(_listener_words(e, pooled["kind"]) for e in pooled["listeners"])
    told.append(f"One by one, corrected for looking at {many} (Holm): {each}.")
    told.append(_MEANS)
    return told


def _leaning_words(leaning: Mapping[str, Any]) -> str:
    return (
        f"One vote each: {leaning['a']} lean to A, {leaning['b']} to B, "
        f"{leaning['neither']} to neither; among people without a leaning, votes so "
        f"uneven come with a probability of {percent(leaning['probability'])}."
    )


def _listener_words(entry: Mapping[str, Any], kind: str) -> str:
    word = "right" if kind == "which" else "for A"
    shown = "shown" if entry["is_shown"] else "not shown"
    return (
        f"{entry['listener']} {entry['count']} of {entry['trials']} {word}, "
        f"{percent(entry['probability_corrected'])}, {shown}"
    )
