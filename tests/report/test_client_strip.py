# SPDX-License-Identifier: GPL-3.0-or-later
"""The take in a page: its outline, its seconds, and what moves, drawn and told."""

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from client_pages import Page, clip, comparison, page_of, pairing

from tonebench.report.client_strip import Lane, lanes_of, move_words, strip_html


def moving(a: dict[str, Any], b: dict[str, Any]) -> dict[str, Any]:
    return pairing("it moves", {"a": clip("a.wav", 0, **a), "b": clip("b.wav", 0, **b)})


def strip_of(
    a: dict[str, Any],
    b: dict[str, Any],
    outline: np.ndarray | None = None,
    duration_s: float = 10.0,
) -> Page:
    return Page(strip_html(moving(a, b), duration_s, outline))


def lines_of(page: Page, key: str) -> list[tuple[float, ...]]:
    """Return start, end and heights of a side's lines in per cent."""
    found = [line for line in page.all("line") if line["class"] == f"curve {key}"]
    places = ("x1", "x2", "y1", "y2")
    return [tuple(float(str(f[k]).rstrip("%")) for k in places) for f in found]


def test_the_outline_is_as_high_as_the_take_is_loud() -> None:
    page = strip_of({}, {}, np.array([0.1, 0.4, 0.2]))
    (path,) = page.all("path")
    points = np.array(re.findall(r"([\d.]+) ([\d.]+)", str(path["d"])), dtype=float)
    upper = 50 - points[:3, 1]
    np.testing.assert_allclose(upper / upper.max(), [0.25, 1, 0.5], atol=0.01)
    np.testing.assert_allclose(points[:3, 1] + points[:2:-1, 1], 100)  # mirrored
    np.testing.assert_allclose(points[:3, 0], [166.7, 500, 833.3], atol=0.1)


def test_a_silent_take_is_a_plain_line_and_said() -> None:
    page = strip_of({}, {}, np.zeros(5))
    (path,) = page.all("path")
    assert path["d"] == "M0 50H1000"
    assert page.all("svg")[0]["aria-label"] == "The take is silent"


@pytest.mark.parametrize(
    ("duration_s", "words"),
    [
        (0.2, ["0 s"]),
        (4.0, ["0 s", "0.5", "1", "1.5", "2", "2.5", "3", "3.5"]),
        (19.8, ["0 s", "5", "10", "15"]),
        (600.0, ["0 s", "120", "240", "360", "480"]),
        (40_000.0, ["0 s", "7200", "14400", "21600", "28800", "36000"]),
    ],
)
def test_seconds_are_few_enough_to_read(duration_s: float, words: list[str]) -> None:
    assert strip_of({}, {}, duration_s=duration_s).told("text") == words


def test_a_knob_that_turns_is_drawn_where_it_stands_and_when() -> None:
    page = strip_of({"bass": [[2, 0], [4, 10]]}, {"tilt": 5.0})
    # at the bottom (88 %) until 2 s of 10, at the top (22 %) from 4 s on
    assert lines_of(page, "a") == [
        (0, 20, 88, 88),
        (20, 40, 88, 22),
        (40, 100, 22, 22),
    ]
    assert page.told("text", **{"class": "place"}) == ["0", "10"]
    assert page.told("p", **{"class": "lane-name"}) == ["Bass of A"]


def test_a_move_that_goes_on_behind_the_take_is_cut_at_its_end() -> None:
    page = strip_of({}, {"bass": [[0, 0], [20, 10]]})
    assert lines_of(page, "b") == [(0, 100, 88, 55)]
    assert page.told("li") == [
        "Bass of B turns from 0 to 10 from 0 to 20 s, behind the end of the take."
    ]


def test_a_switch_steps_and_does_not_slide() -> None:
    page = strip_of({}, {"range": [[0, "low"], [5, "high"], [30, "mid"]]})
    assert lines_of(page, "b")[:2] == [(0, 50, 88, 88), (50, 50, 88, 22)]
    assert page.told("text", **{"class": "place"}) == ["low", "high"]
    assert page.told("li") == ["Range of B stands at low, and goes to high at 5 s."]


def test_what_moves_alike_on_both_sides_is_told_once() -> None:
    bass = [[0, 5], [4, 7.5]]
    both = moving({"bass": bass, "tilt": 5.0}, {"bass": bass, "level": [[0, 1]]})
    assert [(lane.side, lane.name) for lane in lanes_of(both)] == [
        ("both", "bass"),
        ("b", "level"),
    ]
    page = Page(strip_html(both, 10.0, None))
    assert page.told("li") == [
        "Bass of A and B turns from 5 to 7½ from 0 to 4 s.",
        "Level of B stays at 1.",
    ]
    assert lines_of(page, "a") == lines_of(page, "b")[: len(lines_of(page, "a"))]


def test_several_turns_are_told_in_their_order() -> None:
    lane = Lane("a", "mid_q", ((0, 5.0), (4, 10.0), (6, 10.0), (9, 2.5)))
    assert move_words(lane, 12) == (
        "Mid q of A turns from 5 to 10 from 0 to 4 s, then turns to 2½ from 6 to 9 s."
    )


def test_a_page_without_moves_has_no_list_of_them(tmp_path: Path) -> None:
    page = Page(page_of(tmp_path, comparison(tmp_path, 480)))
    assert page.told("ul", **{"class": "moves"}) == []
    assert len(page.told("figure", **{"class": "strip"})) == 2
