# SPDX-License-Identifier: GPL-3.0-or-later
"""The page's blind test: the same order and words as the terminal's, and fair sound."""

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from blind_folders import PLAN
from client_pages import comparison, page_of
from page_in_chromium import OFFLINE, Opened, chromium, opened
from playwright.sync_api import Browser
from sounds import RATE, read_integers

from tonebench.compare.blind import canonical, check_of, draw_order, seal_of
from tonebench.compare.blind_pool import pool
from tonebench.compare.blind_result import counted, read_result
from tonebench.compare.blind_session import Session
from tonebench.compare.blind_words import WORDS, result_words
from tonebench.report.client_blind import blind_script

pytestmark = pytest.mark.browser

SECONDS = 4
SEED = "00112233445566778899aabbccddeeff"
#: A browser whose random bytes are known.
SEEDED = f"""
crypto.getRandomValues = (bytes) => {{
  bytes.set("{SEED}".match(/../g).map((pair) => parseInt(pair, 16)));
  return bytes;
}};
"""
NARROW: Any = {"width": 360, "height": 740}


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
    with opened(browser, folder, SEEDED) as page:
        page.wait_until_ready()
        yield page
        assert page.said == []


def begin(
    page: Opened, kind: str = "which", trials: int = 6, listener: str = ""
) -> None:
    page.page.locator(f"[name=blind-kind][value={kind}]").check()
    page.page.get_by_label("Number of trials").fill(str(trials))
    page.page.get_by_label("Who listens").fill(listener)
    page.page.get_by_role("button", name="Settle it and begin").click()
    page.page.get_by_role("heading", name=f"Trial 1 of {trials}").wait_for()


def answer(page: Opened, key: str, voices: str = "x") -> None:
    """Listen to some voices for a moment, and answer."""
    before = page.page.locator("#blind-trial").inner_text()
    for voice in voices:
        page.page.keyboard.press(voice)
        page.page.wait_for_timeout(300)
    for _ in range(100):  # a busy machine may take its time until sound is there
        page.page.keyboard.press(key)
        if page.page.locator("#blind-end").is_visible():
            return
        if page.page.locator("#blind-trial").inner_text() != before:
            return
        page.page.wait_for_timeout(100)
    raise AssertionError(page.page.locator("#blind-now").inner_text())


def saved(page: Opened, path: Path) -> dict[str, Any]:
    """Save the answers by the page's link; return what the file holds."""
    with page.page.expect_download() as download:
        page.page.get_by_role("link", name="Save the answers").click()
    download.value.save_as(path)
    values = json.loads(path.read_text(encoding="utf-8"))
    assert isinstance(values, dict)
    return values


# ---- The same numbers as the terminal's ----


@pytest.fixture(scope="module")
def drawn(browser: Browser) -> Iterator[Any]:
    """Return a caller of the functions that the page's script counts with."""
    source = blind_script().partition("const blindAt")[0]  # the part that counts
    page = browser.new_page()
    yield lambda call, *given: page.evaluate(
        f"(given) => {{ {source}; return ({call})(...given); }}", list(given)
    )
    page.close()


def test_orders_seals_and_checks_are_python_s(drawn: Any) -> None:
    for k in range(40):
        seed = f"{k * 7919:032x}"
        assert tuple(drawn("drawOrder", seed, 100)) == draw_order(seed, 100)
        plan = replace(PLAN, listener='Åse "⅓" \\ 𝄞'[k % 9 :])
        assert drawn("canonical", plan.as_json()) == canonical(plan.as_json())
        seal = seal_of(seed, plan)
        assert drawn("sealOf", seed, plan.as_json()) == seal
        assert drawn("checkOf", seed, seal, [1, 2, 1]) == check_of(
            seed, seal, (1, 2, 1)
        )


