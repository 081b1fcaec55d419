# SPDX-License-Identifier: GPL-3.0-or-later
"""What a finished blind test comes to, as JSON that any other program can check.

A result holds its seed, so that its order, its seal and its counts can be computed
again; reading it does that. Whoever made it could have made another one up: only a
seal that was handed to somebody else before the first answer says more.
"""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from tonebench import __version__
from tonebench.audio.outputs import write_whole
from tonebench.compare.blind import SCHEMA, Plan, canonical, check_of, plan_from
from tonebench.compare.blind_session import Session, read_values
from tonebench.compare.blind_words import ABILITIES, result_words
from tonebench.errors import InputError
from tonebench.study.odds import (
    at_least_by_guessing,
    power,
    power_of_preference,
    sign_test,
)


def counted(plan: Plan, hits: tuple[bool, ...]) -> dict[str, Any]:
    """Return the counts and probabilities of a finished test as plain values.

    `count` is how many are right ("which") or for A ("prefer"). In a preference, trial
    k of the first half and of the second are one question, asked twice.
    """
    count = sum(hits)
    is_which = plan.kind == "which"
    powers = power if is_which else power_of_preference
    least = plan.least
    result: dict[str, Any] = {
        "trials": plan.trials,
        "count": count,
        "least": least,
        "probability": at_least_by_guessing(count, plan.trials)
        if is_which
        else sign_test(count, plan.trials - count),
        "power": [
            {"share": share, "probability": powers(plan.trials, plan.level, share)}
            for share in ABILITIES
        ],
    }
    result["is_shown"] = result["probability"] <= plan.level
    if not is_which:
        pairs = plan.trials // 2
        same = sum(a == b for a, b in zip(hits[:pairs], hits[pairs:], strict=True))
        result |= {
            "pairs": pairs,
            "same": same,
            "probability_same": at_least_by_guessing(same, pairs),
        }
    return result


def result_of(
    session: Session, levels: Mapping[str, Any], played_by: str
) -> dict[str, Any]:
    """Return the result of a finished session as plain values.

    Parameters
    ----------
    session : Session
        With every trial answered.
    levels : mapping
        How far apart A and B were, as `LevelGap.as_json` returns it.
    played_by : str
        "sound card", "files" or "page".
    """
    result = counted(session.plan, session.hits)
    return {
        "schema": SCHEMA,
        "what": "result of a blind test",
        "tonebench": __version__,
        "plan": session.plan.as_json(),
        "seal": session.seal,
        "seed": session.seed,
        "order": list(session.order),
        "answers": list(session.answers),
        "check": check_of(session.seed, session.seal, session.answers),
        "levels": dict(levels),
        "played_by": played_by,
        "result": result,
        "words": result_words(session.plan.listener, session.plan.kind, result),
    }


def write_result(path: Path, values: Mapping[str, Any]) -> None:
    """Write a result; a file that holds the very same one is left as it is."""
    data = json.dumps(values, indent=2, ensure_ascii=False, allow_nan=False)
    text = f"{data}\n".encode()
    if not (path.is_file() and path.read_bytes() == text):
        write_whole(path, text)


def read_result(path: Path) -> Session:
    """Read a result, and compute again all that it claims.

    Raises
    ------
    InputError
        If it can't be read, isn't of a finished test, or doesn't agree with itself.
    """
    values = read_values(path)
    try:
        session = Session(
            plan_from(values["plan"]), str(values["seed"]), tuple(values["answers"])
        )
        if not session.is_done or any(a not in (1, 2) for a in session.answers):
            raise InputError("holds no finished test; a test counts whole or not")
        claimed = {key: values[key] for key in ("seal", "order", "check")}
        computed = {
            "seal": session.seal,
            "order": list(session.order),
            "check": check_of(session.seed, session.seal, session.answers),
        }
        count = values["result"]["count"]
    except InputError as error:
        raise InputError(f"{path}: {error}") from error
    except (KeyError, TypeError, ValueError) as error:
        raise InputError(f"{path}: holds no result of a blind test") from error
    for key, value in computed.items():
        if canonical(claimed[key]) != canonical(value):
            raise InputError(
                f"{path}: its {key} doesn't follow from its seed, plan and answers; "
                "it was changed after the test"
            )
    if count != sum(session.hits):
        raise InputError(f"{path}: its count isn't that of its answers; it was changed")
    return session
