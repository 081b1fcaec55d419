# SPDX-License-Identifier: GPL-3.0-or-later
"""Names of the files that a client gets: each says what it is when it lies alone.

``project_number_take_side_settings_match_rate_depth.ending``: letters, digits and
``.-_`` only, at most 120 characters, no two alike in any case, none that a system
reserves. A sign in front of a figure is spelled p or m.
"""

import re
import unicodedata
from collections.abc import Mapping
from typing import Any

LONGEST_NAME = 120
#: Stands in the name of every lossy clip.
PREVIEW = "preview-not-for-AB"
_LONGEST_PROJECT, _LONGEST_TAKE, _LONGEST_SIDE = 24, 20, 16
_LONGEST_ENDING = 5
_RESERVED = re.compile(r"(con|prn|aux|nul|(com|lpt)[0-9¹²³])", re.IGNORECASE)


def safe_words(text: str, longest: int, otherwise: str) -> str:
    """Return a text as part of a name: lower case, words joined by hyphens.

    What doesn't fit is cut between words if there is more than one.

    Examples
    --------
    >>> safe_words("Both boxes at flat, into a desk", 24, "comparison")
    'both-boxes-at-flat-into'
    >>> safe_words("−3 dB, +6.5 dB", 24, ""), safe_words("CON", 24, "")
    ('m3-db-p6.5-db', 'con-x')
    """
    text = unicodedata.normalize("NFKD", text).casefold()
    text = re.sub(r"(?<![\w.])[+](?=\.?\d)", "p", text)
    text = re.sub(r"(?<![\w.])[-−](?=\.?\d)", "m", text)
    text = re.sub(r"[\u0300-\u036f]", "", text)  # accents, now apart from letters
    text = re.sub(r"(?<!\d)\.|\.(?!\d)|[^a-z0-9.]+", "-", text).strip("-")
    if len(text) > longest:
        kept, cut = text[:longest], text[longest]
        whole = kept if cut == "-" else kept.rpartition("-")[0]
        text = (whole or kept).strip("-.")
    text = text or otherwise
    return f"{text}-x" if _RESERVED.fullmatch(text.partition(".")[0]) else text


def position_words(position: Any) -> str:
    """Return where a control stands, or that it moves, as part of a name."""
    if isinstance(position, int | float):
        return f"{round(position, 2):g}"
    return position if isinstance(position, str) else "moves"


def level_part(pairing: Mapping[str, Any], clip: Mapping[str, Any], hz: float) -> str:
    """Return how a clip is matched: its loudness, what was matched, or "unmatched".

    Examples
    --------
    >>> pairing = {"is_matched": True, "matched_by": "loudness"}
    >>> level_part(pairing, {"loudness_lufs": -23.06}, 500)
    'm23.1LUFS'
    """
    if not pairing["is_matched"]:
        return "unmatched"
    mode, loudness = pairing.get("matched_by", ""), clip.get("loudness_lufs")
    if mode == "frequency":
        return f"matched-{hz:.5g}Hz"
    if mode != "loudness" or loudness is None:
        return "matched-RMS"
    sign = "m" if loudness < 0 else "p"
    return f"{sign}{abs(loudness):.1f}LUFS"


def rate_part(sample_rate_hz: int) -> str:
    """Return a sample rate in kilohertz: "48k", "44.1k"."""
    return f"{sample_rate_hz / 1000:g}k"


def pairing_part(title: str, number: int, take: str) -> str:
    """Return what all names of a pairing begin with."""
    project = safe_words(title, _LONGEST_PROJECT, "comparison")
    return f"{project}_{number:02d}_{safe_words(take, _LONGEST_TAKE, 'take')}"


def clip_part(
    start: str, letter: str, clip: Mapping[str, Any], level: str, rate: str
) -> str:
    """Return a clip's name up to its depth; settings are cut where it grows too long.

    Parameters
    ----------
    start : str
        From `pairing_part`.
    letter : str
        "a", "b", "dry" or "switch".
    clip : mapping
        As the manifest has it.
    level, rate : str
        From `level_part` and `rate_part`.
    """
    sides = {"a": "A", "b": "B", "dry": "dry", "switch": "A-and-B-by-turns"}
    side = sides.get(letter, safe_words(letter, _LONGEST_SIDE, "clip"))
    if letter in ("a", "b"):
        circuit = clip.get("name") or clip.get("circuit") or ""
        side = f"{side}-{safe_words(str(circuit), _LONGEST_SIDE, 'circuit')}"
    ends = f"_{level}_{rate}"
    fixed = f"{start}_{side}{ends}_{PREVIEW}"
    room = LONGEST_NAME - _LONGEST_ENDING - len(fixed) - 1
    settings = clip.get("settings", {})
    told = _settings_part(settings, room)
    return f"{start}_{side}{f'_{told}' if told else ''}{ends}"


def _settings_part(settings: Mapping[str, Any], room: int) -> str:
    """Return as many settings as there is room for, each whole, then "etc"."""
    parts = [
        safe_words(f"{name} {position_words(position)}", LONGEST_NAME, "set")
        for name, position in settings.items()
    ]
    while parts and len("-".join(parts)) > room:
        parts = parts[:-2] if parts[-1] == "etc" else parts[:-1]
        parts.append("etc")
        if parts == ["etc"]:
            return ""
    return "-".join(parts)