@pytest.mark.parametrize("kind", ["which", "prefer"])
@pytest.mark.parametrize("level", [0.05, 0.01])
def test_results_and_their_words_are_python_s(
    drawn: Any, kind: str, level: float
) -> None:
    call = """(plan, all, words) => all.map((hits) => {
      const result = countedOf(plan, hits);
      return [result, resultWords(plan, result, words)];
    })"""
    for trials in (8, 10, 16, 22, 50, 100):
        plan = replace(PLAN, kind=kind, level=level, trials=trials)
        half = np.random.default_rng(trials).permutation(trials)
        hits = [tuple(bool(k < right) for k in half) for right in range(trials + 1)]
        found = drawn(call, plan.as_json(), hits, WORDS)
        for (result, words), its in zip(found, hits, strict=True):
            wanted = counted(plan, its)
            power, known = result.pop("power"), wanted.pop("power")
            assert result == pytest.approx(wanted, rel=1e-14, abs=1e-17)
            assert result["is_shown"] is wanted["is_shown"]
            for one, other in zip(power, known, strict=True):
                assert one == pytest.approx(other, rel=1e-14)
            assert words == result_words("Ada", kind, {**wanted, "power": known})


# ---- A test from its start to its end ----


def test_a_test_is_settled_sat_and_told_as_python_tells_it(
    page: Opened, tmp_path: Path
) -> None:
    begin(page, trials=6, listener="Ada")
    seal = page.page.locator("#blind-seal").inner_text()
    keys = "121122"
    for key in keys:
        assert not page.page.locator("#blind-words").inner_text()
        answer(page, key)
    path = tmp_path / "page.json"
    values = saved(page, path)
    session = read_result(path)
    assert values["seal"] == session.seal == seal
    assert session.seed == SEED
    assert session.answers == tuple(map(int, keys))
    assert tuple(values["order"]) == draw_order(SEED, 6)
    words = result_words("Ada", "which", counted(session.plan, session.hits))
    assert page.page.locator("#blind-words p").all_inner_texts() == words
    assert values["words"] == words
    assert values["played_by"] == "page"
    assert values["levels"] == {"by": "loudness", "a_db": -23.0, "b_db": -23.0}
    # a result of the page's and one of the terminal's go together
    other = Session(replace(session.plan, listener="Ben"), "ab" * 16, (1,) * 6)
    assert pool([session, other])["trials"] == 12


def test_a_preference_is_asked_by_first_and_second(
    page: Opened, tmp_path: Path
) -> None:
    begin(page, "prefer", 6)
    assert page.page.get_by_role("button", name="Rather the first").is_visible()
    for key in "112212":
        answer(page, key, "fs")
    saved(page, tmp_path / "p.json")
    session = read_result(tmp_path / "p.json")
    words = result_words("", "prefer", counted(session.plan, session.hits))
    assert page.page.locator("#blind-words p").all_inner_texts() == words


def test_buttons_do_what_keys_do(page: Opened) -> None:
    begin(page)
    page.page.get_by_role("button", name="Play", exact=True).click()
    page.wait_for("You hear the hidden one.")
    page.page.wait_for_timeout(300)
    page.page.locator("#blind-voices").get_by_label("B", exact=True).check()
    page.wait_for("You hear B.")
    page.page.wait_for_timeout(300)
    page.page.get_by_role("button", name="The hidden one is A").click()
    page.page.get_by_role("heading", name="Trial 2 of 6").wait_for()
    focused = "document.activeElement.id"
    assert page.page.evaluate(focused) == "blind-trial"  # read out by screen readers
    page.page.keyboard.press("Space")
    page.wait_for("You hear the hidden one.")
    page.page.keyboard.press("Space")
    page.wait_for("Paused.")


def test_an_answer_counts_only_once_the_hidden_one_was_heard(page: Opened) -> None:
    begin(page)
    page.page.keyboard.press("1")
    page.wait_for("Listen to the hidden one first.")
    page.page.keyboard.press("a")
    page.page.wait_for_timeout(400)
    page.page.keyboard.press("2")
    page.wait_for("Listen to the hidden one first.")
    assert page.page.locator("#blind-trial").inner_text() == "Trial 1 of 6"


def test_while_a_test_goes_on_nothing_else_of_the_page_plays_or_is_seen(
    page: Opened,
) -> None:
    page.page.locator("body").click(position={"x": 2, "y": 2})
    page.page.keyboard.press("Space")
    page.wait_for("You hear A")
    begin(page)
    assert page.page.locator("#play").inner_text() == "Play"
    assert not page.page.locator(".player").is_visible()
    assert not page.page.locator(".choice").is_visible()
    page.page.keyboard.press("b")
    page.page.get_by_role("button", name="Stop for now").click()
    pressed = page.page.locator(".voice[aria-pressed=true]").inner_text()
    assert pressed.strip() == "A"


