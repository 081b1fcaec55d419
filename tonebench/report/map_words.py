# SPDX-License-Identifier: GPL-3.0-or-later
"""Features over a knob: in sentences, as CSV, and as plain values for JSON.

Computes nothing.
"""

import csv
import io
from collections.abc import Callable, Sequence

import numpy as np

from tonebench.circuit.hookup import Chain
from tonebench.study.curves import setting_words
from tonebench.study.feature_map import FeatureMap, Track
from tonebench.units import format_db, format_frequency, format_position

SCHEMA = 1
#: Two figures that agree within this, relative, are told once.
_SAME = 0.005
_SAME_DB = 0.1
_LEVELLED = ("peak", "dip", "shelf")


def map_words(chain: Chain, found: FeatureMap) -> str:
    """Return what ``curves --map`` prints."""
    name = found.knob.label or found.knob.name
    others = {k: v for k, v in found.setting.items() if k != found.knob.name}
    lines = [chain.circuit.full_title, chain.line]
    if others:
        lines.append(f"the rest at {setting_words(others)}")
    lines += ["", f"While {name} turns from 0 to 10:"]
    tracks = sorted(found.tracks, key=lambda track: track.features[0].frequency_hz)
    lines += [f"  {_track_words(track)}" for track in tracks]
    if not tracks:
        lines.append("  nothing stands out: no peak, dip, shelf or roll-off")
    return "\n".join(lines)


def _track_words(track: Track) -> str:
    """Say from where to where a feature goes, and where it isn't."""
    hz = [feature.frequency_hz for feature in track.features]
    told = f"{track.kind}: {_range_words(hz, format_frequency, _SAME * max(hz))}"
    if track.kind in _LEVELLED:
        level = [feature.level_db for feature in track.features]
        told += f", {_range_words(level, format_db, _SAME_DB)}"
    first, last = track.positions[0], track.positions[-1]
    if (first, last) == (0.0, 10.0):
        return told
    if first == last:
        return f"{told}; only at {format_position(first)}"
    return f"{told}; only from {format_position(first)} to {format_position(last)}"


def _range_words(
    values: Sequence[float], form: Callable[[float], str], same: float
) -> str:
    """Say how a figure goes on its way: nowhere, up or down, or to and fro."""
    low, high = min(values), max(values)
    if high - low <= same:
        return form(values[0])
    ends = values[0], values[-1]
    if (min(ends), max(ends)) == (low, high):
        return f"from {form(ends[0])} to {form(ends[1])}"
    if high - max(ends) <= same and min(ends) - low <= same:
        return f"from {form(ends[0])} to {form(ends[1])}"
    return f"between {form(low)} and {form(high)}"


def map_json(chain: Chain, found: FeatureMap) -> dict[str, object]:
    """Return features over a knob as the values that ``curves --map --json`` prints.

    `change_db` has a row per position; null where the circuit is silent.
    """
    return {
        "schema": SCHEMA,
        "circuit": chain.circuit.name,
        "title": chain.circuit.title,
        "chain": chain.line,
        "knob": found.knob.name,
        "settings": dict(found.setting),
        "features": [
            {
                "kind": track.kind,
                "positions": list(track.positions),
                "frequency_hz": [float(f.frequency_hz) for f in track.features],
                "level_db": [float(f.level_db) for f in track.features],
                "gain_db": [float(f.gain_db) for f in track.features],
            }
            for track in found.tracks
        ],
        "positions": found.positions.tolist(),
        "frequency_hz": found.frequency_hz.tolist(),
        "change_db": [
            [value if np.isfinite(value) else None for value in row]
            for row in found.change_db.tolist()
        ],
    }


def map_csv(found: FeatureMap) -> str:
    """Return features over a knob as CSV (RFC 4180), a row per feature and position."""
    text = io.StringIO()
    table = csv.writer(text)
    heads = ("feature", "kind", "position", "frequency_hz", "level_db", "gain_db")
    table.writerow(heads)
    for number, track in enumerate(found.tracks, start=1):
        for position, feature in zip(track.positions, track.features, strict=True):
            figures = (feature.frequency_hz, feature.level_db, feature.gain_db)
            table.writerow([number, track.kind, position, *map(float, figures)])
    return text.getvalue()
