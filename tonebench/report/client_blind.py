# SPDX-License-Identifier: GPL-3.0-or-later
"""What the page's blind test needs to know: plans but for the listener's part, levels.

The levels are those that were measured when the clips were made. The sentences are the
terminal's own, so that both say the same of the same answers. Plays nothing.
"""

import math
from collections.abc import Mapping
from importlib import resources
from typing import Any

from tonebench.compare.blind import SCHEMA
from tonebench.compare.blind_folder import SHORT_S, LevelGap
from tonebench.compare.blind_words import WORDS
from tonebench.errors import CheckFailed
from tonebench.report.client_parts import Values, take_of

_TEMPLATES = resources.files("tonebench.report") / "templates"


def blind_html() -> str:
    """Return the section of the page."""
    return _text("blind.html")


def blind_style() -> str:
    """Return its style sheet, behind the page's own."""
    return _text("blind.css")


def blind_script() -> str:
    """Return its script, behind the page's own and in a block of its own.

    Of the page's it uses `at`, `data`, `fromDb`, `OFF_DB`, `Sound` and `buffersOf`.
    """
    return "\n".join(map(_text, ("blind_draw.js", "blind_kept.js", "blind.js")))


def _text(name: str) -> str:
    return (_TEMPLATES / name).read_text(encoding="utf-8")


def blind_data(manifest: Values) -> dict[str, Any]:
    """Return what the script of the blind test needs, of each pairing in order."""
    return {
        "words": WORDS,
        "tonebench": str(manifest.get("tonebench", "")),
        "pairings": [_pairing(manifest, pairing) for pairing in manifest["pairings"]],
    }


def _pairing(manifest: Values, pairing: Values) -> dict[str, Any]:
    take = take_of(manifest, pairing)
    clips = pairing["clips"]
    gap = _gap(clips, take["frames"] / take["sample_rate_hz"])
    try:
        gap.refuse_if_apart()
        told, is_level = gap.words(), True
    except CheckFailed as fault:
        told, is_level = f"No blind test of this pairing: {fault}", False
    return {
        "is_level": is_level,
        "level": f"{told[:1].upper()}{told[1:]}.",
        "levels": gap.as_json() if is_level else None,
        "plan": {
            "schema": SCHEMA,
            "comparison": manifest["title"],
            "pairing": pairing["name"],
            "take": take["file"],
            "clips": {letter: clips[letter].get("sha256", "") for letter in ("a", "b")},
        },
    }


def _gap(clips: Mapping[str, Values], duration_s: float) -> LevelGap:
    """Return the levels that A and B are heard at, as `measure_gap` reads them."""
    loudness = [_level(clips[letter]["loudness_lufs"]) for letter in ("a", "b")]
    if duration_s >= SHORT_S and all(map(math.isfinite, loudness)):
        return LevelGap("loudness", *loudness)
    rms = [
        _level(clips[letter]["before"]["rms_dbfs"]) + clips[letter]["gain_db"]
        for letter in ("a", "b")
    ]
    return LevelGap("RMS", *rms)


def _level(level: float | None) -> float:
    """Return a manifest's level; −inf for silence."""
    return -math.inf if level is None else float(level)
