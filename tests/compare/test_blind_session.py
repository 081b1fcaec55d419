# SPDX-License-Identifier: GPL-3.0-or-later
"""Answers are kept one by one, and what was changed is found."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from blind_folders import PLAN
from commands import names_in

from tonebench.compare.blind_session import Session, read_session, save_session
from tonebench.errors import InputError, OutputError, RequestError

SEED = "00112233445566778899aabbccddeeff"


def saved(folder: Path, *answers: int) -> Path:
    path = folder / "s.json"
    save_session(path, Session(PLAN, SEED, answers))
    return path


def changed(path: Path, change: Callable[[dict[str, Any]], object]) -> None:
    values = json.loads(path.read_text(encoding="utf-8"))
    change(values)
    path.write_text(json.dumps(values), encoding="utf-8")


def test_a_session_comes_back_with_its_answers(tmp_path: Path) -> None:
    session = Session.begun(PLAN)
    path = tmp_path / "s.json"
    for answer in (1, 2, 2):
        session = session.answered(answer)
        save_session(path, session)
        assert read_session(path) == session
    assert names_in(tmp_path) == {"s.json"}


def test_the_seed_does_not_lie_in_the_file_for_the_eye(tmp_path: Path) -> None:
    text = saved(tmp_path).read_text(encoding="utf-8")
    session = Session(PLAN, SEED)
    assert SEED not in text
    assert json.dumps(list(session.order)) not in text
    assert session.seal in text


CHANGES: dict[str, Callable[[dict[str, Any]], object]] = {
    "an answer turned": lambda v: v["answers"].__setitem__(1, 1),
    "the last one taken out": lambda v: v["answers"].pop(),
    "one put in": lambda v: v["answers"].append(1),
    "two exchanged": lambda v: v["answers"].reverse(),
    "no such answer": lambda v: v["answers"].__setitem__(0, 3),
    "a truth for a number": lambda v: v["answers"].__setitem__(0, True),
    "answers as a text": lambda v: v.update(answers="12"),
    "no answers": lambda v: v.update(answers=None),
    "another plan": lambda v: v["plan"].update(trials=5),
    "another seed": lambda v: v.update(veiled="00" * 16),
    "no seed": lambda v: v.update(veiled="no"),
    "another seal": lambda v: v.update(seal="0" * 64),
    "no check": lambda v: v.pop("check"),
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_changed_or_missing_answer_is_found(tmp_path: Path, change: str) -> None:
    path = saved(tmp_path, 1, 2, 2)
    changed(path, CHANGES[change])
    with pytest.raises(InputError, match="was changed since it was saved"):
        read_session(path)


@pytest.mark.parametrize(
    "text",
    ["", "{", "[1]", "\0", '{"plan": 3}', "[" * 100_000],
    ids=["empty", "cut", "list", "zero", "no plan", "deep"],
)
def test_a_broken_file_is_refused_in_one_sentence(tmp_path: Path, text: str) -> None:
    path = tmp_path / "s.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=r"s\.json: ") as caught:
        read_session(path)
    assert len(str(caught.value).splitlines()) == 1


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="can't be read"):
        read_session(tmp_path / "s.json")


def test_a_file_that_can_t_be_written_leaves_the_one_before(tmp_path: Path) -> None:
    path = saved(tmp_path, 1)
    before = path.read_bytes()
    with pytest.raises(OutputError):
        save_session(tmp_path / "gone" / "s.json", Session(PLAN, SEED))
    with pytest.MonkeyPatch.context() as patch:

        def full(_: int) -> None:
            raise OSError(28, "No space left on device")

        patch.setattr("os.fsync", full)
        with pytest.raises(OutputError, match="No space left"):
            save_session(path, Session(PLAN, SEED, (1, 2)))
    assert path.read_bytes() == before
    assert names_in(tmp_path) == {"s.json"}


def test_hits_are_answers_that_meet_the_order() -> None:
    order = Session(PLAN, SEED).order
    session = Session(PLAN, SEED, (*order[:10], *(3 - k for k in order[10:])))
    assert session.is_done
    assert session.hits == (True,) * 10 + (False,) * 6


def test_only_two_answers_count_and_none_after_the_last() -> None:
    for answer in (0, 3):
        with pytest.raises(RequestError, match="must be 1 or 2"):
            Session(PLAN, SEED).answered(answer)
    with pytest.raises(RequestError, match="to an open trial"):
        Session(PLAN, SEED, (1,) * 16).answered(1)
