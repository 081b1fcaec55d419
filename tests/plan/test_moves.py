# SPDX-License-Identifier: GPL-3.0-or-later
"""Moves as people write them, where they put a control, and on which steps."""

import re
import tomllib
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tonebench.circuit.controls import Knob, SwitchControl
from tonebench.errors import RequestError
from tonebench.plan.moves import Move, MovingSetting, moving_setting, parse_moves

BASS, LEVEL = Knob("bass"), Knob("level", start=7.0)
RANGE = SwitchControl("range", ("low", "mid", "high"), start="low")
CONTROLS = (BASS, LEVEL, RANGE)
STEP_S = 64 / 48_000


def read(toml: str) -> MovingSetting:
    return moving_setting(CONTROLS, tomllib.loads(toml))


def test_knob_turns_evenly_between_its_points_and_stands_still_outside() -> None:
    moving = read("bass = [[1, 5], [5, 10], [6, 0]]")
    at = {0: 5, 1: 5, 2: 6.25, 5: 10, 5.5: 5, 6: 0, 1000: 0}
    assert {t: moving.at(t)["bass"] for t in at} == at
    assert moving.at(2) == {"bass": 6.25, "level": 7.0, "range": "low"}


def test_switch_steps_at_its_points() -> None:
    moving = read('range = [[0.5, "low"], [2, "high"], [3, "mid"]]')
    at = {0: "low", 1.999: "low", 2: "high", 2.999: "high", 3: "mid", 9: "mid"}
    assert {t: moving.at(t)["range"] for t in at} == at


def test_what_is_not_moved_stands_where_it_is_set_or_starts() -> None:
    moving = read("level = 2\nbass = [[0, 1], [1, 2]]")
    assert moving.at(0) == {"bass": 1.0, "level": 2.0, "range": "low"}
    assert moving.is_moving


@pytest.mark.parametrize("text", ["bass = 3", "bass = [[2, 3]]", "bass=[[0,3],[4,3]]"])
def test_single_point_or_equal_ones_are_a_fixed_position(text: str) -> None:
    moving = read(text)
    assert not moving.is_moving
    assert moving.at(0)["bass"] == moving.at(3)["bass"] == 3
    assert list(moving.schedule(48_000)) == [(0, moving.at(0))]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("bas = [[0, 1]]", "there is no knob or switch 'bas'; did you mean 'bass'?"),
        ("treble = 3", "there is no knob or switch 'treble'; there are bass, level,"),
        ("bass = []", "bass: a move needs at least one point [seconds, position]"),
        ("bass = [[0, 11]]", "bass: position must be from 0 to 10, got 11"),
        ("bass = [[0, -0.1]]", "bass: position must be from 0 to 10, got -0.1"),
        ("bass = [[0, nan]]", "bass: position must be from 0 to 10, got nan"),
        ("bass = [[-1, 5]]", "bass: the seconds of a move must be from 0 to 100000, g"),
        ("bass = [[nan, 5]]", "from 0 to 100000, got nan"),
        ("bass = [[0, 5], [inf, 6]]", "from 0 to 100000, got inf"),
        (
            "bass = [[2, 5], [1, 6]]",
            "bass: the seconds of a move must rise from point to point, got 1 after 2",
        ),
        ("bass = [[1, 5], [1, 6]]", "must rise from point to point, got 1 after 1"),
        ("bass = [[0, 5, 6]]", "such as [2, 7.5], got [0, 5, 6]"),
        ("bass = [3, 4]", "a point of a move must be [seconds, position]"),
        ('bass = [[0, "5"]]', "bass: a point of a move must be [seconds, position] su"),
        ("bass = [[true, 5]]", "got [true, 5]"),
        ("bass = [[0, true]]", "got [0, true]"),
        (
            "range = [[0, 1]]",
            "range: a point of a move must be [seconds, position] suc",
        ),
        ("range = [[0, 1]]", 'such as [2, "low"], got [0, 1]'),
        (
            'range = [[0, "hi"]]',
            "range: position must be one of low, mid, high, got 'hi'",
        ),
        ('bass = "loud"', "bass: position must be a number from 0 to 10, got 'loud'"),
    ],
)
def test_move_that_makes_no_sense_is_refused_in_one_sentence(
    text: str, told: str
) -> None:
    with pytest.raises(RequestError, match=re.escape(told)) as caught:
        read(text)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("texts", "wanted"),
    [
        (["bass=0:5,4:10"], {"bass": [(0, 5), (4, 10)]}),
        ([" bass = 0 : 5 , 4.5 : 10 "], {"bass": [(0, 5), (4.5, 10)]}),
        (["range=0:low,2:high"], {"range": [(0, "low"), (2, "high")]}),
        (["bass=0:5", "level=1:2"], {"bass": [(0, 5)], "level": [(1, 2)]}),
    ],
)
def test_command_line_says_the_same_as_a_file(
    texts: list[str], wanted: dict[str, list[tuple[float, float | str]]]
) -> None:
    found = parse_moves(CONTROLS, texts)
    assert found == wanted
    assert moving_setting(CONTROLS, found) == moving_setting(CONTROLS, wanted)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("bass", "cannot read 'bass'; write it like bass=0:5,4:10"),
        ("=0:5", "cannot read '=0:5'; write it like bass=0:5,4:10"),
        ("bass=", "cannot read 'bass='; write it like bass=0:5,4:10"),
        ("bas=0:5", "there is no knob or switch 'bas'; did you mean 'bass'?"),
        (
            "bass=5",
            "bass: cannot read '5' as a point of a move; write seconds:position",
        ),
        ("bass=0:5,", "bass: cannot read '' as a point of a move"),
        ("bass=0:5,5,4:10", "cannot read '5' as a point of a move"),
        ("bass=0:up", "cannot read '0:up' as a point of a move"),
        ("range=soon:low", "range: cannot read 'soon:low' as a point of a move"),
        ("range=0:", "range: cannot read '0:' as a point of a move"),
    ],
)
def test_text_that_is_no_move_is_refused_in_one_sentence(text: str, told: str) -> None:
    with pytest.raises(RequestError, match=re.escape(told)):
        parse_moves(CONTROLS, [text])


