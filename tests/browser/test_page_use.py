# SPDX-License-Identifier: GPL-3.0-or-later
"""A page as people meet it: by key and mouse, without scripts, on small screens."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from client_pages import comparison, curves_of, page_of
from page_in_chromium import OFFLINE, Opened, chromium, opened
from playwright.sync_api import Browser
from sounds import RATE

from tonebench.cli import run
from tonebench.report import client
from tonebench.report.client import write_page

pytestmark = pytest.mark.browser

NARROW: Any = {"width": 360, "height": 740}
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
        patch.setattr(client, "LARGEST_PAGE_BYTES", 1000)
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
        write_page(folder, manifest, curves_of(manifest))
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


def test_a_carrier_that_is_missing_is_told_by_name(
    browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(client, "LARGEST_PAGE_BYTES", 1000)
    page_of(tmp_path, comparison(tmp_path, 4800))
    (tmp_path / "clip-2.js").unlink()
    with opened(browser, tmp_path) as page:
        page.page.get_by_role("button", name="Play").click()
        page.wait_for("clip-2.js is missing beside this page")
        assert page.page.locator("#play").inner_text() == "Play"


# ---- Keys, buttons and fields ----


def test_nothing_plays_before_somebody_presses_play(page: Opened) -> None:
    assert page.now == "Nothing plays yet."
    assert page.page.locator("#loud").inner_text() == "−12 dB"
    caution = page.page.locator("#caution")
    assert "Turn your listening level down" in caution.inner_text()
    page.page.keyboard.press("Space")
    page.wait_for("You hear A, at one level.")
    assert not caution.is_visible()


def test_a_computer_without_a_sound_output_is_told_so(
    browser: Browser, folder: Path
) -> None:
    # as a browser does that finds none: the sound never starts, and no error comes
    mute = "AudioContext.prototype.resume = () => new Promise(() => {});"
    mute += "Object.defineProperty(AudioContext.prototype, 'state', { value: '' });"
    with opened(browser, folder, mute) as page:
        page.wait_until_ready()
        page.page.keyboard.press("Space")
        page.wait_for("Getting ready")
        page.page.keyboard.press("b")
        page.wait_for("No sound yet")
        page.page.keyboard.press("Space")
        page.wait_for("Paused; B comes next.")


def test_keys_play_pause_and_switch(page: Opened) -> None:
    keyboard = page.page.keyboard
    keyboard.press("Space")
    page.wait_for("You hear A")
    for key, words, letter in (
        ("b", "You hear B", "B"),
        ("D", "You hear the dry take", "dry"),
        ("a", "You hear A", "A"),
    ):
        keyboard.press(key)
        page.wait_for(words)
        assert pressed(page) == [letter]
    keyboard.press("Space")
    page.wait_for("Paused; A comes next.")
    assert page.page.locator("#play").inner_text() == "Play"


def test_buttons_do_what_keys_do_and_leave_space_to_the_player(page: Opened) -> None:
    page.page.get_by_role("button", name="Play").click()
    page.wait_for("You hear A")
    page.page.get_by_role("button", name="B", exact=True).click()
    page.wait_for("You hear B")
    page.page.keyboard.press("Space")
    page.wait_for("Paused; B comes next.")


def test_a_focused_button_keeps_space_for_itself(page: Opened) -> None:
    page.page.keyboard.press("Space")
    page.wait_for("You hear A")
    page.page.get_by_role("button", name="B", exact=True).focus()
    page.page.keyboard.press("Space")
    page.wait_for("You hear B")


def test_space_plays_and_does_not_scroll(browser: Browser, folder: Path) -> None:
    with opened(browser, folder, viewport=NARROW) as page:
        page.page.keyboard.press("Space")
        page.wait_for("You hear A")
        page.page.wait_for_timeout(200)
        assert page.page.evaluate("scrollY") == 0


def test_letters_with_a_modifier_or_in_a_field_are_not_the_player_s(
    page: Opened,
) -> None:
    page.page.keyboard.press("Control+b")
    page.page.locator("#from").press("b")
    page.page.locator("#from").press("Space")
    assert pressed(page) == ["A"]
    assert page.now == "Nothing plays yet."


def test_a_pairing_is_chosen_while_its_sound_goes_on(page: Opened) -> None:
    page.page.keyboard.press("Space")
    page.wait_for("You hear A")
    page.page.keyboard.press("d")
    page.page.wait_for_timeout(500)
    page.page.get_by_label("turned up").check()
    page.wait_for("You hear A")  # this one has no dry take
    articles = page.page.locator("article").all()
    assert [article.is_visible() for article in articles] == [False, True]
    assert not page.page.get_by_role("button", name="dry").is_visible()
    assert float(page.page.locator("#position").input_value()) >= 0.4
    assert "B is" not in page.page.locator("#level-hint").inner_text()


def test_pause_keeps_the_place_and_the_end_goes_back_to_the_start(
    page: Opened,
) -> None:
    position = page.page.locator("#position")
    page.page.keyboard.press("Space")
    page.page.wait_for_timeout(600)
    page.page.keyboard.press("Space")
    page.wait_for("Paused")
    assert 0.2 <= float(position.input_value()) <= 2
    position.fill("3.6")
    page.page.keyboard.press("Space")  # on a slider, Space is the player's
    page.wait_for("That was the whole take.")
    assert position.input_value() == "0"
    assert page.page.locator("#where").inner_text() == "0.0 of 4.0 s"


def test_a_loop_goes_on_past_its_end(page: Opened) -> None:
    page.page.get_by_label("play a part over and over").check()
    page.page.locator("#from").fill("3.5")
    page.page.locator("#to").fill("9")
    page.page.locator("#to").press("Tab")
    assert page.page.locator("#to").input_value() == "4.0"
    page.leave_fields()
    page.page.keyboard.press("Space")
    page.page.wait_for_timeout(1500)
    assert page.now == "You hear A, at one level."
    assert 3.5 <= float(page.page.locator("#position").input_value()) <= 4


def test_a_part_is_marked_where_the_sound_is(page: Opened) -> None:
    page.page.locator("#position").fill("1.2")
    page.page.get_by_role("button", name="from here").click()
    page.page.locator("#position").fill("2.4")
    page.page.get_by_role("button", name="to here").click()
    assert page.page.locator("#from").input_value() == "1.2"
    assert page.page.locator("#to").input_value() == "2.4"
    page.page.locator("#to").fill("0.1")
    page.page.locator("#to").press("Tab")
    assert page.page.locator("#to").input_value() == "1.3"


def test_as_they_are_is_told(page: Opened) -> None:
    hint = page.page.locator("#level-hint").inner_text()
    assert hint == "As they are, B is 2.0 dB below A."
    page.page.get_by_label("as they are").check()
    page.leave_fields()
    page.page.keyboard.press("Space")
    page.wait_for("You hear A, as it is, not matched.")


def test_every_control_is_reached_by_tab_and_shows_it(page: Opened) -> None:
    reached = []
    for _ in range(40):
        page.page.keyboard.press("Tab")
        told = page.page.evaluate(
            """() => {
              const at = document.activeElement, style = getComputedStyle(at);
              const name = at.id || at.name || at.dataset.voice || at.tagName;
              return [name, style.outlineStyle, parseFloat(style.outlineWidth)];
            }"""
        )
        if told[0] == "BODY":
            break
        reached.append(told[0])
        assert told[1] != "none", told
        assert told[2] >= 2, told
    wanted = "pairing play a b dry position level loop from from-here to to-here volume"
    assert set(wanted.split()) <= set(reached)
    assert reached.count("SUMMARY") == 2


# ---- Eyes and ears ----


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [{"width": 1280, "height": 860}, NARROW])
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


def test_paper_shows_every_pairing_and_no_player(page: Opened) -> None:
    page.page.emulate_media(media="print", color_scheme="dark")
    assert [a.is_visible() for a in page.page.locator("article").all()] == [True, True]
    assert not page.page.locator("#play").is_visible()
    ink = page.page.evaluate("getComputedStyle(document.documentElement).color")
    assert ink == "rgb(34, 33, 30)"
