# SPDX-License-Identifier: GPL-3.0-or-later
"""A blind test that goes on: answers so far, kept in a file after each of them.

The file is replaced whole after every answer, so that a killed program loses none. The
seed is in it, veiled from the eye; on a listener's own machine nothing can keep it from
somebody who sets out to compute it. A changed or missing answer is found; an older
copy of the whole file, put back, is not.
"""

import hashlib
import json
import os
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Self

from tonebench.audio.outputs import whole_file
from tonebench.compare.blind import (
    SCHEMA,
    Plan,
    check_of,
    draw_order,
    new_seed,
    plan_from,
    seal_of,
)
from tonebench.errors import InputError, OutputError, RequestError

#: "which": the hidden one is A, or B; "prefer": rather the first, or the second.
ANSWERS = (1, 2)


@dataclass(frozen=True, slots=True)
class Session:
    """A plan, its seed, and the answers so far."""

    plan: Plan
    seed: str
    answers: tuple[int, ...] = ()

    @classmethod
    def begun(cls, plan: Plan) -> Self:
        """Return a new session of a plan, with a seed nobody knows."""
        return cls(plan, new_seed())

    @property
    def seal(self) -> str:
        """What is shown before the first answer: the hash of seed and plan."""
        return seal_of(self.seed, self.plan)

    @property
    def order(self) -> tuple[int, ...]:
        """What each trial holds; see `draw_order`."""
        return draw_order(self.seed, self.plan.trials)

    @property
    def is_done(self) -> bool:
        """Whether every trial is answered."""
        return len(self.answers) == self.plan.trials

    @property
    def hits(self) -> tuple[bool, ...]:
        """For each answer, whether it is right ("which") or for A ("prefer")."""
        return tuple(
            answer == drawn
            for answer, drawn in zip(self.answers, self.order, strict=False)
        )

    def answered(self, answer: int) -> "Session":
        """Return the session with one answer more; RequestError if there is no such."""
        if answer not in ANSWERS or self.is_done:
            raise RequestError(f"an answer must be 1 or 2 to an open trial: {answer}")
        return replace(self, answers=(*self.answers, answer))


def save_session(path: Path, session: Session) -> None:
    """Write a session to its file, in place of what it held before.

    Raises
    ------
    OutputError
        If the file can't be written; what it held before is still there then.
    """
    seal = session.seal
    values = {
        "schema": SCHEMA,
        "what": "a blind test that goes on; changed by hand, it is no longer taken",
        "plan": session.plan.as_json(),
        "seal": seal,
        "veiled": _veil(bytes.fromhex(session.seed), seal).hex(),
        "answers": list(session.answers),
        "check": check_of(session.seed, seal, session.answers),
    }
    text = json.dumps(values, indent=2, ensure_ascii=False, allow_nan=False)
    with whole_file(path, force=True) as part:
        try:
            with part.open("wb") as file:
                file.write(f"{text}\n".encode())
                file.flush()
                os.fsync(file.fileno())
        except OSError as error:
            raise OutputError(f"{path}: can't be written ({error.strerror})") from error


def read_session(path: Path) -> Session:
    """Read a session that goes on.

    Raises
    ------
    InputError
        If it can't be read, or was changed since it was saved.
    """
    values = read_values(path)
    try:
        plan, seal = plan_from(values["plan"]), str(values["seal"])
        seed = _veil(bytes.fromhex(values["veiled"]), seal).hex()
        answers = tuple(values["answers"])
        session = Session(plan, seed, answers)
        is_whole = (
            session.seal == seal
            and values["check"] == check_of(seed, seal, answers)
            and len(answers) <= plan.trials
            and all(type(answer) is int and answer in ANSWERS for answer in answers)
        )
    except (KeyError, TypeError, ValueError) as error:
        if isinstance(error, InputError):
            raise InputError(f"{path}: {error}") from error
        is_whole = False
    if not is_whole:
        raise InputError(
            f"{path}: was changed since it was saved, so its answers no longer count; "
            "move it away and begin again"
        )
    return session


def read_values(path: Path) -> dict[str, Any]:
    """Return the values of a JSON file; InputError if there is no object in it."""
    try:
        values = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"{path}: can't be read ({error.strerror})") from error
    except (ValueError, RecursionError) as error:
        raise InputError(f"{path}: is not JSON; was it cut short?") from error
    if not isinstance(values, dict):
        raise InputError(f"{path}: is not of a blind test")
    return values


def _veil(seed: bytes, seal: str) -> bytes:
    """Return a seed veiled, or a veiled one plain: against the eye alone."""
    mask = hashlib.sha256(f"veil\n{seal}".encode()).digest()
    return bytes(a ^ b for a, b in zip(seed, mask, strict=False))
