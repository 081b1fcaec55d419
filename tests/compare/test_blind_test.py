# SPDX-License-Identifier: GPL-3.0-or-later
"""Whole sittings with a stand-in for the card: what is heard is what is hidden."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from blind_folders import (
    RATE,
    Recorder,
    blind_folder,
    never_opened,
    pressed,
    silent,
)
from commands import names_in
from numpy.typing import NDArray
from sounds import read_integers

from tonebench.compare.blind_session import read_session
from tonebench.compare.blind_sitting import CAUTION
from tonebench.compare.blind_test import AskedTest, Outcome, blind_test, session_path
from tonebench.errors import CheckFailed, DeviceError, InputError, RequestError

LOUDER = "+" * 10  # from −30 dB to the clip's own level


def sat(folder: Path, keys: str, **asked: Any) -> Outcome:
    """Sit by files, pressing keys."""
    test = AskedTest(files=folder.parent / "files", **asked)
    return blind_test(
        folder, test, opener=never_opened, read_key=pressed(keys), say=silent
    )


def clip(folder: Path, letter: str) -> NDArray[np.float32]:
    samples = read_integers(folder / f"0{letter}.wav") / 2.0**23
    return np.asarray(samples, np.float32)


def is_from(heard: NDArray[np.float32], clip: NDArray[np.float32]) -> bool:
    """Return whether some frames, behind all fades, are a clip's to the last bit."""
    tail = heard[-1200:]
    twice = np.concatenate([clip, clip])
    edge = RATE * 5 // 1000
    for start in np.flatnonzero(clip[:, 0] == tail[600, 0]):
        wanted = twice[np.arange(start - 600, start + 600) % len(clip)]
        places = np.arange(start - 600, start + 600) % len(clip)
        is_whole = (places >= edge) & (places <= len(clip) - 1 - edge)
        if np.array_equal(tail[is_whole], wanted[is_whole]):
            return True
    return False


def test_the_hidden_one_is_a_or_b_to_the_last_bit_as_the_order_says(
    tmp_path: Path,
) -> None:
    folder = blind_folder(tmp_path / "c")
    card = Recorder()
    keys = card.keys(lambda trial: "1", before=LOUDER + "xabx")
    done = blind_test(
        folder, AskedTest(), opener=card.opener, read_key=keys, say=silent
    )
    assert done.result is not None
    assert not card.is_open
    assert card.opened_for == (RATE, 1)
    a, b = clip(folder, "a"), clip(folder, "b")
    per_trial = len(LOUDER) + 5
    for trial, drawn in enumerate(done.session.order):
        # a row is played before a key is read: what a key asks for is in the next one
        rows = card.heard[per_trial * trial + len(LOUDER) :]
        for row, wanted in zip(rows[1:5], (drawn, 1, 2, drawn), strict=False):
            assert is_from(row, a if wanted == 1 else b), (trial, drawn)
            assert not is_from(row, b if wanted == 1 else a)
    right = done.session.order.count(1)
    assert done.result["result"]["count"] == right
    assert done.result["played_by"] == "sound card"


def test_in_a_preference_first_and_second_are_as_the_order_says(
    tmp_path: Path,
) -> None:
    folder = blind_folder(tmp_path / "c")
    card = Recorder()
    keys = card.keys(lambda trial: "12"[trial % 2], before=LOUDER + "fs")
    asked = AskedTest(kind="prefer", trials=6, level=0.05)
    done = blind_test(folder, asked, opener=card.opener, read_key=keys, say=silent)
    clips = {1: clip(folder, "a"), 2: clip(folder, "b")}
    for trial, drawn in enumerate(done.session.order):
        rows = card.heard[(len(LOUDER) + 3) * trial + len(LOUDER) :]
        assert is_from(rows[1], clips[drawn])
        assert is_from(rows[2], clips[3 - drawn])
    votes = [1 + trial % 2 == drawn for trial, drawn in enumerate(done.session.order)]
    assert done.result is not None
    assert done.result["result"]["count"] == sum(votes)


def test_nothing_is_heard_before_a_key_asks_for_it_and_then_it_is_soft(
    tmp_path: Path,
) -> None:
    folder = blind_folder(tmp_path / "c")
    card = Recorder()
    keys = card.keys(lambda trial: "q", before="?x?")
    blind_test(folder, AskedTest(), opener=card.opener, read_key=keys, say=silent)
    assert not card.heard[0].any()
    assert not card.heard[1].any()
    peak = max(abs(clip(folder, "a")).max(), abs(clip(folder, "b")).max())
    assert 0 < abs(card.heard[2]).max() <= peak * 10 ** (-30 / 20) * (1 + 1e-6)


def test_caution_levels_and_seal_come_before_the_first_trial_and_no_score_ever(
    tmp_path: Path,
) -> None:
    told: list[str] = []
    folder = blind_folder(tmp_path / "c")
    card = Recorder()
    done = blind_test(
        folder,
        AskedTest(trials=5),
        opener=card.opener,
        read_key=card.keys(lambda trial: "1"),
        say=told.append,
    )
    first = told.index("Trial 1 of 5.")
    before = "\n".join(told[:first])
    for words in (CAUTION, "0.00 dB apart", f"Seal: {done.session.seal}", "a recorder"):
        assert words in before
    assert set(told[first:]) == {
        "You hear the hidden one.",
        *(f"Trial {k} of 5." for k in range(1, 6)),
    }


