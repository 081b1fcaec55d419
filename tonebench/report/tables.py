# SPDX-License-Identifier: GPL-3.0-or-later
"""Curves as text: a table to read, CSV to compute with, plain values for JSON."""

import csv
import io
from collections.abc import Sequence

import numpy as np

from tonebench.circuit.hookup import Chain
from tonebench.study.curves import Curve, curve_values, setting_words

SCHEMA = 1
#: Where a table in the terminal looks, unless asked: the octaves of 1 kHz, the ends.
TABLE_HZ = (20, 31.25, 62.5, 125, 250, 500, 1000, 2000, 4000, 8000, 16000, 20000)


def curve_json(chain: Chain, curves: Sequence[Curve]) -> dict[str, object]:
    """Return curves as the values that ``curves --json`` prints."""
    return {
        "schema": SCHEMA,
        "circuit": chain.circuit.name,
        "title": chain.circuit.title,
        "chain": chain.line,
        "curves": [curve_values(curve) for curve in curves],
    }


def curve_csv(curves: Sequence[Curve]) -> str:
    """Return curves as CSV (RFC 4180), one row per frequency and curve."""
    text = io.StringIO()
    table = csv.writer(text)
    has_filter = any(curve.digital_gain_db is not None for curve in curves)
    heads = ["setting", "input", "frequency_hz", "gain_db", "phase_deg"]
    table.writerow(heads + (["digital_gain_db"] if has_filter else []))
    for curve in curves:
        words = setting_words(curve.setting)
        columns = [curve.frequency_hz, curve.gain_db, curve.phase_deg]
        if curve.digital_gain_db is not None:
            columns.append(curve.digital_gain_db)
        for row in zip(*(column.tolist() for column in columns), strict=True):
            numbers = [value if np.isfinite(value) else "" for value in row]
            table.writerow([words, curve.input, *numbers])
    return text.getvalue()


def curve_table(
    chain: Chain, curves: Sequence[Curve], names: Sequence[str] = ()
) -> str:
    """Return curves as a table: a row per frequency, a column per curve, gain in dB.

    Behind the gain stands how far the filter is from it, where there is one.
    """
    inputs = {curve.input for curve in curves}
    heads = []
    for curve in curves:
        words = setting_words(curve.setting, names) or "as drawn"
        heads.append(f"{curve.input}: {words}" if len(inputs) > 1 else words)
    at_hz = curves[0].frequency_hz
    lines = [f"{chain.circuit.full_title}", chain.line, ""]
    has_filter = any(curve.digital_gain_db is not None for curve in curves)
    width = 19 if has_filter else 10
    for start in range(0, len(curves), 5):
        shown = curves[start : start + 5]
        for k, head in enumerate(heads[start : start + 5]):
            lines.append(f"  {chr(0x2460 + (start + k) % 20)} {head}")
        marks = [chr(0x2460 + (start + k) % 20) for k in range(len(shown))]
        lines.append("        Hz" + "".join(f"{m + ' dB':>{width}}" for m in marks))
        for row in range(len(at_hz)):
            cells = [_cell(curve, row) for curve in shown]
            lines.append(
                f"{at_hz[row]:>10.6g}" + "".join(f"{c:>{width}}" for c in cells)
            )
        lines.append("")
    return "\n".join(lines).rstrip()


def _cell(curve: Curve, row: int) -> str:
    gain_db = curve.gain_db[row]
    text = f"{gain_db:+.2f}" if np.isfinite(gain_db) else "silent"
    digital = curve.digital_gain_db
    if digital is not None and np.isfinite([gain_db, digital[row]]).all():
        text += f" ({digital[row] - gain_db:+.3f})"
    return text
