# SPDX-License-Identifier: GPL-3.0-or-later
"""What a blind test will be, fixed before it starts: its plan, its order, its seal.

The order comes from a seed, bit by bit, so that any program draws the same one. The
seal is a hash of seed and plan, shown before the first answer. Knows nothing of files
and of sound.
"""

import hashlib
import json
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tonebench.errors import InputError, RequestError
from tonebench.study.odds import least_preferred, least_right

SCHEMA = 1
#: "which": which of the two is the hidden one; "prefer": which one would you rather.
KINDS = ("which", "prefer")
#: How often guessing may pass for hearing.
LEVELS = (0.05, 0.01)
MOST_TRIALS = 100
_LONGEST_NAME = 60


@dataclass(frozen=True, slots=True)
class Plan:
    """A blind test before its first trial.

    Attributes
    ----------
    kind : str
        One of `KINDS`.
    trials : int
        How many; even for "prefer", whose second half asks the first again, unseen.
    level : float
        One of `LEVELS`.
    listener : str
        Who listens; may be empty.
    comparison, pairing, take : str
        What the clips are of, as their manifest says.
    clips : tuple of str
        The SHA-256 of A's file and of B's.
    """

    kind: str
    trials: int
    level: float
    listener: str
    comparison: str
    pairing: str
    take: str
    clips: tuple[str, str]

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise RequestError(f"kind must be one of {', '.join(KINDS)}: '{self.kind}'")
        if self.level not in LEVELS:
            raise RequestError(f"level must be 0.05 or 0.01, got {self.level:g}")
        if not 1 <= self.trials <= MOST_TRIALS or self.least is None:
            raise RequestError(
                f"trials must be from {_fewest(self.kind, self.level)} to "
                f"{MOST_TRIALS}, got {self.trials}; 10 to 25 is customary"
            )
        if self.kind == "prefer" and self.trials % 2:
            raise RequestError(
                "trials must be even for a preference, so that each is asked twice, "
                f"got {self.trials}"
            )
        if len(self.listener) > _LONGEST_NAME or not self.listener.isprintable():
            raise RequestError(
                f"listener must be a name of up to {_LONGEST_NAME} printable signs, "
                f"got {self.listener!r}"
            )

    @property
    def least(self) -> int | None:
        """The least number of right answers, or of votes for one side, that shows."""
        count = least_right if self.kind == "which" else least_preferred
        return count(self.trials, self.level)

    def as_json(self) -> dict[str, Any]:
        """Return the plan as plain values."""
        return {
            "schema": SCHEMA,
            "kind": self.kind,
            "trials": self.trials,
            "level": self.level,
            "listener": self.listener,
            "comparison": self.comparison,
            "pairing": self.pairing,
            "take": self.take,
            "clips": {"a": self.clips[0], "b": self.clips[1]},
        }


def _fewest(kind: str, level: float) -> int:
    count = least_right if kind == "which" else least_preferred
    step = 1 if kind == "which" else 2
    return next(n for n in range(step, MOST_TRIALS, step) if count(n, level))


def plan_from(values: Mapping[str, Any]) -> Plan:
    """Return the plan that `as_json` wrote.

    Raises
    ------
    InputError
        If something is missing, of another kind or of a later schema.
    """
    try:
        if values["schema"] != SCHEMA:
            raise InputError(f"schema must be {SCHEMA}, got {values['schema']}")
        plan = Plan(
            clips=(values["clips"]["a"], values["clips"]["b"]),
            **{key: values[key] for key in Plan.__dataclass_fields__ if key != "clips"},
        )
        is_same = canonical(plan.as_json()) == canonical(values)
    except (KeyError, TypeError, AttributeError, RequestError) as error:
        raise InputError(f"holds no plan of a blind test ({error})") from error
    if not is_same:
        raise InputError("holds no plan of a blind test (there is more in it)")
    return plan


def canonical(values: object) -> str:
    r"""Return values as JSON in one way: keys sorted, no blanks, ASCII alone.

    Examples
    --------
    >>> canonical({"b": [1, 2], "a": "é"})
    '{"a":"\\u00e9","b":[1,2]}'
    """
    return json.dumps(values, sort_keys=True, separators=(",", ":"), allow_nan=False)


def new_seed() -> str:
    """Return a seed nobody knows: 128 random bits as 32 hexadecimal digits."""
    return secrets.token_hex(16)


def draw_order(seed: str, trials: int) -> tuple[int, ...]:
    """Return a number for each trial, 1 or 2, by fair and independent bits.

    Trial k, from 1 on, is 1 + the lowest bit of the first byte of
    SHA-256("SEED:k"), the text in ASCII. In "which", 1 means that the hidden one is A;
    in "prefer", that A comes first. The numbers are not balanced: were they, who
    counts could gain by it, and guessing would no longer be right half the time.

    Examples
    --------
    >>> draw_order("00", 8)
    (2, 2, 1, 1, 1, 2, 2, 1)
    """
    return tuple(
        1 + (hashlib.sha256(f"{seed}:{k}".encode("ascii")).digest()[0] & 1)
        for k in range(1, trials + 1)
    )


def seal_of(seed: str, plan: Plan) -> str:
    """Return the SHA-256 of "SEED", a line feed, and the plan in `canonical` JSON."""
    return _sha256(f"{seed}\n{canonical(plan.as_json())}")


def check_of(seed: str, seal: str, answers: tuple[int, ...]) -> str:
    """Return the SHA-256 of seed, seal and answers, a line each, to find changes."""
    return _sha256(f"{seed}\n{seal}\n{canonical(list(answers))}")


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode("ascii")).hexdigest()
