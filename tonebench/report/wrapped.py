# SPDX-License-Identifier: GPL-3.0-or-later
"""Long sentences in lines that a terminal can show, what follows on set in."""

import re
import textwrap
from collections.abc import Iterable

#: The width of a line, in characters.
WIDTH = 88
_MORE = 4
#: A number stays with its unit.
_UNIT = re.compile(
    r"(?<=\d) (?=(?:%|dB|dBu|[kM]?Hz|[kMm]?Ω|[µnp]?F|m?H|[mµn]?V|m?A)\b|%)"
)
_TIE = "\u00a0"


def wrapped(sentence: str, indent: int = 0, more: int = _MORE) -> list[str]:
    """Return a sentence in lines; all but the first are set in by `more` further."""
    lines = textwrap.wrap(
        _UNIT.sub(_TIE, sentence),
        WIDTH,
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent + more),
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace(_TIE, " ") for line in lines] or [""]


def all_wrapped(lines: Iterable[str], indent: int = 0) -> list[str]:
    """Return lines, each of them wrapped; those that are set in stay so."""
    told: list[str] = []
    for line in lines:
        own = len(line) - len(line.lstrip(" "))
        told += wrapped(line.strip(), indent + own) if line.strip() else [line]
    return told
