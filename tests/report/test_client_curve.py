# SPDX-License-Identifier: GPL-3.0-or-later
"""The curve in a page, read back from its drawing and from its table."""

import math
import re
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from client_pages import (
    HZ,
    Page,
    comparison,
    page_of,
)

from tonebench.compare.verdict import MatchedCurves
from tonebench.report.client_curve import curve_svg, curve_table


def short(folder: Path) -> dict[str, Any]:
    return comparison(folder, frames=480)


def svg_of(curves: MatchedCurves, **more: Any) -> Page:
    return Page(curve_svg(curves, ("A tern", "B plover"), "two curves", **more))


def points_of(page: Page, key: str) -> np.ndarray:
    (path,) = [p["d"] for p in page.all("path") if p["class"] == f"curve {key}"]
    assert path is not None
    return np.array(re.findall(r"[ML]([\d.]+) ([-\d.]+)", path), dtype=float)


def levels_by_the_lines(page: Page, heights: np.ndarray) -> np.ndarray:
    """Return what heights mean, read off the level lines and the numbers at them."""
    lines = [
        (float(str(given["y"]).rstrip("%")) * 10, float(text.replace("−", "-")))
        for tag, given, text in page.texts
        if tag == "text" and given.get("class") == "level"
    ]
    (y0, level0), (y1, level1) = lines[0], lines[-1]
    slope = (level1 - level0) / (y1 - y0)
    return np.asarray(level0 + slope * (heights - y0))


def test_curves_read_off_the_drawn_lines_are_the_curves() -> None:
    # two plain lines, A level at 2 dB and B falling by 3 dB an octave from 0 at 1 kHz
    falling = -3 * np.log2(HZ / 1000)
    page = svg_of(MatchedCurves(HZ, np.full(len(HZ), 2.0), falling))
    for key, wanted in (("a", np.full(len(HZ), 2.0)), ("b", falling)):
        points = points_of(page, key)
        np.testing.assert_allclose(points[:, 0] / 1000, np.arange(481) / 480, atol=1e-4)
        read = levels_by_the_lines(page, points[:, 1])
        np.testing.assert_allclose(read, wanted, atol=0.01)


def test_open_strings_stand_at_their_pitches() -> None:
    # E1 = 41.203 Hz and A1 = 55 Hz in equal temperament at A4 = 440 Hz (ISO 16)
    curves = MatchedCurves(HZ, np.zeros(481), np.zeros(481))
    page = svg_of(curves, strings=[("E", 41.2034), ("A", 55.0), ("low", 10.0)])
    ticks = [line for line in page.all("line") if line["class"] == "string"]
    places = [float(str(tick["x1"]).rstrip("%")) / 100 for tick in ticks]
    wanted = [math.log(hz / 20) / math.log(1000) for hz in (41.2034, 55.0)]
    assert places == pytest.approx(wanted, abs=1e-4)
    assert page.told("text", **{"class": "string"}) == ["E", "A"]


def test_open_strings_of_the_take_are_drawn(tmp_path: Path) -> None:
    manifest = short(tmp_path)
    manifest["take"]["tuning"] = "E1 A1 D2 G2"
    page = Page(page_of(tmp_path, manifest))
    assert page.told("text", **{"class": "string"}) == ["E", "A", "D", "G"] * 2


def test_a_curve_breaks_off_where_a_side_is_silent() -> None:
    a_db = np.zeros(481)
    a_db[200:300] = -np.inf
    page = svg_of(MatchedCurves(HZ, a_db, np.zeros(481)))
    paths = {str(p["class"]): str(p["d"]) for p in page.all("path")}
    assert paths["curve a"].count("M") == 2
    assert len(points_of(page, "a")) == 381
    assert paths["curve b"].count("M") == 1


def test_a_side_that_is_silent_throughout_has_no_curve_and_no_name() -> None:
    silent = np.full(481, -np.inf)
    curves = MatchedCurves(HZ, np.zeros(481), silent)
    page = svg_of(curves)
    assert page.told("text", **{"class": "end"}) == ["A tern"]
    assert "nan" not in curve_svg(curves, ("A", "B"), "").lower()
    assert curve_table(curves).count("silent") == 31  # third octaves, ISO 266


@pytest.mark.parametrize("ends", [(0.0, 0.0), (-40.0, -40.0), (30.0, 29.0)])
def test_names_at_the_ends_stand_apart_and_inside(ends: tuple[float, float]) -> None:
    page = svg_of(MatchedCurves(HZ, np.full(481, ends[0]), np.full(481, ends[1])))
    places = sorted(
        float(str(text["y"]).rstrip("%"))
        for text in page.all("text")
        if text["class"] == "end"
    )
    assert len(places) == 3
    assert all(b - a >= 7.4 for a, b in pairwise(places))
    assert 0 <= places[0] <= places[-1] <= 100


def test_values_in_the_table_are_numbers_that_a_spreadsheet_takes() -> None:
    falling = -3 * np.log2(HZ / 1000)
    page = Page(
        f"<table>{curve_table(MatchedCurves(HZ, np.zeros(481), falling))}</table>"
    )
    rows = [
        [float(word) for word in re.findall(r">([-\d.]+)<", row)]
        for row in curve_table(MatchedCurves(HZ, np.zeros(481), falling)).splitlines()
    ]
    assert len(page.told("tr")) == len(rows) == 31
    for hz, a_db, b_db, difference_db in rows:
        wanted = -3 * math.log2(hz / 1000)
        assert (a_db, b_db, difference_db) == pytest.approx(
            (0, wanted, wanted), abs=0.006
        )
