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
from tonebench.plan.comparison import what_differs
from tonebench.units import format_db, format_frequency

#: Where curves are compared: what an instrument and its strings' noise reach.
_RANGE_HZ = np.geomspace(30, 16_000, 441)
#: Smaller differences are not told.
_SMALLEST_DB = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Difference:
    """B − A at one level, in dB over Hz; NaN where either is silent."""

    frequency_hz: NDArray[np.float64]
    difference_db: NDArray[np.float64]


def difference(
    compared: Compared, pairing: PairingClips, frequency_hz: NDArray[np.float64]
) -> Difference:
    """Return B − A of a pairing with its match gains applied."""
    sides = (compared.comparison.a, compared.comparison.b)
    clips = (pairing.a, pairing.b)
    levels = []
    for side, clip in zip(sides, clips, strict=True):
        magnitude = np.abs(summed_response(side, clip.setting, frequency_hz))
        with np.errstate(divide="ignore"):
            levels.append(20 * np.log10(magnitude) + clip.gain_db)
    with np.errstate(invalid="ignore"):
        difference_db = levels[1] - levels[0]
    difference_db[~np.isfinite(difference_db)] = np.nan
    return Difference(frequency_hz, difference_db)


def verdict(compared: Compared, pairing: PairingClips) -> tuple[str, str, str]:
    """Return the three sentences of a pairing."""
    differs = what_differs(compared.comparison.a, compared.comparison.b)
    opening = differs[0].upper() + differs[1:]
    return (
        f"{opening}; A is {pairing.a.chain}.",
        _level_sentence(compared, pairing),
        _curve_sentence(difference(compared, pairing, _RANGE_HZ)),
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
    start = f"Without matching, switching to B is {', '.join(told)}"
    matched = pairing.matched
    if not matched.is_matched:
        return f"{start}; {matched.notice}."
    letter, gain = min(("A", matched.gain_a_db), ("B", matched.gain_b_db), key=_gain)
    mode = MODE_WORDS[compared.comparison.match.mode]
    done = (
        f"{letter} is turned down by {abs(gain):.1f} dB to match {mode}"
        if round(gain, 1) < 0
        else f"they match by {mode} as they are"
    )
    return f"{start}; {done}."


def _gain(entry: tuple[str, float]) -> float:
    return entry[1]


def _curve_sentence(found: Difference) -> str:
    values = found.difference_db
    if not np.isfinite(values).any():
        return "There are no two curves to compare: a side is silent."
    low, high = int(np.nanargmin(values)), int(np.nanargmax(values))
    parts = []
    if values[high] >= _SMALLEST_DB:
        where = format_frequency(found.frequency_hz[high])
        parts.append(f"up to {values[high]:.1f} dB above A (at {where})")
    if values[low] <= -_SMALLEST_DB:
        where = format_frequency(found.frequency_hz[low])
        parts.append(f"up to {-values[low]:.1f} dB below A (at {where})")
    if not parts:
        largest = math.ceil(10 * float(np.nanmax(np.abs(values)))) / 10
        return (
            f"From 30 Hz to 16 kHz the curves of A and B stay within {largest:.1f} dB "
            "of each other."
        )
    return f"As matched, B runs {' and '.join(parts)}."
