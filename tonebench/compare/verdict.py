# SPDX-License-Identifier: GPL-3.0-or-later
"""What a run comparison comes to, in sentences a player reads.

Three sentences a pairing: what differs, what the levels were, and what is left between
the curves at one level.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonebench.audio.take import open_strings_hz
from tonebench.compare.matching import MODE_WORDS, level_words
from tonebench.compare.measured import MeasuredPair, heard_gain
from tonebench.plan.differences import ONLY_SETTINGS, what_differs
from tonebench.units import format_db, format_frequency

#: Where curves are compared: what an instrument and its strings' noise reach, and of
#: that what a take can hold.
_LOW_HZ, _TOP_HZ, _TOP_SHARE = 30.0, 16_000.0, 0.45
_BANDS = (
    ("low end", 0.0, 150.0),
    ("middle", 150.0, 1500.0),
    ("treble", 1500.0, math.inf),
)
#: Of a band that has a larger one, smaller differences the other way are not told.
_SMALLEST_OTHER_DB = 1.5
#: Smaller differences are not told.
_SMALLEST_DB = 0.5
#: A difference that is nearly everywhere is told once, as what it is.
_SMALLEST_OFFSET_DB = 1.5
#: Where both curves lie this far below their highest point, little is heard.
_UNHEARD_DB = 30.0


@dataclass(frozen=True, slots=True, eq=False)
class MatchedCurves:
    """A and B in dB over Hz with their match gains applied; −inf where silent."""

    frequency_hz: NDArray[np.float64]
    a_db: NDArray[np.float64]
    b_db: NDArray[np.float64]

    @property
    def difference_db(self) -> NDArray[np.float64]:
        """B − A; NaN where either is silent."""
        with np.errstate(invalid="ignore"):
            difference_db = self.b_db - self.a_db
        return np.where(np.isfinite(difference_db), difference_db, np.nan)


def matched_curves(
    measured: MeasuredPair, frequency_hz: NDArray[np.float64]
) -> MatchedCurves:
    """Return the curves of a pairing with its match gains applied.

    A trim by hand is left out: it is of the clips.
    """
    levels = []
    voices, matched = (measured.pair.a, measured.pair.b), measured.matched
    gains_db = matched.gain_a_db, matched.gain_b_db
    for voice, gain_db in zip(voices, gains_db, strict=True):
        magnitude = heard_gain(voice, frequency_hz, measured.playing)
        with np.errstate(divide="ignore"):
            levels.append(20 * np.log10(magnitude) + gain_db)
    return MatchedCurves(frequency_hz, *levels)


def all_differ(pairs: Sequence[MeasuredPair]) -> str:
    """Return in one line what differs between A and B over all pairings."""
    told = list(dict.fromkeys(map(pair_differs, pairs)))
    if len(told) == 1:
        return told[0]
    first = pairs[0].pair
    found = what_differs(first.a.side, first.b.side)
    if found == ONLY_SETTINGS:
        return "only the settings differ, from pairing to pairing"
    return f"{found}; in some pairings the settings too"


def pair_differs(measured: MeasuredPair) -> str:
    """Return in one line what differs between A and B of a pairing."""
    pair = measured.pair
    return what_differs(pair.a.side, pair.b.side, pair.pairing)


def verdict(measured: MeasuredPair, match_hz: float) -> tuple[str, str, str]:
    """Return the three sentences of a pairing; gains are told at `match_hz`."""
    differs = pair_differs(measured)
    opening = differs[0].upper() + differs[1:]
    top_hz = min(_TOP_HZ, _TOP_SHARE * measured.pair.info.sample_rate_hz)
    low_hz = min(open_strings_hz(measured.pair.take.tuning), default=_LOW_HZ)
    curves = matched_curves(measured, np.geomspace(low_hz, top_hz, 441))
    after = measured.pair.after
    through_db = 0.0 if after is None else after.gain_db(curves.frequency_hz)
    matched = measured.matched
    start = level_words(matched.is_matched, matched.mode, match_hz)
    start = start[0].upper() + start[1:]
    if not matched.is_matched:
        start += ","
    return (
        f"{opening}.",
        _level_sentence(measured, match_hz),
        curve_sentence(curves, start, through_db),
    )


def _level_sentence(measured: MeasuredPair, match_hz: float) -> str:
    jump = measured.jump_db("loudness")
    by_rms = measured.jump_db("rms")
    if jump is None and by_rms is None:
        return f"Levels: {measured.matched.notice or 'there is nothing to match'}."
    told = [
        f"{format_db(value)} {words}"
        for value, words in (
            (jump, "by loudness"),
            (by_rms, "by RMS"),
            (
                measured.jump_db("frequency"),
                f"at {format_frequency(match_hz)}",
            ),
        )
        if value is not None
    ]
    start = f"Without matching, switching to B: {', '.join(told)}"
    matched = measured.matched
    if not matched.is_matched:
        return f"{start}; {matched.notice}."
    mode = MODE_WORDS[matched.mode]
    turned = [
        f"{letter} is turned down by {abs(gain):.1f} dB"
        for letter, gain in (("A", matched.gain_a_db), ("B", matched.gain_b_db))
        if round(gain, 1) < 0
    ]
    if not turned:
        return f"{start}; {mode} is the same already."
    return f"{start}; {' and '.join(turned)} to match {mode}."


def curve_sentence(
    curves: MatchedCurves, start: str = "At one level", through_db: ArrayLike = 0.0
) -> str:
    """Return where B parts most from A: low end, middle and treble.

    `through_db` is the gain of what comes after both, which may swallow a difference.

    What lies between the curves nearly everywhere is told first; then, of each band,
    the place where the difference turns round, or ends with the range.
    """
    difference_db = curves.difference_db
    level_db = np.maximum(curves.a_db, curves.b_db) + through_db
    heard = level_db > level_db.max() - _UNHEARD_DB
    heard &= ~np.isnan(difference_db)
    if not heard.any():
        return "There are no two curves to compare: a side is silent."
    hz, values = curves.frequency_hz[heard], difference_db[heard]
    offset = float(np.median(values))
    offset = offset if abs(offset) >= _SMALLEST_OFFSET_DB else 0.0
    told = [f"{format_db(offset)} nearly everywhere"] if offset else []
    size = np.abs(values - offset)
    turns = _turning_points(size)
    for word, low_hz, high_hz in _BANDS:
        inside = [k for k in turns if low_hz <= hz[k] < high_hz]
        places = _worst_each_way(inside, values - offset)
        if places:
            each = (_place_words(k, hz, values) for k in places)
            told.append(f"{word} {' and '.join(each)}")
    if told:
        return f"{start} B has, against A: {', '.join(told)}."
    largest = float(size.max())
    if largest < 0.05:
        return f"{start} the curves of A and B are the same."
    return f"{start} the curves stay within {largest:.1f} dB of each other."


def _worst_each_way(
    places: Sequence[int], values: NDArray[np.float64]
) -> tuple[int, ...]:
    """Return the place of the largest difference, and of one the other way."""
    worst = max(places, key=lambda k: abs(values[k]), default=None)
    if worst is None or abs(values[worst]) < _SMALLEST_DB:
        return ()
    others = [k for k in places if values[k] * values[worst] < 0]
    other = max(others, key=lambda k: abs(values[k]), default=None)
    if other is None or abs(values[other]) < _SMALLEST_OTHER_DB:
        return (worst,)
    return tuple(sorted((worst, other)))


def _place_words(k: int, hz: NDArray[np.float64], values: NDArray[np.float64]) -> str:
    """Return a difference and its place; at an end of the range it may go on."""
    end = {0: " and below", len(hz) - 1: " and above"}.get(k, "")
    return f"{format_db(float(values[k]))} at {format_frequency(float(hz[k]))}{end}"


def _turning_points(size: NDArray[np.float64]) -> list[int]:
    """Return where a curve of sizes has its peaks, the ends of the range included."""
    padded = np.concatenate([[-1.0], size, [-1.0]])
    is_peak = (padded[1:-1] >= padded[:-2]) & (padded[1:-1] > padded[2:])
    return np.flatnonzero(is_peak).tolist()
