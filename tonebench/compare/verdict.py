# SPDX-License-Identifier: GPL-3.0-or-later
"""What a run comparison comes to, in sentences a player reads.

Three sentences a pairing: what differs, what the levels were, and what is left between
the curves at one level.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tonebench.compare.clips import Compared, PairingClips, summed_response
from tonebench.compare.matching import MODE_WORDS, jump_db
from tonebench.plan.differences import what_differs
from tonebench.units import format_db, format_frequency

#: Where curves are compared: what an instrument and its strings' noise reach, and of
#: that what a take can hold.
_LOW_HZ, _TOP_HZ, _TOP_SHARE = 30.0, 16_000.0, 0.45
_BANDS = (
    ("low end", 0.0, 150.0),
    ("middle", 150.0, 1500.0),
    ("treble", 1500.0, math.inf),
)
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
    compared: Compared, pairing: PairingClips, frequency_hz: NDArray[np.float64]
) -> MatchedCurves:
    """Return the curves of a pairing with its match gains applied."""
    sides = (compared.comparison.a, compared.comparison.b)
    matched = pairing.matched
    levels = []
    for side, clip, gain_db in zip(
        sides,
        (pairing.a, pairing.b),
        (matched.gain_a_db, matched.gain_b_db),
        strict=True,
    ):
        magnitude = np.abs(summed_response(side, clip.setting, frequency_hz))
        with np.errstate(divide="ignore"):
            levels.append(20 * np.log10(magnitude) + gain_db)
    return MatchedCurves(frequency_hz, *levels)


def verdict(compared: Compared, pairing: PairingClips) -> tuple[str, str, str]:
    """Return the three sentences of a pairing."""
    comparison = compared.comparison
    differs = what_differs(comparison.a, comparison.b, pairing.pairing)
    opening = differs[0].upper() + differs[1:]
    top_hz = min(_TOP_HZ, _TOP_SHARE * compared.take.sample_rate_hz)
    curves = matched_curves(compared, pairing, np.geomspace(_LOW_HZ, top_hz, 441))
    start = "At one level" if pairing.matched.is_matched else "Not matched,"
    return (
        f"{opening}.",
        _level_sentence(compared, pairing),
        curve_sentence(curves, start),
    )


def _level_sentence(compared: Compared, pairing: PairingClips) -> str:
    levels = pairing.a.levels, pairing.b.levels
    jump = jump_db(*levels, "loudness")
    by_rms = jump_db(*levels, "rms")
    if jump is None and by_rms is None:
        return f"Levels: {pairing.matched.notice or 'there is nothing to match'}."
    told = [
        f"{format_db(value)} {words}"
        for value, words in (
            (jump, "by loudness"),
            (by_rms, "by RMS"),
            (
                jump_db(*levels, "frequency"),
                f"at {format_frequency(compared.comparison.match.frequency_hz)}",
            ),
        )
        if value is not None
    ]
    start = f"Without matching, switching to B: {', '.join(told)}"
    matched = pairing.matched
    if not matched.is_matched:
        return f"{start}; {matched.notice}."
    letter, gain = min(("A", matched.gain_a_db), ("B", matched.gain_b_db), key=_gain)
    mode = MODE_WORDS[matched.mode]
    done = (
        f"{letter} is turned down by {abs(gain):.1f} dB to match {mode}"
        if round(gain, 1) < 0
        else f"{mode} is the same already"
    )
    return f"{start}; {done}."


def _gain(entry: tuple[str, float]) -> float:
    return entry[1]


def curve_sentence(curves: MatchedCurves, start: str = "At one level") -> str:
    """Return where B parts most from A: low end, middle and treble.

    What lies between the curves nearly everywhere is told first; then, of each band,
    the place where the difference turns round, or ends with the range.
    """
    difference_db = curves.difference_db
    highest = max(curves.a_db.max(), curves.b_db.max())
    heard = np.maximum(curves.a_db, curves.b_db) > highest - _UNHEARD_DB
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
        worst = max(inside, key=lambda k: size[k], default=0)
        if inside and size[worst] >= _SMALLEST_DB:
            where = format_frequency(float(hz[worst]))
            told.append(f"{word} {format_db(float(values[worst]))} at {where}")
    if told:
        return f"{start} B has, against A: {', '.join(told)}."
    largest = float(size.max())
    if largest < 0.05:
        return f"{start} the curves of A and B are the same."
    return f"{start} the curves stay within {largest:.1f} dB of each other."


def _turning_points(size: NDArray[np.float64]) -> list[int]:
    """Return where a curve of sizes has its peaks, the ends of the range included."""
    padded = np.concatenate([[-1.0], size, [-1.0]])
    is_peak = (padded[1:-1] >= padded[:-2]) & (padded[1:-1] > padded[2:])
    return np.flatnonzero(is_peak).tolist()
