# SPDX-License-Identifier: GPL-3.0-or-later
"""A page as people use it: by key, by mouse, and while it plays."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from client_pages import comparison, page_of
from page_in_chromium import Opened, chromium, opened
from playwright.sync_api import Browser
from sounds import RATE

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
        ("D", "You hear the take through no circuit", "dry"),
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
    assert {"read-0", "loop-from", "loop-to"} <= set(reached)
    assert reached.count("SUMMARY") == 3