@pytest.mark.parametrize(
    ("kind", "trials", "told"),
    [
        ("which", "4", "from 5 to 100"),
        ("which", "101", "from 5 to 100"),
        ("which", "", "from 5 to 100"),
        ("prefer", "4", "from 6 to 100"),
        ("prefer", "7", "even for a preference"),
    ],
)
def test_a_number_of_trials_that_can_t_be_is_told(
    page: Opened, kind: str, trials: str, told: str
) -> None:
    page.page.evaluate("document.getElementById('blind-form').noValidate = true")
    page.page.locator(f"[name=blind-kind][value={kind}]").check()
    page.page.get_by_label("Number of trials").fill(trials)
    page.page.get_by_role("button", name="Settle it and begin").click()
    assert told in page.page.locator("#blind-fault").inner_text()
    assert not page.page.locator("#blind-sit").is_visible()


# ---- Kept, or not ----


def test_a_page_that_was_closed_goes_on_where_it_was(
    page: Opened, tmp_path: Path
) -> None:
    begin(page, trials=5, listener="Ada")
    assert "Every answer is kept" in page.page.locator("#blind-kept").inner_text()
    seal = page.page.locator("#blind-seal").inner_text()
    answer(page, "1")
    answer(page, "2")
    page.page.reload()
    page.wait_until_ready()
    told = page.page.locator("#blind-open").inner_text()
    assert "Ada's test is open: 2 of 5 trials are answered." in told
    page.page.get_by_role("button", name="Go on with it").click()
    assert page.page.locator("#blind-trial").inner_text() == "Trial 3 of 5"
    assert page.page.locator("#blind-seal").inner_text() == seal
    for key in "222":
        answer(page, key)
    assert saved(page, tmp_path / "p.json")["answers"] == [1, 2, 2, 2, 2]
    page.page.reload()
    assert not page.page.locator("#blind-open").is_visible()


def test_what_was_changed_in_the_browser_s_store_no_longer_counts(
    page: Opened,
) -> None:
    begin(page)
    answer(page, "1")
    store = page.page.evaluate("Object.values(localStorage).join()")
    assert SEED not in store
    page.page.evaluate(
        """() => {
          const [key] = Object.keys(localStorage);
          const kept = JSON.parse(localStorage.getItem(key));
          kept.answers = [2];
          localStorage.setItem(key, JSON.stringify(kept));
        }"""
    )
    page.page.reload()
    assert "was changed since" in page.page.locator("#blind-open").inner_text()
    assert not page.page.get_by_role("button", name="Go on with it").is_visible()
    page.page.get_by_role("button", name="Drop it").click()
    assert page.page.locator("#blind-form").is_visible()


def test_a_browser_that_keeps_nothing_says_so_and_goes_on(
    browser: Browser, folder: Path
) -> None:
    script = """Object.defineProperty(window, "localStorage", {
      get() { throw new DOMException("no", "SecurityError"); } });"""
    with opened(browser, folder, SEEDED + script) as page:
        page.wait_until_ready()
        begin(page, trials=5)
        kept = page.page.locator("#blind-kept").inner_text()
        assert "This browser keeps nothing for this page" in kept
        answer(page, "1")
        page.page.get_by_role("button", name="Stop for now").click()
        page.page.get_by_role("button", name="Go on with it").click()
        assert page.page.locator("#blind-trial").inner_text() == "Trial 2 of 5"
        for key in "1111":
            answer(page, key)
        assert "of 5 right" in page.page.locator("#blind-words").inner_text()
        assert page.said == []


def test_each_pairing_has_its_own_test_and_unequal_levels_have_none(
    browser: Browser, tmp_path: Path
) -> None:
    manifest = comparison(tmp_path, RATE)
    # a second long: by RMS, whose levels in this manifest are as the gains say
    manifest["pairings"][1]["clips"]["b"]["gain_db"] += 0.2
    page_of(tmp_path, manifest)
    with opened(browser, tmp_path) as page:
        level = page.page.locator("#blind-level")
        assert level.inner_text().startswith("RMS: A ")
        page.page.get_by_label("turned up").check()
        assert level.inner_text() == (
            "No blind test of this pairing: B is 0.20 dB above A by RMS, and a blind "
            "test allows 0.1 dB; run tonebench compare again with --match rms."
        )
        assert not page.page.locator("#blind-form").is_visible()


# ---- What is heard ----


