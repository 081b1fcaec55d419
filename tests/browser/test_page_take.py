# SPDX-License-Identifier: GPL-3.0-or-later
"""The take and the curves in a page: dragged over, read off, by mouse and by keys."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from client_pages import HZ, comparison, page_of
from page_in_chromium import Opened, chromium, opened
from playwright.sync_api import Browser
from sounds import RATE

from tonebench.report.curve_files import read_pair_csv

pytestmark = pytest.mark.browser

SECONDS = 4


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as started:
        yield started


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("page")
    manifest = comparison(folder, SECONDS * RATE)
    settings = manifest["pairings"][0]["clips"]["a"]["settings"]
    settings["tilt"] = [[0, 5.0], [2, 10.0]]
    page_of(folder, manifest)
    return folder


@pytest.fixture
def page(browser: Browser, folder: Path) -> Iterator[Opened]:
    with opened(browser, folder) as page:
        page.wait_until_ready()
        yield page
        assert page.said == []


def dragged(page: Opened, start: float, end: float) -> None:
    """Drag over the take from one share of its width to another."""
    page.page.locator("#field").scroll_into_view_if_needed()
    box = page.page.locator("#field").bounding_box()
    assert box is not None
    y = box["y"] + 30
    mouse = page.page.mouse
    mouse.move(box["x"] + start * box["width"], y)
    mouse.down()
    mouse.move(box["x"] + end * box["width"], y, steps=5)
    mouse.up()


def part(page: Opened) -> tuple[bool, str, str]:
    """Return whether a part is looped, and what its fields say."""
    on = page.page.locator("#loop").is_checked()
    fields = (page.page.locator(f"#{key}").input_value() for key in ("from", "to"))
    return (on, *fields)  # type: ignore[return-value]  # two of them


def value(page: Opened, key: str) -> float:
    return float(page.page.locator(f"#{key}").input_value())


@pytest.mark.parametrize(("start", "end"), [(0.25, 0.5), (0.5, 0.25)])
def test_a_drag_over_the_take_chooses_the_part_either_way(
    page: Opened, start: float, end: float
) -> None:
    dragged(page, start, end)
    assert part(page) == (True, "1.0", "2.0")
    region = page.page.locator("#region")
    assert float(str(region.get_attribute("x")).rstrip("%")) == pytest.approx(25, abs=1)
    assert "on" in str(region.get_attribute("class"))
    page.page.keyboard.press("Space")
    page.page.wait_for_timeout(1500)
    assert page.now == "You hear A, at one level."
    assert 1 <= value(page, "position") <= 2


def test_a_click_on_the_take_goes_there_and_loops_nothing(page: Opened) -> None:
    dragged(page, 0.5, 0.5)
    assert part(page) == (False, "0.0", "4.0")
    assert value(page, "position") == pytest.approx(2, abs=0.06)
    needle = str(page.page.locator("#needle").get_attribute("x1"))
    assert float(needle.rstrip("%")) == pytest.approx(50, abs=1)


def test_a_drag_over_the_edge_ends_at_the_edge(page: Opened) -> None:
    dragged(page, 0.75, 1.2)
    assert part(page) == (True, "3.0", "4.0")


def test_a_short_drag_is_a_tenth_of_a_second_at_least(page: Opened) -> None:
    dragged(page, 0.5, 0.515)
    on, begin, end = part(page)
    assert on
    assert float(end) - float(begin) == pytest.approx(0.1)


def test_both_ends_are_set_by_keys_and_say_where_they_are(page: Opened) -> None:
    begin = page.page.get_by_role("slider", name="Loop from")
    end = page.page.get_by_role("slider", name="Loop to")
    for _ in range(3):
        begin.press("ArrowRight")
    end.press("PageDown")
    assert part(page) == (True, "0.3", "3.6")
    assert begin.get_attribute("aria-valuetext") == "0.3 seconds"
    assert end.get_attribute("aria-valuetext") == "3.6 seconds"
    begin.press("End")  # never past the other end
    assert part(page) == (True, "3.5", "3.6")
    page.page.get_by_role("button", name="play the whole take").click()
    assert part(page) == (False, "0.0", "4.0")
    assert begin.input_value() == "0"


def test_the_sound_follows_when_a_key_rests(page: Opened) -> None:
    page.page.keyboard.press("Space")
    page.wait_for("You hear A")
    begin = page.page.get_by_role("slider", name="Loop from")
    for _ in range(30):
        begin.press("ArrowRight")
    page.page.wait_for_timeout(900)
    assert 3 <= value(page, "position") <= 4
    page.page.wait_for_timeout(900)
    assert 3 <= value(page, "position") <= 4
    assert page.now == "You hear A, at one level."


def test_the_needle_goes_along_with_what_plays(page: Opened) -> None:
    page.page.keyboard.press("Space")
    page.page.wait_for_timeout(800)
    needle = page.page.locator("#needle").get_attribute("x1")
    assert 5 <= float(str(needle).rstrip("%")) <= 60


def test_a_part_stays_when_another_pairing_on_the_take_is_chosen(
    page: Opened,
) -> None:
    dragged(page, 0.25, 0.5)
    page.page.get_by_label("turned up").check()
    assert part(page) == (True, "1.0", "2.0")
    assert page.page.locator("article:visible #region").count() == 1


def test_moves_are_told_where_the_take_is(page: Opened) -> None:
    told = page.page.get_by_role("list", name="What moves").inner_text()
    assert told == "Tilt of A turns from 5 to 10 from 0 to 2 s."


# ---- Curves ----


def test_a_curve_is_read_where_the_pointer_is(page: Opened) -> None:
    plot = page.page.locator("article:visible .plot")
    box = plot.bounding_box()
    assert box is not None
    # 20 Hz to 20 kHz: a third of the width is a decade; B falls by 3 dB an octave from
    # 0 dB at 1 kHz, and A stays at 0 dB
    page.page.mouse.move(box["x"] + box["width"] / 3, box["y"] + 50)
    read = page.page.locator("article:visible .read")
    assert read.inner_text() == "200 Hz: A 0.0 dB, B +7.0 dB, B − A +7.0 dB"
    x = page.page.locator("article:visible .reader").get_attribute("x1")
    assert float(str(x).rstrip("%")) == pytest.approx(100 / 3, abs=0.2)


def test_a_curve_is_read_by_keys_and_told(page: Opened) -> None:
    slider = page.page.get_by_role("slider", name="Read the curves at")
    slider.press("Home")
    told = slider.get_attribute("aria-valuetext")
    # 3 dB an octave: 3 · log2(1000/20) = 16.93 dB
    assert told == "20 Hz: A 0.0 dB, B +16.9 dB, B − A +16.9 dB"
    slider.press("PageUp")  # a tenth of the way: 20 Hz · 1000^0.1 = 39.9 Hz
    assert str(slider.get_attribute("aria-valuetext")).startswith("39.9 Hz: ")
    slider.press("End")
    # 3 · log2(20) = 12.97 dB
    told = slider.get_attribute("aria-valuetext")
    assert told == "20 kHz: A 0.0 dB, B −13.0 dB, B − A −13.0 dB"
    assert page.page.locator("article:visible .read").inner_text() == told


def test_marks_stand_on_the_curves(page: Opened) -> None:
    page.page.get_by_role("slider", name="Read the curves at").press("Home")
    gaps = page.page.evaluate(
        """() => ["a", "b"].map((key) => {
          const article = document.querySelector("article:not([hidden])");
          const path = article.querySelector(`.stretch path.${key}`);
          const start = path.getPointAtLength(0).matrixTransform(path.getScreenCTM());
          const dot = article.querySelector(`.dot.${key}`).getBoundingClientRect();
          return [dot.x + dot.width / 2 - start.x, dot.y + dot.height / 2 - start.y];
        })"""
    )
    np.testing.assert_allclose(gaps, 0, atol=1)


def test_all_points_are_saved_as_csv_without_a_network(page: Opened) -> None:
    page.page.get_by_text("The curve as numbers").first.click()
    with page.page.expect_download() as waiting:
        page.page.get_by_role("button", name="Save all points as CSV").click()
    saved = waiting.value
    assert saved.suggested_filename == "curves-1.csv"
    curves = read_pair_csv(Path(saved.path()))
    np.testing.assert_allclose(curves.frequency_hz, HZ, rtol=1e-4)
    np.testing.assert_array_equal(curves.a_db, 0)
    falling = -3 * np.log2(HZ / 1000)
    np.testing.assert_allclose(curves.b_db, falling, atol=0.006)
    assert all(url.startswith(("file:", "blob:")) for url in page.asked)
