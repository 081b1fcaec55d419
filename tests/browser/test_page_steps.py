# SPDX-License-Identifier: GPL-3.0-or-later
"""Hundreds of switches and turns of a loop: every frame is a clip's, and in step."""

from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from client_pages import comparison, page_of
from numpy.typing import NDArray
from page_in_chromium import IN_A_WORKLET, OFFLINE, Opened, chromium, opened
from playwright.sync_api import Browser
from sounds import RATE, read_integers

pytestmark = pytest.mark.browser

Samples = NDArray[np.float32]
FADE = RATE * 5 // 1000
SECONDS = 12
SWITCHES = 200
#: A browser's sound comes in quanta of so many frames (Web Audio API 1.1).
QUANTUM = 128


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as started:
        yield started


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("page")
    page_of(folder, comparison(folder, SECONDS * RATE))
    return folder


def samples(folder: Path, name: str) -> Samples:
    """Return a clip as 32-bit floats, which hold 24-bit integers exactly."""
    return (read_integers(folder / f"{name}.wav")[:, 0] / 2**23).astype(np.float32)


def start_of(heard: Samples, clip: Samples) -> int:
    """Return the frame of `heard` at which a clip began, by frames behind its fade."""
    wanted = clip[2 * FADE : 2 * FADE + 64]
    for place in np.flatnonzero(heard == wanted[0]):
        if np.array_equal(heard[place : place + 64], wanted):
            return int(place) - 2 * FADE
    raise AssertionError("the clip isn't heard")


def runs_of(heard: Samples, a: Samples, b: Samples) -> list[tuple[str, int, int]]:
    """Return which clip is heard from which frame to which, frame by frame.

    Between two runs lies a fade; every frame of it must be a mix of both.
    """
    which = np.where(heard == a, 1, 0) + np.where(heard == b, 2, 0)
    for k in np.flatnonzero(which == 3):  # by chance both clips have this value
        which[k] = which[k - 1]
    edges = np.flatnonzero(np.diff(np.concatenate([[-1], which, [-1]])))
    found: list[tuple[str, int, int]] = []
    for begin, end in pairwise(edges):
        if which[begin] in (1, 2) and end - begin > FADE:
            found.append(("ab"[which[begin] - 1], int(begin), int(end)))
    return found


def check_fades(
    heard: Samples, a: Samples, b: Samples, runs: list[tuple[str, int, int]]
) -> None:
    """Every frame between two runs is on the straight way from clip to clip."""
    clips = {"a": a, "b": b}
    for (now, _, end), (then, begin, _) in pairwise(runs):
        assert now != then
        start = end - 1  # the ramp's first factor changes nothing
        assert begin - start <= FADE + 1
        share = np.arange(begin - start) / FADE
        fade = slice(start, begin)
        ideal = clips[now][fade] * (1 - share) + clips[then][fade] * share
        np.testing.assert_allclose(heard[fade], ideal, atol=2e-7)


