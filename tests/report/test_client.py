# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison's page, read without a browser: what it says, holds and may do."""

import base64
import copy
import hashlib
import io
import math
import re
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from client_pages import (
    HZ,
    Page,
    carried_by,
    clip,
    comparison,
    curves_of,
    integers,
    manifest_of,
    page_of,
    pairing,
)
from commands import names_in
from hypothesis import given, settings
from hypothesis import strategies as st
from sounds import read_integers, write_24

from tonebench.compare.verdict import MatchedCurves
from tonebench.errors import AudioError, OutputError
from tonebench.report import client
from tonebench.report.client import write_page
from tonebench.report.client_curve import curve_svg, curve_table
from tonebench.report.client_parts import level_hint, sentence, settings_html

HOSTILE = "</script></style><img src=x onerror=alert(1)>\"'&<!--${title}"


def short(folder: Path) -> dict[str, Any]:
    return comparison(folder, frames=480)


def hostile(values: Any) -> Any:
    """Return a copy of a manifest with a hostile text behind every text in it."""
    match values:
        case dict():
            return {
                key: value if key in ("file", "mode") else hostile(value)
                for key, value in values.items()
            }
        case list():
            return [hostile(value) for value in values]
        case str():
            return f"{values}{HOSTILE}"
    return values


def samples_in(packed: bytes) -> tuple[int, np.ndarray]:
    """Return the rate and the 24-bit integers of FLAC bytes."""
    with soundfile.SoundFile(io.BytesIO(packed)) as sound:
        assert (sound.format, sound.subtype) == ("FLAC", "PCM_24")
        return sound.samplerate, sound.read(dtype="int32", always_2d=True) >> 8


# ---- What may act ----


def test_only_the_script_and_the_style_of_the_page_may_act(tmp_path: Path) -> None:
    page = Page(page_of(tmp_path, short(tmp_path)))
    (style,) = page.told("style")
    (script,) = [text for a, text in scripts(page) if not a]
    assert page.policy == {
        "default-src": ["'none'"],
        "script-src": [hash_of(script)],
        "style-src": [hash_of(style)],
        "base-uri": ["'none'"],
        "form-action": ["'none'"],
    }


def scripts(page: Page) -> list[tuple[dict[str, str | None], str]]:
    return [(given, text) for tag, given, text in page.texts if tag == "script"]


def hash_of(text: str) -> str:
    """Return a text's hash as a policy names it (W3C CSP level 3)."""
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode()}'"


def test_page_has_no_handlers_no_styles_in_elements_and_no_addresses(
    tmp_path: Path,
) -> None:
    text = page_of(tmp_path, short(tmp_path))
    page = Page(text)
    names = {name for _, attributes in page.elements for name in attributes}
    assert not {name for name in names if name.startswith("on")}
    assert names.isdisjoint({"style", "src", "href", "xlink:href", "srcset", "action"})
    assert "http" not in re.sub(r"http-equiv", "", text)


def test_texts_of_a_manifest_are_shown_and_never_obeyed(tmp_path: Path) -> None:
    plain = short(tmp_path)
    (tmp_path / "plain").mkdir()
    for file in tmp_path.glob("*.wav"):
        (tmp_path / "plain" / file.name).write_bytes(file.read_bytes())
    calm = Page(page_of(tmp_path / "plain", plain))
    bad = hostile(plain)
    bad["take"]["instrument"] = HOSTILE
    for its in bad["pairings"]:
        its["notices"] = [HOSTILE]
        its["clips"]["a"]["circuit"] = "<b>&amp;"
        its["clips"]["a"]["settings"] = {HOSTILE: HOSTILE}
        its["clips"]["switch"] = clip(HOSTILE, 0.0) | {"cues": HOSTILE}
    page = Page(page_of(tmp_path, bad))
    assert page.all("img") == []
    assert len(page.all("script")) == len(calm.all("script"))
    assert page.policy == calm.policy
    assert page.told("title") == [f"Both boxes at flat{HOSTILE}"]
    assert page.told("p", **{"class": "verdict"})[0].count(HOSTILE) == 1
    assert "A <b>&amp;" in page.told("text", **{"class": "end"})
    assert page.told("b").count(HOSTILE) == 2
    assert len([t for t in page.told("code") if t == HOSTILE]) == 4


@settings(deadline=None)
@given(st.text(st.characters(exclude_categories=["Cs", "Cc"])))
def test_any_text_comes_back_from_a_sentence(text: str) -> None:
    (told,) = Page(f"<p>{sentence(f'Told {text}')}</p>").told("p")
    wanted = f"Told {text}".strip()
    assert told.replace("\N{NO-BREAK SPACE}", " ") in (
        ended.replace("\N{NO-BREAK SPACE}", " ") for ended in (wanted, f"{wanted}.")
    )


# ---- What it holds ----


