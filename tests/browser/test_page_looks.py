# SPDX-License-Identifier: GPL-3.0-or-later
"""A page as people meet it: on its own, on paper, on small screens, in the dark."""

import json
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from client_pages import comparison, page_of, shown_of
from page_in_chromium import OFFLINE, Opened, chromium, opened
from playwright.sync_api import Browser
from sounds import RATE

from tonebench.cli import run
from tonebench.compare import written
from tonebench.report import client_sound
from tonebench.report.client import write_page

pytestmark = pytest.mark.browser

NARROW: Any = {"width": 360, "height": 740}
#: A window of 1280 by 860 at 200 %.
ZOOMED: Any = {"width": 640, "height": 430}
SECONDS = 4


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as started:
        yield started


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("page")
    page_of(folder, comparison(folder, SECONDS * RATE))
    return folder


@pytest.fixture(scope="module")
def carried(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A page whose clips lie beside it."""
    folder = tmp_path_factory.mktemp("carried")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(client_sound, "LARGEST_PAGE_BYTES", 1000)
        page_of(folder, comparison(folder, RATE))
    return folder


@pytest.fixture
def page(browser: Browser, folder: Path) -> Iterator[Opened]:
    with opened(browser, folder) as page:
        page.wait_until_ready()
        yield page
        assert page.said == []


def pressed(page: Opened) -> list[str]:
    """Return the voices whose buttons are down."""
    found = page.page.locator(".voice[aria-pressed=true]").all_inner_texts()
    return [text.strip() for text in found]


# ---- On its own ----


def test_page_opens_without_a_word_and_asks_for_nothing_else(
    page: Opened, folder: Path
) -> None:
    page.page.keyboard.press("Space")
    page.wait_for("You hear A")
    assert page.asked == [(folder / "index.html").as_uri()]
    assert page.said == []


def test_no_script_but_the_page_s_own_can_act(page: Opened) -> None:
    page.page.evaluate(
        """() => {
          const script = document.createElement("script");
          script.textContent = "window.acted = true";
          document.body.append(script);
          const image = "<img src=x onerror='acted = true'>";
          document.body.insertAdjacentHTML("beforeend", image);
        }"""
    )
    page.page.wait_for_timeout(200)
    assert page.page.evaluate("window.acted") is None
    assert (
        len([words for words in page.said if "Content Security Policy" in words]) >= 2
    )
    page.said.clear()


def test_hostile_texts_are_shown_and_do_nothing(
    browser: Browser, tmp_path: Path
) -> None:
    text = "</script><img src=x onerror=\"document.title='acted'\"><b>"
    manifest = comparison(tmp_path, 4800)
    manifest |= {"title": text, "differs": text, "client": {"note": text, "by": text}}
    for its in manifest["pairings"]:
        its |= {"name": text, "notices": [text], "verdict": [text] * 3}
        its["clips"]["a"]["settings"] = {text: text}
    page_of(tmp_path, manifest)
    with opened(browser, tmp_path) as page:
        page.wait_until_ready()
        assert page.page.title() == text
        assert page.page.locator("img").count() == 0
        assert page.page.locator("blockquote").inner_text() == text
        assert page.said == []


def test_page_without_scripts_is_there_to_read(browser: Browser, folder: Path) -> None:
    with opened(browser, folder, java_script_enabled=False) as page:
        assert page.page.locator("h1").inner_text().startswith("Only the circuit")
        assert [a.is_visible() for a in page.page.locator("article").all()] == [
            True
        ] * 2
        assert "Scripts are off" in page.page.locator(".deck").inner_text()


def test_bundled_comparison_is_ready_to_play_within_a_second(
    browser: Browser, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "demo"
    assert run(["compare", "-o", str(folder)]) == 0
    if not (folder / "index.html").exists():
        manifest = json.loads((folder / "manifest.json").read_bytes())
        write_page(folder, manifest, shown_of(manifest))
    with opened(browser, folder) as page:
        seconds = page.wait_until_ready()
        page.page.keyboard.press("Space")
        page.wait_for("You hear A")
        assert page.said == []
    size = (folder / "index.html").stat().st_size / 1e6
    with capsys.disabled():
        print(f"\n{size:.1f} MB, ready to play after {seconds:.2f} s")
    assert seconds < 5  # a second where nothing else runs


# ---- Clips beside the page ----


def test_carriers_are_loaded_when_their_pairing_is_first_wanted(
    browser: Browser, carried: Path
) -> None:
    with opened(browser, carried, OFFLINE) as page:

        def loaded() -> set[str]:
            return {Path(url).name for url in page.asked} - {"index.html"}

        page.page.wait_for_timeout(200)
        assert loaded() == set()
        page.start_offline()
        assert loaded() == {"clip-1.js", "clip-2.js", "clip-3.js"}
        page.page.get_by_label("turned up").check()
        page.page.wait_for_timeout(300)
        assert loaded() == {f"clip-{number}.js" for number in (1, 2, 3, 4)}
        assert all(url.startswith("file://") for url in page.asked)
        assert page.said == []


def test_a_take_too_long_for_a_page_is_said_at_once(
    browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(written, "MOST_PLAYED_SAMPLES", 4799)
    page_of(tmp_path, comparison(tmp_path, 4800))
    with opened(browser, tmp_path) as page:
        page.wait_for("This can't be played: it is too long for a page")
        page.page.get_by_role("button", name="Play").click()
        page.wait_for("it is too long for a page; open the clips beside it")
        assert page.page.locator("#play").inner_text() == "Play"


def test_a_carrier_that_is_missing_is_told_by_name(
    browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(client_sound, "LARGEST_PAGE_BYTES", 1000)
    page_of(tmp_path, comparison(tmp_path, 4800))
    (tmp_path / "clip-2.js").unlink()
    with opened(browser, tmp_path) as page:
        page.page.get_by_role("button", name="Play").click()
        page.wait_for("clip-2.js is missing beside this page")
        assert page.page.locator("#play").inner_text() == "Play"


# ---- Eyes and ears ----


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [{"width": 1280, "height": 860}, ZOOMED, NARROW])
def test_axe_finds_nothing_to_mend(
    browser: Browser, folder: Path, scheme: Any, size: Any
) -> None:
    with opened(browser, folder, color_scheme=scheme, viewport=size) as page:
        page.wait_until_ready()
        for summary in page.page.locator("article:visible summary").all():
            summary.click()
        page.leave_fields()
        page.page.keyboard.press("Space")
        page.wait_for("You hear A")
        found = Axe().run(page.page)
        assert found.violations_count == 0, found.generate_report()


@pytest.mark.parametrize(
    ("scheme", "paper", "a", "b"),
    [
        ("light", "rgb(253, 253, 251)", "rgb(0, 114, 178)", "rgb(213, 94, 0)"),
        ("dark", "rgb(28, 27, 25)", "rgb(86, 180, 233)", "rgb(230, 159, 0)"),
    ],
)
def test_a_and_b_have_the_house_s_colours_and_lines(
    browser: Browser, folder: Path, scheme: Any, paper: str, a: str, b: str
) -> None:
    with opened(browser, folder, color_scheme=scheme) as page:
        for key, colour, is_dashed in (("a", a, False), ("b", b, True)):
            stroke, dashes = page.page.evaluate(
                """(key) => {
                  const style = getComputedStyle(document.querySelector(`path.${key}`));
                  return [style.stroke, style.strokeDasharray];
                }""",
                key,
            )
            assert stroke == colour
            assert (dashes != "none") == is_dashed
        ground = "getComputedStyle(document.documentElement).backgroundColor"
        assert page.page.evaluate(ground) == paper


def test_colours_of_the_system_take_over_where_it_forces_them(
    browser: Browser, folder: Path
) -> None:
    with opened(browser, folder, forced_colors="active") as page:
        strokes = page.page.evaluate(
            """() => [...document.querySelectorAll("path.curve")].map(
              (path) => getComputedStyle(path).stroke)"""
        )
        assert len(set(strokes)) == 1
        assert strokes[0] not in ("rgb(0, 114, 178)", "rgb(213, 94, 0)")


def test_nothing_moves_but_the_slider_for_who_asks_for_calm(
    browser: Browser, folder: Path
) -> None:
    with opened(browser, folder, reduced_motion="reduce") as page:
        moving = page.page.evaluate(
            """() => [...document.querySelectorAll("*")].filter((e) => {
              const { animationName, transitionDuration } = getComputedStyle(e);
              return animationName !== "none" || transitionDuration !== "0s";
            }).length"""
        )
        assert moving == 0


def test_a_narrow_screen_needs_no_sideways_scroll_and_keeps_the_player_in_sight(
    browser: Browser, folder: Path
) -> None:
    with opened(browser, folder, viewport=NARROW) as page:
        width = page.page.evaluate("document.documentElement.scrollWidth")
        assert width == NARROW["width"]
        for place in (0, 400, 900):
            page.page.evaluate(f"scrollTo(0, {place})")
            box = page.page.locator("#play").bounding_box()
            assert box is not None
            assert 0 <= box["y"] <= NARROW["height"] - box["height"]
            assert box["height"] >= 44


def test_a_page_at_twice_the_size_needs_no_sideways_scroll(
    browser: Browser, folder: Path
) -> None:
    with opened(browser, folder, viewport=ZOOMED) as page:
        width = page.page.evaluate("document.documentElement.scrollWidth")
        assert width == ZOOMED["width"]


def test_paper_shows_every_pairing_and_no_player(page: Opened) -> None:
    page.page.emulate_media(media="print", color_scheme="dark")
    assert [a.is_visible() for a in page.page.locator("article").all()] == [True, True]
    assert not page.page.locator("#play").is_visible()
    ink = page.page.evaluate("getComputedStyle(document.documentElement).color")
    assert ink == "rgb(34, 33, 30)"
    for control in ("#loop-from", ".read-at", ".save", "#loop", ".reader"):
        assert not page.page.locator(control).first.is_visible(), control


def test_a_pairing_fits_on_two_sheets_with_its_curve_as_numbers(
    page: Opened, tmp_path: Path
) -> None:
    page.page.pdf(path=tmp_path / "page.pdf", format="A4")
    told = subprocess.run(
        ["pdftotext", "-layout", tmp_path / "page.pdf", "-"],
        check=True,
        capture_output=True,
        text=True,
    ).stdout
    sheets = told.rstrip("\f").split("\f")
    assert len(sheets) <= 4
    whole = " ".join(told.split())
    for words in (
        "At one level B has, against A: treble −10.8 dB at 3.79 kHz.",
        "What the knobs do",
        "Why B differs from A",
        "As they came out",
    ):
        assert whole.count(words) == 2, words
    # third octaves from 20 Hz to 20 kHz (ISO 266), of both pairings
    for hz in ("31.5", "1250", "20000"):
        assert len([line for line in told.splitlines() if hz in line.split()]) == 2
    for words in ("Loop", "Volume", "Save all points", "Read the curves"):
        assert words not in whole
