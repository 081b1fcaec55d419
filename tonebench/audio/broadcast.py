# SPDX-License-Identifier: GPL-3.0-or-later
"""What a WAV says of itself: the broadcast extension chunk, and titles.

Layout and meaning of ``bext`` are those of EBU Tech 3285, version 2; its coding history
those of EBU R 98; titles go into a RIFF ``LIST`` chunk of type ``INFO``. Both hold
ASCII. Knows bytes only: no file is opened here.
"""

import math
import re
import struct
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass

_VERSION = 2
_BEXT = struct.Struct("<256s32s32s10s8sIIH64s5h180s")
#: What a level is that isn't told (EBU Tech 3285 v2, 2.4).
_NO_LEVEL = 0x7FFF
_SPELLED = str.maketrans(
    {
        "→": "->", "−": "-", "–": "-", "—": "-", "·": "-", "×": "x", "…": "...",
        "Ω": "ohm", "µ": "u", "μ": "u", "’": "'", "‘": "'", "“": '"',
        "”": '"', "ß": "ss", "ø": "o", "Ø": "O", "æ": "ae", "Æ": "Ae", "ł": "l",
        "Ł": "L", "≤": "<=", "≥": ">=",
    }
)  # fmt: skip
_FRACTIONS = {"½": ".5", "¼": ".25", "¾": ".75"}
_CHANNEL_WORDS = {1: ",M=mono", 2: ",M=stereo"}


@dataclass(frozen=True, slots=True)
class LevelsTold:
    """Levels of a clip in LUFS, LU and dBTP; None where there is none to tell."""

    loudness_lufs: float | None = None
    range_lu: float | None = None
    true_peak_dbtp: float | None = None
    momentary_lufs: float | None = None
    short_term_lufs: float | None = None


@dataclass(frozen=True, slots=True)
class Broadcast:
    """The fields of a broadcast extension chunk that a clip has.

    `description` tells the most in its first 64 characters; `reference` is what its
    maker calls the sound; `date` is ``"yyyy-mm-dd"``, or "" if none is told.
    """

    description: str
    originator: str
    reference: str
    history: str
    date: str = ""
    levels: LevelsTold = LevelsTold()


def plain_text(text: str) -> str:
    """Return a text in ASCII, its signs spelled; what can't be spelled becomes "?".

    Examples
    --------
    >>> plain_text("bass 6½ → 1 MΩ, −23.1 LUFS, Flügelhorn, чай")
    'bass 6.5 -> 1 Mohm, -23.1 LUFS, Flugelhorn, ???'
    """
    composed = re.sub(
        r"(\d?)([½¼¾])",
        lambda found: (found[1] or "0") + _FRACTIONS[found[2]],
        unicodedata.normalize("NFC", text),
    ).translate(_SPELLED)
    spelled = "".join(
        "".join(c for c in unicodedata.normalize("NFKD", sign) if c.isascii())
        if not sign.isascii() and _has_ascii(sign)
        else sign
        for sign in composed
    )
    return spelled.encode("ascii", "replace").decode("ascii")


def _has_ascii(sign: str) -> bool:
    return any(c.isascii() for c in unicodedata.normalize("NFKD", sign))


def coding_history(sample_rate_hz: int, bits: int, channels: int, made_by: str) -> str:
    """Return a line of EBU R 98: linear PCM, rate, word length, channels, program."""
    mode = _CHANNEL_WORDS.get(channels, "")
    return f"A=PCM,F={sample_rate_hz},W={bits}{mode},T={made_by}\r\n"


def broadcast_chunk(told: Broadcast) -> bytes:
    """Return a ``bext`` chunk of version 2; the clip starts at time reference 0."""
    levels = told.levels
    body = _BEXT.pack(
        _field(told.description, 256),
        _field(told.originator, 32),
        _field(told.reference, 32),
        _field(told.date, 10),
        b"",  # no time of day
        0,
        0,
        _VERSION,
        b"",  # no UMID
        _hundredths(levels.loudness_lufs),
        _hundredths(levels.range_lu),
        _hundredths(levels.true_peak_dbtp),
        _hundredths(levels.momentary_lufs),
        _hundredths(levels.short_term_lufs),
        b"",
    )
    body += plain_text(told.history).encode("ascii")
    # even: libsndfile 1.2 doesn't find what is behind an odd chunk of an RF64 file
    return chunk(b"bext", body + b"\0" * (len(body) % 2))


def info_chunk(titles: Mapping[str, str]) -> bytes:
    """Return a ``LIST`` chunk of type ``INFO``; keys are such as ``INAM``, a title."""
    parts = [
        chunk(key.encode("ascii"), plain_text(text).encode("ascii") + b"\0")
        for key, text in titles.items()
        if text
    ]
    return chunk(b"LIST", b"INFO" + b"".join(parts))


def chunk(name: bytes, body: bytes) -> bytes:
    """Return a RIFF chunk: name, length, body, and a pad byte if it is odd."""
    return name + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)


def _field(text: str, length: int) -> bytes:
    return plain_text(text).encode("ascii")[:length]


def _hundredths(level: float | None) -> int:
    """Return a level in hundredths, as a 16-bit integer."""
    if level is None or not math.isfinite(level) or abs(level) > 300:
        return _NO_LEVEL
    return round(100 * level)
