# SPDX-License-Identifier: GPL-3.0-or-later
"""What a comparison's page says: sentences, levels, settings, pairings and takes."""

from pathlib import Path
from typing import Any

import pytest
from client_pages import (
    Page,
    clip,
    comparison,
    page_of,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from tonebench.report.client_parts import level_hint, sentence, settings_html


def short(folder: Path) -> dict[str, Any]:
    return comparison(folder, frames=480)


def test_as_they_are_takes_the_match_back_and_turns_nothing_up(tmp_path: Path) -> None:
    manifest = short(tmp_path)
    for told, its in zip(
        Page(page_of(tmp_path, manifest)).data["pairings"],
        manifest["pairings"],
        strict=True,
    ):
        as_is = {key: voice["as_is_db"] for key, voice in told["voices"].items()}
        assert max(as_is.values()) == 0
        # the gain that was applied and the one that takes it back leave one for all
        left = {as_is[key] + its["clips"][key]["gain_db"] for key in as_is}
        assert len(left) == 1


@pytest.mark.parametrize(
    ("as_is_db", "words"),
    [
        ({"a": 0.0, "b": -1.78, "dry": -6.0}, "As they are, B is 1.8 dB below A."),
        ({"a": -3.0, "b": -1.0}, "As they are, A is 2.0 dB below B."),
        ({"a": 0.0, "b": -0.04}, "Matching moved nothing: both ways are the same."),
    ],
)
def test_what_matching_takes_away_is_told(
    as_is_db: dict[str, float], words: str
) -> None:
    assert level_hint({"is_matched": True}, as_is_db) == words


def test_clips_that_are_not_matched_are_told_to_be_as_they_are(tmp_path: Path) -> None:
    manifest = short(tmp_path)
    manifest["pairings"][0]["is_matched"] = False
    page = Page(page_of(tmp_path, manifest))
    assert "not matched" in page.data["pairings"][0]["level_hint"]
    assert "not matched" in page.told("figcaption")[0]


def test_levels_and_jumps_stand_in_a_table(tmp_path: Path) -> None:
    page = Page(page_of(tmp_path, short(tmp_path)))
    (first, _) = page.told("table", **{"class": "levels"})
    for words in ("−21.0 LUFS", "−23.0 LUFS", "−1.8 dB", "−2.0 dB", "silent"):
        assert words in first


# ---- What it says ----


def test_the_sentence_comes_first_and_is_not_said_twice(tmp_path: Path) -> None:
    manifest = short(tmp_path)
    manifest["pairings"][1]["verdict"][0] = "The settings differ too."
    page = Page(page_of(tmp_path, manifest))
    assert page.told("h1") == ["Only the circuit differs: tern against plover."]
    assert page.told("p", **{"class": "differs"}) == ["The settings differ too."]


def test_client_is_named_with_the_note(tmp_path: Path) -> None:
    page = Page(page_of(tmp_path, short(tmp_path)))
    assert page.told("p", **{"class": "meant"}) == ["For a player, from a workshop"]
    assert page.told("blockquote") == ["Why is it dull?"]


def test_nothing_stands_where_there_is_no_client_and_no_choice(tmp_path: Path) -> None:
    manifest = short(tmp_path)
    manifest["client"] = {}
    manifest["pairings"] = manifest["pairings"][:1]
    page = Page(page_of(tmp_path, manifest))
    assert page.told("blockquote") == []
    assert {"name": "pairing"}.items() not in [a.items() for a in page.all("input")]
    assert len(page.told("article")) == 1


def test_pairings_on_several_takes_are_told_apart(tmp_path: Path) -> None:
    manifest = short(tmp_path)
    walk = manifest.pop("take")
    pick = {**walk, "file": "harbour-pick.flac", "sample_rate_hz": 44_100}
    manifest["takes"] = [walk, pick]
    for its, take in zip(manifest["pairings"], (walk, pick), strict=True):
        its["take"] = take["file"]
    page = Page(page_of(tmp_path, manifest))
    assert page.told("h2")[:2] == ["both flat, harbour-walk", "turned up, harbour-pick"]
    told = page.data["pairings"]
    assert [p["take"] for p in told] == [0, 1]
    assert [p["rate_hz"] for p in told] == [48_000, 44_100]


def test_knobs_are_bars_of_their_length_and_switches_are_words() -> None:
    page = Page(settings_html(clip("x", 0.0, bass_cut=7.5, range="high"), "a"))
    assert [text.strip() for text in page.told("li")] == ["Bass cut 7½", "Range high"]
    (bar,) = [line for line in page.all("line") if line["class"] == "fill a"]
    assert bar["x2"] == "75.0%"
    assert [line["x1"] for line in page.all("line")].count("50%") == 1


def test_a_knob_that_moves_is_told_with_its_seconds() -> None:
    moving = clip("x", 0.0, bass=[[0, 5], [4, 10]])
    assert "5 at 0 s, 10 at 4 s" in settings_html(moving, "a")


@settings(deadline=None)
@given(st.text(st.characters(exclude_categories=["Cs", "Cc"])))
def test_any_text_comes_back_from_a_sentence(text: str) -> None:
    (told,) = Page(f"<p>{sentence(f'Told {text}')}</p>").told("p")
    wanted = f"Told {text}".strip()
    assert told.replace("\N{NO-BREAK SPACE}", " ") in (
        ended.replace("\N{NO-BREAK SPACE}", " ") for ended in (wanted, f"{wanted}.")
    )