def test_page_holds_the_clips_sample_for_sample(tmp_path: Path) -> None:
    page = Page(page_of(tmp_path, short(tmp_path)))
    held = {a["id"]: text for a, text in scripts(page) if a.get("type") == "text/plain"}
    assert list(held) == ["clip-1", "clip-2", "clip-3", "clip-4"]
    for key, name in zip(held, ["a", "b", "dry", "b2"], strict=True):
        rate, samples = samples_in(base64.b64decode(held[key]))
        assert rate == 48_000
        np.testing.assert_array_equal(samples, read_integers(tmp_path / f"{name}.wav"))


def test_a_clip_of_two_channels_and_another_rate_is_held_as_it_is(
    tmp_path: Path,
) -> None:
    values = integers(9, 700, channels=2)
    write_24(tmp_path / "a.wav", values, 44_100)
    clips = {"a": clip("a.wav", 0.0), "b": clip("a.wav", 0.0)}
    manifest = manifest_of([pairing("same", clips)], 700, 2, 44_100)
    page = Page(page_of(tmp_path, manifest))
    rate, samples = samples_in(base64.b64decode(page.told("script", id="clip-1")[0]))
    assert rate == 44_100
    np.testing.assert_array_equal(samples, values)
    assert page.data["pairings"][0]["rate_hz"] == 44_100
    assert page.data["pairings"][0]["duration_s"] == 700 / 44_100


def test_a_clip_of_two_pairings_is_held_once(tmp_path: Path) -> None:
    pairings = Page(page_of(tmp_path, short(tmp_path))).data["pairings"]
    numbers = [[voice["clip"] for voice in p["voices"].values()] for p in pairings]
    assert numbers == [[1, 2, 3], [1, 4]]


def test_the_same_comparison_gives_the_same_bytes(tmp_path: Path) -> None:
    made = []
    for name in ("one", "two"):
        folder = tmp_path / name
        folder.mkdir()
        made.append(page_of(folder, short(folder)))
    assert made[0] == made[1]


@pytest.mark.parametrize("held", [0, 1, 3])
def test_a_page_that_would_grow_too_large_has_its_clips_beside_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, held: int
) -> None:
    manifest = short(tmp_path)
    one = len(Page(page_of(tmp_path, manifest)).told("script", id="clip-1")[0])
    (tmp_path / "index.html").unlink()
    monkeypatch.setattr(client, "LARGEST_PAGE_BYTES", int(one * (held + 0.5)))
    page = Page(page_of(tmp_path, manifest))
    assert [a for a, _ in scripts(page)] == [
        {"type": "application/json", "id": "data"},
        {},
    ]
    assert page.data["carried"] is True
    for number, name in enumerate(["a", "b", "dry", "b2"], start=1):
        text = (tmp_path / f"clip-{number}.js").read_text(encoding="ascii")
        told, packed = carried_by(text)
        assert told == number
        _, samples = samples_in(base64.b64decode(packed))
        np.testing.assert_array_equal(samples, read_integers(tmp_path / f"{name}.wav"))


def test_a_script_trusted_by_its_hash_alone_may_add_carriers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(client, "LARGEST_PAGE_BYTES", 0)
    page = Page(page_of(tmp_path, short(tmp_path)))
    (script,) = [text for a, text in scripts(page) if not a]
    assert page.policy["script-src"] == [hash_of(script), "'strict-dynamic'"]
    assert page.policy["default-src"] == ["'none'"]


def test_a_page_that_is_there_is_not_written_over(tmp_path: Path) -> None:
    manifest = short(tmp_path)
    page_of(tmp_path, manifest)
    with pytest.raises(OutputError, match="exists already"):
        page_of(tmp_path, manifest)


def test_a_clip_that_is_missing_is_told_by_name(tmp_path: Path) -> None:
    manifest = short(tmp_path)
    (tmp_path / "b.wav").unlink()
    with pytest.raises(AudioError, match=r"b\.wav"):
        page_of(tmp_path, manifest)
    assert "index.html" not in names_in(tmp_path)


def test_curves_of_every_pairing_are_needed(tmp_path: Path) -> None:
    manifest = short(tmp_path)
    with pytest.raises(ValueError, match="zip"):
        write_page(tmp_path, manifest, curves_of(manifest)[:1])


# ---- Levels ----


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


# ---- The curve ----


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


def test_page_is_well_formed(tmp_path: Path) -> None:
    manifest = copy.deepcopy(short(tmp_path))
    Page(page_of(tmp_path, manifest))  # every end tag ends what is open


@pytest.mark.parametrize(
    "name", ["page.html", "page.css", "sound.js", "page.js", "LICENSE"]
)
def test_templates_are_free_for_everybody(name: str) -> None:
    text = client._text(name)
    assert "SPDX-License-Identifier: MIT-0" in text[:120]
    assert name == "LICENSE" or "GPL" not in text