def test_control_moved_twice_is_refused() -> None:
    with pytest.raises(RequestError, match="bass is moved twice; write all its points"):
        parse_moves(CONTROLS, ["bass=0:5,4:10", "bass=5:1"])


def test_what_the_command_line_leaves_to_the_points_is_checked_there() -> None:
    with pytest.raises(RequestError, match="bass: position must be from 0 to 10, got"):
        moving_setting(CONTROLS, parse_moves(CONTROLS, ["bass=0:nan"]))


def test_schedule_has_one_setting_a_step_while_a_knob_turns() -> None:
    """0 to 10 in half a second at 48 kHz: 375 steps of 64 frames, 376 positions."""
    found = list(read("bass = [[0, 0], [0.5, 10]]").schedule(48_000))
    assert [step for step, _ in found] == list(range(376))
    for step, setting in found:
        assert setting["bass"] == pytest.approx(step / 37.5, abs=1e-12)


def test_schedule_is_silent_where_nothing_turns() -> None:
    """A break at 10 s lies on step 7500 at 48 kHz; at 44.1 kHz step 6891 is next."""
    toml = 'range = [[0, "low"], [10, "high"]]\nbass = [[100, 2], [100.001, 2.5]]'
    found = list(read(toml).schedule(48_000))
    assert [step for step, _ in found] == [0, 7500, 75_001]
    assert [step for step, _ in read(toml).schedule(44_100)][:2] == [0, 6891]
    assert found[-1][1] == {"bass": 2.5, "level": 7.0, "range": "high"}


def test_switch_that_flicks_between_two_steps_is_not_heard() -> None:
    toml = 'range = [[0, "low"], [1.0001, "high"], [1.0002, "low"]]'
    assert len(list(read(toml).schedule(48_000))) == 1


def test_schedule_can_be_gone_through_again() -> None:
    schedule = read("bass = [[0, 0], [0.1, 10]]").schedule(48_000)
    assert list(schedule) == list(schedule)


points = st.lists(
    st.tuples(st.floats(0, 3), st.floats(0, 10)),
    min_size=1,
    max_size=5,
    unique_by=lambda point: point[0],
).map(sorted)
throws = st.lists(
    st.tuples(st.floats(0, 3), st.sampled_from(RANGE.positions)),
    min_size=1,
    max_size=4,
    unique_by=lambda point: point[0],
).map(sorted)


@settings(deadline=None, max_examples=200)
@given(bass=points, level=points, thrown=throws)
def test_schedule_is_every_step_asked_one_by_one(
    bass: list[tuple[float, float]],
    level: list[tuple[float, float]],
    thrown: list[tuple[float, str]],
) -> None:
    moves = tuple(
        Move(control, tuple(made))
        for control, made in zip(CONTROLS, (bass, level, thrown), strict=True)
    )
    moving = MovingSetting(CONTROLS, {}, moves)
    slow = [moving.at(step * 64 / 8000) for step in range(380)]
    wanted = [(0, slow[0])]
    wanted += [
        (step, after)
        for step, (before, after) in enumerate(pairwise(slow), 1)
        if before != after
    ]
    assert list(moving.schedule(8000)) == wanted
    assert all(0 <= float(s["bass"]) <= 10 for s in slow)
