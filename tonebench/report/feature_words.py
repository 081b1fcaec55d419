# SPDX-License-Identifier: GPL-3.0-or-later
"""A feature of a curve in words, and what is left of it when something is changed.

Computes nothing.
"""

from tonebench.study.causes import Left
from tonebench.study.features import MIDDLE_HZ, Feature
from tonebench.units import format_db, format_frequency


def feature_words(feature: Feature) -> str:
    """Return what a feature is and where ("peak at 3.69 kHz, +9.9 dB").

    A shelf is told by its outer side.
    """
    at = format_frequency(feature.frequency_hz)
    level = format_db(feature.level_db)
    match feature.kind:
        case "peak" | "dip":
            return f"{feature.kind} at {at}, {level}"
        case "shelf":
            side = "below" if feature.frequency_hz < MIDDLE_HZ else "above"
            return f"shelf {side} {at}, {level}"
    return f"{feature.kind} at {at}"


def without_words(left: Left, ref: str) -> str:
    """Return what was changed ("without the load", "with C6 bridged")."""
    match left.how:
        case "opened":
            return f"without {ref}"
        case "bridged":
            return f"with {ref} bridged"
        case "ideal source":
            return "with an ideal source instead"
        case "buffer":
            return "behind a buffer"
        case "no cable":
            return "without the lead"
        case "no load":
            return "without the load"


def left_words(left: Left) -> str:
    """Return what is left of a feature ("it is gone", "it is at 16.3 Hz")."""
    if left.feature is None:
        return "it is gone"
    at = format_frequency(left.feature.frequency_hz)
    if left.feature.kind in ("peak", "dip", "shelf"):
        return f"it is at {at}, {format_db(left.feature.level_db)}"
    return f"it is at {at}"