@pytest.mark.parametrize(("trial", "drawn"), [*enumerate(draw_order(SEED, 4), 1)])
def test_the_hidden_one_is_a_or_b_to_the_last_bit_as_the_order_says(
    browser: Browser, folder: Path, trial: int, drawn: int
) -> None:
    keys = "Object.assign(steps, { x: key('x') });"
    with opened(browser, folder, SEEDED + OFFLINE + keys) as page:
        page.wait_until_ready()
        begin(page, trials=6)
        # the sound stands still in this browser, so the trials before are skipped by
        # a session that was answered so far
        if trial > 1:
            answer_so_far(page, trial - 1)
        page.page.locator("#blind-volume").press("End")
        page.page.locator("#blind-trial").click()
        page.page.keyboard.press("Space")
        page.wait_for("You hear the hidden one.")
        heard = page.rendered((0.8, "a"), (1.6, "b"), (2.4, "x"))
        clips = {
            letter: (read_integers(folder / f"{letter}.wav")[:, 0] / 2**23).astype(
                np.float32
            )
            for letter in "ab"
        }
        hidden = "ab"[drawn - 1]
        start = start_in(heard, clips[hidden])
        for letter, seconds in ((hidden, 0.4), ("a", 1.2), ("b", 2.0), (hidden, 2.7)):
            at = slice(round(seconds * RATE), round(seconds * RATE) + 4800)
            wanted = clips[letter][at.start - start : at.stop - start]
            np.testing.assert_array_equal(heard[at], wanted)


def answer_so_far(page: Opened, count: int) -> None:
    """Put so many answers into the kept session, as the page would have kept them."""
    (key, text) = page.page.evaluate("Object.entries(localStorage)[0]")
    values = json.loads(text)
    answers = [1] * count
    values["answers"] = answers
    values["check"] = check_of(SEED, values["seal"], tuple(answers))
    page.page.evaluate(
        "([key, text]) => localStorage.setItem(key, text)", [key, json.dumps(values)]
    )
    page.page.get_by_role("button", name="Stop for now").click()
    page.page.get_by_role("button", name="Go on with it").click()


def start_in(heard: Any, clip: Any) -> int:
    """Return the frame of `heard` at which a clip began."""
    for start in range(RATE // 10):
        if np.array_equal(heard[start + 9600 : start + 9664], clip[9600:9664]):
            return start
    raise AssertionError("the clip isn't heard")


# ---- For everybody ----


@pytest.mark.parametrize(
    "look",
    [
        {"color_scheme": "light"},
        {"color_scheme": "dark"},
        {"viewport": NARROW, "color_scheme": "light"},
    ],
    ids=["light", "dark", "narrow"],
)
def test_every_stage_is_clean_to_axe_and_fits_its_width(
    browser: Browser, folder: Path, look: dict[str, Any]
) -> None:
    def check() -> None:
        found = Axe().run(page.page).response["violations"]
        assert [(v["id"], [n["html"] for n in v["nodes"]]) for v in found] == []
        wide = "document.documentElement.scrollWidth <= innerWidth"
        assert page.page.evaluate(wide)

    with opened(browser, folder, SEEDED, **look) as page:
        page.wait_until_ready()
        check()
        begin(page, trials=5)
        check()
        for _ in range(5):
            answer(page, "1")
        page.page.get_by_text("The answers as text").click()
        check()


def test_a_test_is_sat_by_keyboard_alone_and_every_control_shows_its_focus(
    page: Opened,
) -> None:
    page.page.locator("#blind-trials").focus()
    page.page.keyboard.press("Enter")
    page.page.get_by_role("heading", name="Trial 1 of 16").wait_for()
    reached = []
    for _ in range(12):
        page.page.keyboard.press("Tab")
        told = page.page.evaluate(
            """() => {
              const at = document.activeElement, style = getComputedStyle(at);
              const width = parseFloat(style.outlineWidth);
              return [at.id || at.name, style.outlineStyle, width];
            }"""
        )
        reached.append(told[0])
        if told[0]:
            assert told[1] != "none", told
            assert told[2] >= 2, told
    wanted = "play voice 1 2 volume from to stop"
    assert {f"blind-{name}" for name in wanted.split()} <= set(reached)


def test_a_printed_page_leaves_the_test_out(page: Opened) -> None:
    page.page.emulate_media(media="print")
    assert not page.page.locator("#blind").is_visible()
