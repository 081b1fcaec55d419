# SPDX-License-Identifier: GPL-3.0-or-later
"""What comes out of a page is the clip, frame by frame, and A and B keep step."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from client_pages import comparison, page_of
from numpy.typing import NDArray
from page_in_chromium import OFFLINE, RECORDED, Opened, chromium, opened
from playwright.sync_api import Browser
from sounds import RATE, read_integers

pytestmark = pytest.mark.browser

FADE = RATE * 5 // 1000
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
def offline(browser: Browser, folder: Path) -> Iterator[Opened]:
    with opened(browser, folder, OFFLINE) as page:
        page.wait_until_ready()
        yield page
        assert page.said == []


def samples(folder: Path, name: str) -> NDArray[np.float32]:
    """Return a clip as 32-bit floats, which hold 24-bit integers exactly."""
    return (read_integers(folder / f"{name}.wav")[:, 0] / 2**23).astype(np.float32)


def start_of(heard: NDArray[np.float32], clip: NDArray[np.float32]) -> int:
    """Return the frame of `heard` at which a clip began, by frames behind its fade."""
    for start in range(RATE // 10):
        place = start + 2 * FADE
        if np.array_equal(heard[place : place + 64], clip[2 * FADE : 2 * FADE + 64]):
            return start
    raise AssertionError("the clip isn't heard")


def test_what_is_heard_is_the_clip_behind_a_short_fade(
    offline: Opened, folder: Path
) -> None:
    offline.full_volume()
    offline.start_offline()
    heard, a = offline.rendered(), samples(folder, "a")
    start = start_of(heard, a)
    assert not heard[:start].any()
    np.testing.assert_array_equal(heard[start + FADE :], a[FADE : len(heard) - start])
    ramp = np.arange(FADE) / FADE
    np.testing.assert_allclose(heard[start : start + FADE], a[:FADE] * ramp, atol=2e-7)


def test_volume_starts_twelve_decibels_down(offline: Opened, folder: Path) -> None:
    offline.start_offline()
    heard = offline.rendered()
    a = samples(folder, "a") * 10 ** (-12 / 20)
    start = int(np.flatnonzero(heard)[0])
    part = slice(start + FADE, None)
    # the fade's first factor is 0, so the first frame that is heard is the second
    best = min(
        float(np.abs(heard[part] - a[FADE + k : FADE + k + len(heard[part])]).max())
        for k in (0, 1, 2)
    )
    assert best < 1e-7


def test_switching_keeps_step_and_crosses_in_five_milliseconds(
    offline: Opened, folder: Path
) -> None:
    offline.full_volume()
    offline.start_offline()
    heard = offline.rendered((0.8, "b"), (1.6, "d"), (2.4, "a"))
    clips = {name: samples(folder, name) for name in ("a", "b", "dry")}
    start = start_of(heard, clips["a"])
    place = start + FADE
    for now, then, seconds in (
        ("a", "b", 0.8),
        ("b", "dry", 1.6),
        ("dry", "a", 2.4),
    ):
        before, after = (
            np.concatenate([np.zeros(start, np.float32), clips[name]])
            for name in (now, then)
        )
        alike = heard[place:] == before[place : len(heard)]
        switch = place + int(np.argmin(alike)) - 1  # the ramp's first factor changes 0
        assert 0 <= switch - seconds * RATE <= 0.02 * RATE
        np.testing.assert_array_equal(heard[place:switch], before[place:switch])
        share = np.arange(FADE) / FADE
        fade = slice(switch, switch + FADE)
        ideal = before[fade] * (1 - share) + after[fade] * share
        np.testing.assert_allclose(heard[fade], ideal, atol=2e-7)
        place = switch + FADE + 1
        until = place + RATE // 2
        np.testing.assert_array_equal(heard[place:until], after[place:until])


def test_as_they_are_turns_the_softer_side_down(offline: Opened, folder: Path) -> None:
    # A was turned down by 2 dB to match and the dry take by 6: as they came out, the
    # dry take is the loudest and stays, A lies 4 dB below it and B 6 dB
    offline.full_volume()
    offline.page.get_by_label("as they are").check()
    offline.start_offline()
    heard = offline.rendered((0.8, "b"), (1.6, "d"), (2.4, "at one level"))
    a, b, dry = (samples(folder, name) for name in ("a", "b", "dry"))
    start = next(
        k
        for k in range(RATE // 10)
        if abs(heard[k + 600] - a[600] * 10 ** (-4 / 20)) < 1e-7
        and abs(heard[k + 601] - a[601] * 10 ** (-4 / 20)) < 1e-7
    )
    for clip, gain_db, seconds in (
        (a, -4, 0.4),
        (b, -6, 1.2),
        (dry, 0, 2.0),
        (dry, 0, 2.6),
    ):
        at = round(seconds * RATE)
        wanted = clip[at - start : at - start + 4800] * 10 ** (gain_db / 20)
        np.testing.assert_allclose(heard[at : at + 4800], wanted, atol=1e-7)


def test_a_place_in_the_take_is_met_to_the_frame(offline: Opened, folder: Path) -> None:
    offline.full_volume()
    offline.page.locator("#position").fill("1.7")
    offline.leave_fields()
    offline.start_offline()
    heard, a = offline.rendered(), samples(folder, "a")[round(1.7 * RATE) :]
    start = start_of(heard, a)
    end = start + len(a)
    np.testing.assert_array_equal(heard[start + FADE : end], a[FADE:])
    assert not heard[end:].any()


def test_a_loop_turns_to_the_frame_and_without_a_click(
    offline: Opened, folder: Path
) -> None:
    offline.full_volume()
    offline.page.get_by_label("play a part over and over").check()
    offline.page.locator("#from").fill("0.3")
    offline.page.locator("#to").fill("0.7")
    offline.page.locator("#to").press("Tab")
    offline.leave_fields()
    offline.start_offline()
    heard, a = offline.rendered((1.6, "b")), samples(folder, "a")
    part = a[round(0.3 * RATE) : round(0.7 * RATE)]
    start = start_of(heard, part)
    turns = np.tile(part, 8)
    dip = np.ones(len(part))
    dip[:FADE] = np.arange(FADE) / FADE
    dip[-FADE:] = dip[:FADE][::-1]
    wanted = (turns * np.tile(dip, 8))[: round(1.55 * RATE) - start]
    got = heard[start : start + len(wanted)]
    # at the start, the run's own fade comes on top of the dip
    np.testing.assert_allclose(got[FADE:], wanted[FADE:], atol=2e-7)
    is_whole = np.tile(dip, 8)[: len(wanted)] == 1
    np.testing.assert_array_equal(got[is_whole], turns[: len(wanted)][is_whole])
    b = np.tile(samples(folder, "b")[round(0.3 * RATE) : round(0.7 * RATE)], 8)
    later = slice(round(2.0 * RATE), round(2.0 * RATE) + 2000)
    shifted = np.concatenate([np.zeros(start), b * np.tile(dip, 8)])
    np.testing.assert_allclose(heard[later], shifted[later], atol=2e-7)


def really_played(browser: Browser, folder: Path) -> NDArray[np.float32]:
    """Play A, switch to B, and return what the sound card was given from A's start."""
    with opened(browser, folder, RECORDED) as page:
        page.wait_until_ready()
        page.full_volume()
        page.page.locator("#play").click()
        page.wait_for("You hear A")
        page.page.wait_for_timeout(700)
        page.page.keyboard.press("b")
        page.page.wait_for_timeout(900)
        page.page.locator("#play").click()
        page.page.wait_for_timeout(700)  # the recorder hands over 0.34 s at a time
        heard = page.recorded()
    first = int(np.flatnonzero(heard)[0]) - 8
    return heard[first + start_of(heard[first:], samples(folder, "a")) :]


#: A busy machine may drop sound while it plays; it is played again then.
TRIES = 4


def test_really_played_clips_are_the_rendered_ones_and_keep_step(
    browser: Browser, folder: Path
) -> None:
    a, b = samples(folder, "a"), samples(folder, "b")
    for left in reversed(range(TRIES)):
        heard = really_played(browser, folder)
        is_a = heard[FADE : 2 * RATE] == a[FADE : 2 * RATE]
        switch = FADE + int(np.argmin(is_a))
        after = slice(switch + FADE, switch + FADE + RATE // 2)
        if switch > RATE // 2 and np.array_equal(heard[after], b[after]):
            break
        assert left, "dropped sound, or a switch out of step, at every try"
    print(f"\nswitched after {switch / RATE:.3f} s, every frame in step")
