# SPDX-License-Identifier: GPL-3.0-or-later
"""A setting is complete, and refuses what no control can do."""

import pytest

from tonebench.circuit.controls import Knob, SwitchControl, complete_setting
from tonebench.errors import RequestError

BASS = Knob("bass")
LEVEL = Knob("level", start=7)
RANGE = SwitchControl("range", ("low", "mid", "high"), start="low")
CONTROLS = (BASS, LEVEL, RANGE)


def test_controls_stand_where_they_start_unless_they_are_set() -> None:
    setting = complete_setting(CONTROLS, {"bass": 2, "range": "high"})
    assert setting == {"bass": 2.0, "level": 7, "range": "high"}


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"bas": 5}, "there is no knob or switch 'bas'; did you mean 'bass'?"),
        ({"x": 5}, "there is no knob or switch 'x'; there are bass, level, range"),
        ({"bass": 10.1}, "bass: position must be from 0 to 10, got 10.1"),
        ({"bass": -1}, "bass: position must be from 0 to 10, got -1"),
        ({"bass": float("nan")}, "bass: position must be from 0 to 10, got nan"),
        ({"bass": "up"}, "bass: position must be a number from 0 to 10, got 'up'"),
        ({"range": "hi"}, "range: position must be one of low, mid, high, got 'hi'"),
    ],
)
def test_a_setting_no_control_can_have_is_refused(
    changes: dict[str, float | str], message: str
) -> None:
    with pytest.raises(RequestError) as caught:
        complete_setting(CONTROLS, changes)
    assert str(caught.value) == message


def test_a_circuit_without_controls_says_so() -> None:
    with pytest.raises(RequestError, match="this circuit has none"):
        complete_setting((), {"bass": 5})
