# SPDX-License-Identifier: GPL-3.0-or-later
"""What ``take --tone`` prints: volts at full scale, the line to write, cautions."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tonebench.study.calibration import METER_HZ, Calibration
from tonebench.units import format_frequency, format_level, format_value, to_db

_CAUTION = (
    "It holds for takes recorded through the same input with the gain left as it is, "
    "and if the meter hung at the instrument's jack while the interface was connected. "
    "Never put a meter's leads, or an instrument's jack, on mains-powered equipment "
    "that is open."
)


def calibration_words(found: Calibration, written: Sequence[Path]) -> str:
    """Return the lines that are printed."""
    tone = found.tone
    volts = format_value(found.full_scale_v, "V", 4)
    dbu = format_level(found.full_scale_dbu, "dBu")
    lines = [
        f"Digital full scale is {volts} peak at the jack: the sine that just reaches "
        f"it has {dbu}.",
        f'In a take file:  full_scale = "{found.line_value}"',
        "",
        f"the tone: {format_frequency(tone.frequency_hz)} at "
        f"{format_level(to_db(tone.peak), 'dBFS')} peak for {tone.seconds:.1f} s"
        f"{_channel(found)}, steady within {tone.spread_db:.3f} dB; "
        f"{100 * tone.distortion:.2g} % distortion, {100 * tone.rest:.2g} % with noise "
        "and hum",
        f"the meter: {format_value(found.meter_v_rms, 'V', 4)} RMS",
    ]
    if found.is_beyond_meters:
        low, high = (format_frequency(hz) for hz in METER_HZ)
        lines.append(
            f"simple meters read right from {low} to {high} alone: does yours here?"
        )
    lines += ["", _CAUTION]
    lines += [f"wrote {path}" for path in written]
    return "\n".join(lines)


def _channel(found: Calibration) -> str:
    """Tell the channel where it may not be the first."""
    return "" if found.tone.channel == 1 else f" in channel {found.tone.channel}"


def calibration_json(found: Calibration, written: Sequence[Path]) -> dict[str, Any]:
    """Return the values that ``take --tone --json`` prints."""
    tone = found.tone
    return {
        "schema": 1,
        "file": found.take.audio.name,
        "full_scale_v": found.full_scale_v,
        "full_scale_dbu": found.full_scale_dbu,
        "line": f'full_scale = "{found.line_value}"',
        "meter_v_rms": found.meter_v_rms,
        "tone": {
            "channel": tone.channel,
            "frequency_hz": tone.frequency_hz,
            "peak_dbfs": to_db(tone.peak),
            "duration_s": tone.seconds,
            "distortion": tone.distortion,
            "distortion_and_noise": tone.rest,
            "spread_db": tone.spread_db,
        },
        "written": [str(path) for path in written],
    }