def test_an_answer_counts_only_once_the_hidden_one_was_heard(tmp_path: Path) -> None:
    told: list[str] = []
    folder = blind_folder(tmp_path / "c")
    card = Recorder()
    keys = card.keys(lambda trial: "q", before="1a1x1")
    asked = AskedTest(listener="Ada")
    done = blind_test(folder, asked, opener=card.opener, read_key=keys, say=told.append)
    assert told.count("Listen to the hidden one first.") == 2
    assert done.session.answers == (1,)
    assert done.result is None
    assert read_session(session_path(folder, "Ada")) == done.session


def test_a_test_goes_on_where_it_stopped_and_keeps_its_seal(tmp_path: Path) -> None:
    folder = blind_folder(tmp_path / "c")
    first = sat(folder, "112q", listener="Ada Ö.")
    assert first.result is None
    again = sat(folder, "2", listener="Ada Ö.")  # and then the keys end
    assert again.session.answers == (1, 1, 2, 2)
    done = sat(folder, "1" * 12, listener="Ada Ö.")
    assert done.session.seal == first.session.seal
    assert done.result is not None
    assert done.result["answers"] == [1, 1, 2, 2, *[1] * 12]
    written = json.loads(done.path.read_text(encoding="utf-8"))
    assert written == done.result
    kept = names_in(folder) - {"0a.wav", "0b.wav", "manifest.json"}
    assert kept == {done.path.name}
    assert done.session.seal[:8] in done.path.name


def test_a_test_that_was_killed_behind_its_last_answer_still_has_its_result(
    tmp_path: Path,
) -> None:
    folder = blind_folder(tmp_path / "c")
    with pytest.MonkeyPatch.context() as patch:

        def killed(*_: Any) -> None:
            raise KeyboardInterrupt

        patch.setattr("tonebench.compare.blind_test.write_result", killed)
        with pytest.raises(KeyboardInterrupt):
            sat(folder, "1" * 16)
    done = sat(folder, "")
    assert done.result is not None
    assert not session_path(folder, "").exists()


def test_listeners_of_one_folder_do_not_meet(tmp_path: Path) -> None:
    names = ["", "Ada", "ada", "Ada!", "アダ", "listener"]
    folder = tmp_path / "c"
    assert len({str(session_path(folder, n)).casefold() for n in names}) >= 5
    assert session_path(folder, "Ada!") != session_path(folder, "Ada")


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({"trials": 20}, "a test with trials 16 is open.*leave --trials out"),
        ({"kind": "prefer"}, "a test with kind which is open"),
        ({"level": 0.01}, r"a test with level 0\.05 is open"),
        ({"pairing": "dulled"}, "a test with pairing flat is open"),
    ],
)
def test_what_was_fixed_stays_fixed(
    tmp_path: Path, asked: dict[str, Any], told: str
) -> None:
    pairings = (("flat", "walk.wav"), ("dulled", "walk.wav"))
    folder = blind_folder(tmp_path / "c", pairings=pairings)
    sat(folder, "1")
    before = session_path(folder, "").read_bytes()
    with pytest.raises(RequestError, match=told):
        sat(folder, "1", **asked)
    assert session_path(folder, "").read_bytes() == before


def test_an_open_test_goes_on_with_its_own_pairing(tmp_path: Path) -> None:
    pairings = (("flat", "walk.wav"), ("dulled", "walk.wav"))
    folder = blind_folder(tmp_path / "c", pairings=pairings)
    sat(folder, "1", pairing="dulled")
    assert sat(folder, "1").session.plan.pairing == "dulled"


def test_other_clips_than_at_the_start_are_refused(tmp_path: Path) -> None:
    folder = blind_folder(tmp_path / "c")
    sat(folder, "1")
    blind_folder(folder, RATE + 1)
    with pytest.raises(InputError, match="holds other clips than when the test began"):
        sat(folder, "1")


def test_clips_of_two_levels_are_refused_and_nothing_is_written(tmp_path: Path) -> None:
    folder = blind_folder(tmp_path / "c", b_db=-0.2)
    before = names_in(folder)
    with pytest.raises(CheckFailed, match=r"A is 0\.20 dB above B by RMS"):
        sat(folder, "1" * 16)
    assert names_in(folder) == before
    assert not (tmp_path / "files").exists()


def test_without_a_sound_card_nothing_is_begun(tmp_path: Path) -> None:
    folder = blind_folder(tmp_path / "c")

    def none(*_: Any) -> Any:
        raise DeviceError("no sound card")

    before = names_in(folder)
    with pytest.raises(DeviceError):
        blind_test(folder, AskedTest(), opener=none, read_key=pressed("1"), say=silent)
    assert names_in(folder) == before


def test_a_rest_is_offered_once_after_twenty_minutes(tmp_path: Path) -> None:
    from tonebench.compare.blind_clips import read_part
    from tonebench.compare.blind_folder import find_pair
    from tonebench.compare.blind_sitting import Sitting

    folder = blind_folder(tmp_path / "c")
    session = sat(folder, "").session
    heard = read_part(find_pair(folder, None), None, None)
    told: list[str] = []
    minutes = iter(range(0, 600, 6))
    Sitting(
        replace(session),
        tmp_path / "s.json",
        heard,
        None,
        read_key=pressed("1" * 16),
        say=told.append,
        clock=lambda: 60.0 * next(minutes),
    ).run()
    (place,) = (k for k, line in enumerate(told) if "a rest helps" in line)
    assert told[place + 1] == "Trial 5 of 16."
