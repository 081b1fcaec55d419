# SPDX-License-Identifier: GPL-3.0-or-later
"""A checked take as the values that programs read."""

import math
from typing import Any

from tonebench.audio.runs import Runs
from tonebench.report.take_words import finding_words
from tonebench.study.take_check import TakeCheck


def take_json(check: TakeCheck) -> dict[str, Any]:
    """Return the values that ``take --json`` prints; null for what can't be told."""
    info, reading, take = check.info, check.reading, check.take
    levels, hum = reading.levels, reading.hum
    return {
        "schema": 1,
        "file": info.path.name,
        "title": take.title,
        "is_fit": check.is_fit,
        "findings": [
            {
                "kind": finding.kind.value.replace(" ", "_"),
                "is_fault": finding.kind.is_fault,
                "channels": list(finding.channels),
                "words": finding_words(check, finding),
            }
            for finding in check.findings
        ],
        "sample_rate_hz": info.sample_rate_hz,
        "channels": [
            {
                "peak_dbfs": _number(x.peak_dbfs),
                "rms_dbfs": _number(x.rms_dbfs),
                "dc": x.dc,
                "clipped": _runs_json(check, x.clipped),
                "gaps": _runs_json(check, x.gaps),
            }
            for x in reading.channels
        ],
        "frames": info.frames,
        "duration_s": info.duration_s,
        "peak_dbfs": _number(levels.peak_dbfs),
        "true_peak_dbtp": _number(levels.true_peak_dbtp),
        "rms_dbfs": _number(levels.rms_dbfs),
        "crest_db": _number(levels.crest_db),
        "loudness_lufs": _number(levels.loudness_lufs),
        "momentary_max_lufs": _number(levels.momentary_max_lufs),
        "short_term_max_lufs": _number(levels.short_term_max_lufs),
        "loudness_range_lu": _number(levels.range_lu),
        "noise_floor_dbfs": _number(reading.floor_dbfs) if check.has_rest else None,
        "quietest_dbfs": _number(reading.floor_dbfs),
        "playing_dbfs": _number(reading.playing_dbfs),
        "clipped": _runs_json(check, check.clipped),
        "gaps": _runs_json(check, check.gaps),
        "hum": None if hum is None or not check.has_long_rest else {
            "is_there": hum.is_there,
            "mains_hz": hum.mains_hz,
            "level_dbfs": _number(hum.level_dbfs),
            "lines": [
                {
                    "frequency_hz": line.frequency_hz,
                    "level_dbfs": line.level_dbfs,
                    "above_noise_db": line.above_noise_db,
                }
                for line in hum.lines
            ],
        },
        "silence_before_s": reading.leads_s,
        "silence_after_s": reading.trails_s,
        "digital_silence_s": reading.silent_s,
        "lowest_hz": _number(reading.lowest_hz),
        "full_scale_v": take.full_scale_v,
        "recorded": list(dict.fromkeys(load.line for load in take.loads)),
    }  # fmt: skip


def _runs_json(check: TakeCheck, runs: Runs) -> dict[str, Any]:
    first_s = runs.first_frame / check.info.sample_rate_hz
    return {
        "count": runs.count,
        "longest_frames": runs.longest,
        "first_s": first_s if runs.count else None,
    }


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None
