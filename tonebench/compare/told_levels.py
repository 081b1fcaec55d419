# SPDX-License-Identifier: GPL-3.0-or-later
"""What the meters read of a clip as it is heard, as plain values for a manifest."""

import math
from typing import Any

from tonebench.audio.bands import OCTAVE_NAMES
from tonebench.audio.meters import Reading


def reading_values(reading: Reading) -> dict[str, Any]:
    """Return a reading as JSON values; null for what can't be told.

    Loudness, peak and true peak of a clip stand beside it already.
    """
    return {
        "momentary_max_lufs": _number(reading.momentary_max_lufs),
        "short_term_max_lufs": _number(reading.short_term_max_lufs),
        "loudness_range_lu": _number(reading.range_lu),
        "rms_dbfs": _number(reading.rms_dbfs),
        "crest_db": _number(reading.crest_db),
        "octaves_dbfs": dict(zip(OCTAVE_NAMES, reading.octaves_dbfs, strict=True)),
    }


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None
