# SPDX-License-Identifier: GPL-3.0-or-later
"""Gains that bring two levels together, as plain numbers."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tonebench.compare.matching import Levels, by_hand, jump_db, match_pair

SILENCE = Levels(-math.inf, -math.inf, -math.inf, -math.inf, -math.inf)
MODES = ("loudness", "rms", "frequency")
level = st.floats(-69, 20)
levels = st.builds(Levels, level, level, level, level, level)


@settings(deadline=None)
@given(levels, levels, st.sampled_from(MODES))
def test_the_louder_is_turned_down_to_the_other_and_nothing_is_turned_up(
    a: Levels, b: Levels, mode: str
) -> None:
    matched = match_pair(a, b, mode)
    assert matched.is_matched
    assert matched.notice == ""
    assert max(matched.gain_a_db, matched.gain_b_db) == 0
    levels_after = a.by(mode) + matched.gain_a_db, b.by(mode) + matched.gain_b_db
    assert levels_after[0] == pytest.approx(levels_after[1], abs=1e-9)


@settings(deadline=None)
@given(levels, levels, st.sampled_from(MODES))
def test_exchanging_a_and_b_exchanges_the_gains_and_turns_the_jump(
    a: Levels, b: Levels, mode: str
) -> None:
    one, other = match_pair(a, b, mode), match_pair(b, a, mode)
    assert (one.gain_a_db, one.gain_b_db) == (other.gain_b_db, other.gain_a_db)
    jump, back = jump_db(a, b, mode), jump_db(b, a, mode)
    assert jump is not None
    assert back is not None
    assert jump == -back


@pytest.mark.parametrize(
    ("mode", "gains", "jump"),
    [
        ("loudness", (0, -2), 2.0),
        ("rms", (-3, 0), -3.0),
        ("frequency", (-7, 0), -7.0),
    ],
)
def test_each_mode_goes_by_its_own_level(
    mode: str, gains: tuple[float, float], jump: float
) -> None:
    a, b = Levels(-20, -18, -3, -3, 6), Levels(-18, -21, -2, -2, -1)
    matched = match_pair(a, b, mode)
    assert (matched.gain_a_db, matched.gain_b_db) == gains
    assert matched.mode == mode
    assert jump_db(a, b, mode) == jump


def test_none_turns_nothing_and_says_so() -> None:
    matched = match_pair(
        Levels(-20, -18, -3, -3, 6), Levels(-2, -1, -2, -2, -1), "none"
    )
    assert (matched.gain_a_db, matched.gain_b_db) == (0, 0)
    assert not matched.is_matched
    assert matched.notice == "not matched, as asked for"


@pytest.mark.parametrize(
    ("a", "b", "told"),
    [
        (SILENCE, Levels(-20, -18, -3, -3, 6), "not matched: A is silent"),
        (Levels(-20, -18, -3, -3, 6), SILENCE, "not matched: B is silent"),
        (SILENCE, SILENCE, "not matched: A and B are silent"),
    ],
)
@pytest.mark.parametrize("mode", MODES)
def test_a_silent_side_is_not_matched(
    a: Levels, b: Levels, told: str, mode: str
) -> None:
    matched = match_pair(a, b, mode)
    assert (matched.gain_a_db, matched.gain_b_db) == (0, 0)
    assert not matched.is_matched
    assert matched.notice == told
    assert jump_db(a, b, mode) is None


def test_what_has_no_loudness_reading_is_matched_by_rms_and_says_so() -> None:
    a, b = Levels(-math.inf, -30, -20, -20, 0), Levels(-math.inf, -33, -20, -20, 0)
    matched = match_pair(a, b, "loudness")
    assert (matched.gain_a_db, matched.gain_b_db) == (-3, 0)
    assert matched.is_matched
    assert matched.mode == "rms"
    assert matched.notice == "matched by RMS: too soft to go by loudness"


@pytest.mark.parametrize("mode", MODES)
def test_under_3_s_loudness_alone_gives_way_to_rms(mode: str) -> None:
    a, b = Levels(-20, -18, -3, -3, 6), Levels(-18, -21, -2, -2, -1)
    long, short = (match_pair(a, b, mode, seconds) for seconds in (3.0, 2.999))
    assert long.mode == mode
    assert short.mode == ("rms" if mode == "loudness" else mode)
    assert (short.notice != "") == (mode == "loudness")


@settings(deadline=None)
@given(st.lists(st.floats(-20, 0), min_size=2, max_size=3), st.integers(-120, 120))
def test_a_trim_by_hand_moves_b_against_all_others_and_turns_nothing_up(
    gains: list[float], steps: int
) -> None:
    trim = steps * 0.05
    a, b, *others = by_hand(gains, trim)
    assert b - a == pytest.approx(gains[1] + trim - gains[0], abs=1e-12)
    assert [each - a for each in others] == pytest.approx(
        [each - gains[0] for each in gains[2:]], abs=1e-12
    )
    assert max(a, b, *others) <= 0
