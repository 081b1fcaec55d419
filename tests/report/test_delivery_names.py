# SPDX-License-Identifier: GPL-3.0-or-later
"""Names that a client gets: plain, short, apart from each other, true."""

import re
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tonebench.report.delivery_names import (
    LONGEST_NAME,
    PREVIEW,
    clip_part,
    level_part,
    pairing_part,
    position_words,
    rate_part,
    safe_words,
)

MATCHED = {"is_matched": True, "matched_by": "loudness"}
PLAIN = re.compile(r"[A-Za-z0-9._-]+")
#: Names that one system or another keeps for devices (common practice, no source).
RESERVED = {
    "con",
    "prn",
    "aux",
    "nul",
    *(f"{p}{n}" for p in ("com", "lpt") for n in range(10)),
}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Both boxes at flat, into a desk", "both-boxes-at-flat-into"),
        ("−3 dB / +6 dB", "m3-db-p6-db"),
        ("-12", "m12"),
        ("tern-2", "tern-2"),
        ("6.5 and 7.", "6.5-and-7"),
        ("...hidden", "hidden"),
        ("Grün & Weiß", "grun-weiss"),
        ("чай", "otherwise"),
        ("", "otherwise"),
        ("a/b\\c:d*e?f", "a-b-c-d-e-f"),
        ("x" * 60, "x" * 24),
        ("nul", "nul-x"),
        ("COM7.5", "com7.5-x"),
    ],
)
def test_a_text_becomes_plain_words(text: str, words: str) -> None:
    assert safe_words(text, 24, "otherwise") == words


@given(st.text(max_size=80))
@settings(deadline=None)
def test_any_text_becomes_a_plain_part_of_a_name(text: str) -> None:
    found = safe_words(text, 24, "take")
    assert PLAIN.fullmatch(found)
    assert len(found) <= 26  # with what sets it apart from a reserved name
    assert found[0] not in ".-"
    assert found.partition(".")[0] not in RESERVED


@given(
    st.text(max_size=200),
    st.text(max_size=200),
    st.dictionaries(st.text(max_size=40), st.floats(0, 10) | st.text(max_size=40)),
    st.sampled_from(["a", "b", "dry", "switch"]),
    st.text(max_size=80),
    st.integers(1, 999),
)
@settings(deadline=None)
def test_every_name_of_a_clip_is_plain_and_short(
    title: str,
    take: str,
    positions: dict[str, Any],
    letter: str,
    circuit: str,
    number: int,
) -> None:
    clip = {"name": circuit, "settings": positions, "loudness_lufs": -23.4}
    start = pairing_part(title, number, take)
    level = level_part(MATCHED, clip, 500)
    stem = clip_part(start, letter, clip, level, rate_part(176_400))
    for name in (f"{stem}_24b.wav", f"{stem}_24b.flac", f"{stem}_{PREVIEW}.mp3"):
        assert PLAIN.fullmatch(name)
        assert len(name) <= LONGEST_NAME
        assert name.partition(".")[0].lower() not in RESERVED


def test_the_name_tells_what_it_is() -> None:
    clip = {"name": "tern", "settings": {"tilt": 6.5, "level": 10}}
    start = pairing_part("Two boxes", 3, "walk")
    assert clip_part(start, "a", clip, "m23.1LUFS", "48k") == (
        "two-boxes_03_walk_A-tern_tilt-6.5-level-10_m23.1LUFS_48k"
    )


def test_settings_that_do_not_fit_are_left_out_whole() -> None:
    settings_asked = {f"knob{k}": 5 for k in range(20)}
    clip = {"name": "tern", "settings": settings_asked}
    stem = clip_part("t_01_w", "b", clip, "unmatched", "48k")
    told = stem.split("_")[4]
    assert told.endswith("-etc")
    assert re.fullmatch(r"(knob\d+-5-)+etc", told)


@pytest.mark.parametrize(
    ("pairing", "loudness", "told"),
    [
        (MATCHED, -23.05, "m23.1LUFS"),
        (MATCHED, None, "matched-RMS"),
        ({"is_matched": True, "matched_by": "rms"}, -23.0, "matched-RMS"),
        ({"is_matched": True, "matched_by": "frequency"}, -23.0, "matched-82.5Hz"),
        ({"is_matched": False, "matched_by": "none"}, -23.0, "unmatched"),
    ],
)
def test_the_match_is_told(
    pairing: dict[str, Any], loudness: float | None, told: str
) -> None:
    assert level_part(pairing, {"loudness_lufs": loudness}, 82.5) == told


@pytest.mark.parametrize(
    ("position", "words"),
    [(5.0, "5"), (6.5, "6.5"), (3.3333, "3.33"), ("low", "low"), ([[0, 5]], "moves")],
)
def test_a_position_is_told(position: object, words: str) -> None:
    assert position_words(position) == words


@pytest.mark.parametrize(
    ("rate", "told"), [(48000, "48k"), (44100, "44.1k"), (11025, "11.025k")]
)
def test_a_rate_is_told_in_kilohertz(rate: int, told: str) -> None:
    assert rate_part(rate) == told