def test_two_hundred_switches_lose_and_repeat_no_frame(
    browser: Browser, folder: Path
) -> None:
    a, b = samples(folder, "a"), samples(folder, "b")
    step = 19 * QUANTUM  # 51 ms
    presses = [((12 + k) * step / RATE, "ba"[k % 2]) for k in range(SWITCHES)]
    with opened(browser, folder, f"window.seconds = {SECONDS};{OFFLINE}") as page:
        page.wait_until_ready()
        page.full_volume()
        page.start_offline()
        heard = page.rendered(*presses)
        assert page.said == []
    start = start_of(heard, a)
    heard = heard[start + FADE :]
    a, b = (clip[FADE : FADE + len(heard)] for clip in (a, b))
    runs = runs_of(heard, a, b)
    assert [which for which, _, _ in runs] == ["a", *("ba" * (SWITCHES // 2))]
    check_fades(heard, a, b, runs)
    assert runs[-1][2] == len(heard)


def really_switched(browser: Browser, folder: Path) -> tuple[Samples, list[float]]:
    """Switch while it plays; return what was heard, and what each press took in ms."""
    with opened(browser, folder, IN_A_WORKLET, bypass_csp=True) as page:
        page.wait_until_ready()
        page.full_volume()
        page.page.keyboard.press("Space")
        page.wait_for("You hear A")
        took_ms = page.page.evaluate(
            """async (count) => {
              const took = [];
              for (let k = 0; k < count; k++) {
                await new Promise((done) => setTimeout(done, 40));
                const key = { key: "ba"[k % 2], bubbles: true };
                const start = performance.now();
                document.dispatchEvent(new KeyboardEvent("keydown", key));
                took.push(performance.now() - start);
              }
              return took;
            }""",
            SWITCHES,
        )
        page.page.wait_for_timeout(300)
        heard = page.recorded()
        assert page.said == []
    return heard, took_ms


#: Where a busy machine holds up the sound's thread, two switches fall together.
TRIES = 4


def test_switches_while_it_really_plays_lose_no_frame_and_take_no_time(
    browser: Browser, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Recorded in a worklet on the sound's own thread, which misses nothing."""
    wanted = ["a", *("ba" * (SWITCHES // 2))]
    for left in reversed(range(TRIES)):
        heard, took_ms = really_switched(browser, folder)
        a, b = samples(folder, "a"), samples(folder, "b")
        heard = heard[start_of(heard, a) + FADE :]
        count = min(len(heard), len(a) - FADE)
        heard, a, b = heard[:count], a[FADE : FADE + count], b[FADE : FADE + count]
        runs = runs_of(heard, a, b)
        if [which for which, _, _ in runs] == wanted:
            break
        assert left, f"{len(runs)} runs at the last try"
    check_fades(heard, a, b, runs)
    assert runs[-1][2] == len(heard)
    median_ms = float(np.median(took_ms))
    with capsys.disabled():
        print(f"\n{SWITCHES} switches, {median_ms:.2f} ms each, no frame lost")
    # 16.7 ms is a picture at 60 a second: pressing takes a small part of one
    assert median_ms < 4


def looped(page: Opened, begin: float, end: float) -> None:
    """Choose a part by the page's fields."""
    page.page.locator("#to").fill(str(end))
    page.page.locator("#from").fill(str(begin))
    page.page.get_by_label("play a part over and over").check()
    page.leave_fields()


def test_switches_inside_a_loop_and_at_its_seam_are_the_clips(
    browser: Browser, folder: Path
) -> None:
    a, b = samples(folder, "a"), samples(folder, "b")
    begin, end = round(1.3 * RATE), round(1.7 * RATE)
    turn = end - begin
    count = 30
    # 0.08 s apart, against turns of 0.4 s: also in the fade at the seam
    presses = [(0.192 + 0.08 * k, "ba"[k % 2]) for k in range(count)]
    with opened(browser, folder, OFFLINE) as page:
        page.wait_until_ready()
        page.full_volume()
        looped(page, 1.3, 1.7)
        page.start_offline()
        heard = page.rendered(*presses)
        assert page.said == []
    start = start_of(heard, a[begin:end])
    heard = heard[start + FADE :]
    dip = np.ones(turn, np.float32)
    dip[:FADE] = np.arange(FADE) / FADE
    dip[-FADE:] = dip[:FADE][::-1]
    turns = len(heard) // turn + 2
    tiled = [
        np.tile(clip[begin:end] * dip, turns)[FADE : FADE + len(heard)]
        for clip in (a, b)
    ]
    is_a, is_b = (np.abs(heard - clip) < 2e-7 for clip in tiled)
    switching = ~(is_a | is_b)
    # outside of the fades of the switches every frame is A's or B's, seams included
    edges = np.diff(np.concatenate([[0], switching.astype(int), [0]]))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    spans = [(s, e) for s, e in zip(starts, ends, strict=True)]
    assert sum(e - s for s, e in spans) <= count * FADE
    assert turns > 6
    assert is_a.sum() > RATE // 2
    assert is_b.sum() > RATE // 2
    for s, e in spans:
        late = min(abs(s + start + FADE - t * RATE) for t, _ in presses)
        assert late < 0.03 * RATE, (s, e)


def test_a_part_that_is_chosen_while_it_plays_goes_on_inside_it(
    browser: Browser, folder: Path
) -> None:
    a = samples(folder, "a")
    begin, end = round(5.0 * RATE), round(5.5 * RATE)
    with opened(browser, folder, IN_A_WORKLET, bypass_csp=True) as page:
        page.wait_until_ready()
        page.full_volume()
        page.page.keyboard.press("Space")
        page.wait_for("You hear A")
        page.page.wait_for_timeout(300)
        looped(page, 5.0, 5.5)
        page.page.wait_for_timeout(1500)
        heard = page.recorded()
    start = start_of(heard, a[begin:end])
    part = a[begin:end]
    inside = slice(2 * FADE, len(part) - FADE)
    for turn in (0, 1):
        place = start + turn * len(part)
        got = heard[place : place + len(part)]
        np.testing.assert_array_equal(got[inside], part[inside])
