# SPDX-License-Identifier: GPL-3.0-or-later
"""Bringing A and B to one level: by loudness, by RMS, or by the gain at a frequency.

The louder side is turned down, never the quieter up, and there is no limiter anywhere.
Knows levels as numbers only.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from tonebench.audio.levels import match_gains_db
from tonebench.units import format_frequency

#: What is shorter is matched by RMS: loudness needs some seconds to mean anything
#: (common practice, no source; short-term loudness is that of 3 s).
SHORTEST_BY_LOUDNESS_S = 3.0
#: How a match mode is called in sentences.
MODE_WORDS = {
    "loudness": "loudness",
    "rms": "RMS",
    "frequency": "the gain at one frequency",
}


@dataclass(frozen=True, slots=True)
class Levels:
    """How loud a result is as it comes out of its circuit; −inf where it is silent."""

    loudness_lufs: float
    rms_dbfs: float
    peak_dbfs: float
    true_peak_dbtp: float
    gain_at_match_hz_db: float

    def by(self, mode: str) -> float:
        """Return the level that a match mode goes by."""
        if mode == "loudness":
            return self.loudness_lufs
        return self.rms_dbfs if mode == "rms" else self.gain_at_match_hz_db


@dataclass(frozen=True, slots=True)
class Matched:
    """The gains that match a pair; `notice` says what a listener must know.

    `mode` is what they go by, which may not be what was asked for.
    """

    gain_a_db: float
    gain_b_db: float
    is_matched: bool
    notice: str = ""
    mode: str = "none"


def level_words(is_matched: bool, mode: str, match_hz: float) -> str:
    """Return at which level a pairing's curves and clips are compared."""
    if not is_matched:
        return "not matched"
    if mode == "frequency":
        return f"at one level at {format_frequency(match_hz)}"
    return "at one level"


def jump_db(a: Levels, b: Levels, mode: str) -> float | None:
    """Return how much louder B is than A without matching; None if one is silent."""
    jump = b.by(mode) - a.by(mode)
    return jump if math.isfinite(jump) else None


def match_pair(
    a: Levels, b: Levels, mode: str, duration_s: float = math.inf
) -> Matched:
    """Return the gains for A and B.

    By RMS where loudness is asked for and a clip is shorter than 3 s, or too soft for a
    reading (BS.1770 needs 400 ms above −70 LUFS); a silent one is not matched at all.
    Either is said.
    """
    if mode == "none":
        return Matched(0.0, 0.0, False, "not matched, as asked for")
    silent = [word for word, levels in (("A", a), ("B", b)) if levels.peak_dbfs < -150]
    if silent:
        told = "A and B are" if len(silent) == 2 else f"{silent[0]} is"
        return Matched(0.0, 0.0, False, f"not matched: {told} silent")
    is_short = mode == "loudness" and duration_s < SHORTEST_BY_LOUDNESS_S
    gains = match_gains_db(a.by(mode), b.by(mode))
    if gains is not None and not is_short:
        return Matched(*gains, is_matched=True, mode=mode)
    gains = match_gains_db(a.rms_dbfs, b.rms_dbfs)
    if gains is None:
        return Matched(0.0, 0.0, False, "not matched: there is no level to go by")
    why = f"too soft to go by {MODE_WORDS[mode]}"
    if is_short:
        why = f"shorter than {SHORTEST_BY_LOUDNESS_S:g} s, too short to go by loudness"
    return Matched(*gains, True, f"matched by RMS: {why}", "rms")


def by_hand(gains_db: Sequence[float], trim_b_db: float) -> tuple[float, ...]:
    """Return the gains of A, B and the dry take with B trimmed by hand.

    What would be turned up is not: the others are turned down instead.
    """
    a, b, *others = gains_db
    b += trim_b_db
    over = max(0.0, b)
    return tuple(gain - over for gain in (a, b, *others))


def trim_words(trim_b_db: float) -> str:
    """Return what a trim by hand does, or nothing if there is none.

    >>> trim_words(-0.15)
    'B is trimmed by hand after matching, by −0.15 dB; the curves leave that out'
    """
    if not trim_b_db:
        return ""
    sign = "+" if trim_b_db > 0 else "−"
    by = f"{sign}{abs(trim_b_db):.2f} dB"
    return f"B is trimmed by hand after matching, by {by}; the curves leave that out"


def with_dry(
    matched: Matched, a: Levels, b: Levels, dry: Levels
) -> tuple[Matched, float]:
    """Return the match of A and B, and the gain that brings the dry take to it.

    A dry take that is quieter than both turns them down further; it is never turned up.
    """
    if not matched.is_matched:
        return matched, 0.0
    level_db = a.by(matched.mode) + matched.gain_a_db
    gains = match_gains_db(level_db, dry.by(matched.mode))
    if gains is None:
        return matched, 0.0
    lowered = replace(
        matched,
        gain_a_db=matched.gain_a_db + gains[0],
        gain_b_db=matched.gain_b_db + gains[0],
    )
    return lowered, gains[1]
