# SPDX-License-Identifier: GPL-3.0-or-later
"""The levels of a pairing's clips as they are heard, as a table of a page.

All that comes from a manifest is escaped here.
"""

from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from tonebench.units import format_db, format_level

Values = Mapping[str, Any]

_ROWS = (
    ("loudness", "loudness_lufs", "LUFS"),
    ("loudest 3 s (short-term)", "short_term_max_lufs", "LUFS"),
    ("loudest 400 ms (momentary)", "momentary_max_lufs", "LUFS"),
    ("loudness range", "loudness_range_lu", "LU"),
    ("RMS", "rms_dbfs", "dBFS"),
    ("true peak", "true_peak_dbtp", "dBTP"),
    ("crest: peak over RMS", "crest_db", "dB"),
)


def heard_html(pairing: Values) -> str:
    """Return what the meters read of A and B, and each octave; nothing if unknown."""
    clips = [pairing["clips"][key] for key in ("a", "b")]
    if any("momentary_max_lufs" not in clip for clip in clips):
        return ""
    rows = [
        _row(word, [clip.get(key) for clip in clips], unit) for word, key, unit in _ROWS
    ]
    names = list(clips[0]["octaves_dbfs"])
    octaves = [
        _row(_hertz(name), [clip["octaves_dbfs"].get(name) for clip in clips], "dBFS")
        for name in names
    ]
    return (
        "<details><summary>More levels, as you hear them</summary>"
        '<div class="scroll" tabindex="0" role="region" aria-label="More levels">'
        '<table class="levels"><thead><tr><td></td><th scope="col" class="a">A</th>'
        '<th scope="col" class="b">B</th><th scope="col">B − A</th></tr></thead>'
        f"<tbody>{''.join(rows)}</tbody>"
        '<tbody><tr><th scope="row">RMS in each octave</th>'
        "<td></td><td></td><td></td></tr>"
        f"{''.join(octaves)}</tbody></table></div></details>"
    )


def _row(word: str, values: Sequence[float | None], unit: str) -> str:
    a, b = values
    cells = [_cell(value, unit) for value in values]
    cells.append("" if a is None or b is None else format_db(b - a))
    told = "".join(f"<td>{escape(cell)}</td>" for cell in cells)
    return f'<tr><th scope="row">{escape(word)}</th>{told}</tr>'


def _cell(value: float | None, unit: str) -> str:
    if value is None:
        return "none"
    told = format_level(value, unit)
    return told.removeprefix("+") if unit in ("LU", "dB") else told


def _hertz(name: str) -> str:
    """Return an octave's name with its unit ("500 Hz", "16 kHz")."""
    return f"{name[:-1]} kHz" if name.endswith("k") else f"{name} Hz"
