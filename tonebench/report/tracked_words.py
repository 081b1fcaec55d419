# SPDX-License-Identifier: GPL-3.0-or-later
"""A feature in a player's words, and how far it wanders over all settings."""

import math

from tonebench.circuit.controls import Settings
from tonebench.study.curves import setting_words
from tonebench.study.features import LOWEST_HZ, MIDDLE_HZ, Feature
from tonebench.study.tracked import TrackedFeature
from tonebench.units import format_db, format_frequency

#: Two figures that agree within this, relative, are told once.
_SAME = 0.01


def tracked_words(tracked: TrackedFeature, start: Settings) -> str:
    """Return a feature in words: where it is, and how far it wanders.

    `start` is where the controls stand if nothing else is said.
    """
    text = _here_words(tracked.here)
    if not tracked.is_here:
        text += f" with {setting_words(_turned(tracked.setting, start))}"
    ranges = []
    low, high = tracked.range_hz
    if not is_same(low, high):
        ranges.append(f"{_low_words(low)} to {format_frequency(high)}")
    if tracked.here.kind in ("peak", "dip", "shelf"):
        least, most = tracked.range_db
        if most - least >= 0.5:
            ranges.append(f"{format_db(least)} to {format_db(most)}")
    if ranges:
        text += f"; over all settings {', '.join(ranges)}"
    if not tracked.always and not tracked.is_here:
        text += f"; there at {_share_words(tracked.share)} of the settings"
    elif not tracked.always:
        text += f"; gone at {_share_words(1 - tracked.share)} of the settings"
    return text


def _turned(setting: Settings, start: Settings) -> Settings:
    return {name: place for name, place in setting.items() if place != start[name]}


def _low_words(low_hz: float) -> str:
    return "below 10 Hz" if low_hz < LOWEST_HZ else format_frequency(low_hz)


def _share_words(share: float) -> str:
    return f"{max(1, min(99, round(100 * share)))} %"


def _here_words(here: Feature) -> str:
    at = format_frequency(here.frequency_hz)
    slope = f"{_slope(here)} dB per octave"
    is_sharp = here.q is not None and math.isfinite(here.q) and here.q >= 0.5
    is_tip = here.kind in ("peak", "dip")
    q = f", Q {here.q:.2g}" if here.q and (is_sharp or is_tip) else ""
    match here.kind:
        case "peak":
            return f"peak of {format_db(here.level_db)} at {at}{q}"
        case "dip":
            return f"dip of {format_db(here.level_db)} at {at}{q}"
        case "high-pass":
            return f"high-pass: the low end falls off below {at} (−3 dB), {slope}{q}"
        case "low-pass":
            return f"low-pass: the top falls off above {at} (−3 dB), {slope}{q}"
    side = "below" if here.frequency_hz < MIDDLE_HZ else "above"
    return f"shelf: {format_db(here.level_db)} {side} {at}"


def _slope(here: Feature) -> int:
    """Return the slope of a roll-off in steps of 6 dB per octave."""
    return 6 * max(1, round(abs(here.slope_db_per_octave) / 6.02))


def is_same(one: float | None, other: float | None) -> bool:
    """Return whether two figures are told as one; None is only like None."""
    if one is None or other is None:
        return one is other
    return abs(one - other) <= _SAME * max(abs(one), abs(other))
