# SPDX-License-Identifier: GPL-3.0-or-later
"""The curves of a pairing as a CSV file, to compute with and to draw again."""

import csv
import io
import math
from pathlib import Path

import numpy as np

from tonebench.compare.verdict import MatchedCurves
from tonebench.errors import InputError

_HEADS = ("frequency_hz", "a_db", "b_db", "b_minus_a_db")


def pair_csv(curves: MatchedCurves) -> bytes:
    """Return A, B and B − A as CSV (RFC 4180); silence leaves a cell empty."""
    text = io.StringIO()
    table = csv.writer(text)
    table.writerow(_HEADS)
    columns = curves.frequency_hz, curves.a_db, curves.b_db, curves.difference_db
    for row in zip(*(column.tolist() for column in columns), strict=True):
        table.writerow([value if math.isfinite(value) else "" for value in row])
    return text.getvalue().encode("ascii")


def read_pair_csv(path: Path) -> MatchedCurves:
    """Read curves back, to the last bit.

    Raises
    ------
    InputError
        If the file is missing, or isn't what `pair_csv` gives.
    """
    try:
        with path.open(encoding="ascii", newline="") as file:
            heads, *rows = csv.reader(file)
            values = np.array(
                [[float(cell or "-inf") for cell in row[:3]] for row in rows]
            )
        if tuple(heads) != _HEADS or len(values) < 2 or not (values[:, 0] > 0).all():
            raise ValueError
    except (OSError, ValueError, IndexError) as error:
        raise InputError(
            f"{path}: holds no curves of a comparison; run compare again"
        ) from error
    return MatchedCurves(*values.T)
