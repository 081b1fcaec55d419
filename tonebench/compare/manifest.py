# SPDX-License-Identifier: GPL-3.0-or-later
"""The manifest of a run comparison: what was made from what, how loud, with which hash.

Plain JSON with no time, no user and no path in it, so that the same run gives the same
bytes. Renders nothing.
"""

import json
import math
from collections.abc import Mapping
from typing import Any

from tonebench import __version__
from tonebench.audio.levels import DEFAULT_CEILING_DBFS
from tonebench.audio.take import Take
from tonebench.compare.matching import Levels
from tonebench.compare.measured import MeasuredPair
from tonebench.compare.told_levels import reading_values
from tonebench.compare.verdict import all_differ, pair_differs, verdict
from tonebench.compare.voices import Pair, Voice
from tonebench.compare.written import Clip, Compared, PairClips
from tonebench.plan.after import line_with_after
from tonebench.plan.comparison import Comparison

SCHEMA = 1
#: A pairing's curves, by their key in the manifest: as pictures, light ones and dark
#: ones, and as figures.
PICTURES = {
    "svg": "curves.svg",
    "png": "curves.png",
    "svg_dark": "curves-dark.svg",
    "png_dark": "curves-dark.png",
    "csv": "curves.csv",
}


def manifest_of(compared: Compared) -> dict[str, Any]:
    """Return the manifest as plain values."""
    comparison = compared.comparison
    return {
        "schema": SCHEMA,
        "tonebench": __version__,
        "title": comparison.title,
        "differs": all_differ(compared.measured.pairs),
        "takes": [_take(compared, take) for take in comparison.takes],
        "match": {
            "mode": comparison.match.mode,
            "match_hz": comparison.match.frequency_hz,
            "trim_b_db": comparison.match.trim_b_db,
        },
        **_after(compared),
        "ceiling_dbtp": DEFAULT_CEILING_DBFS,
        "trim_db": compared.measured.trim_db,
        "client": dict(comparison.client),
        "pairings": [_pairing(compared, pair) for pair in compared.pairs],
    }


def manifest_bytes(manifest: Mapping[str, Any]) -> bytes:
    """Return a manifest as the bytes of its file."""
    text = json.dumps(manifest, indent=2, ensure_ascii=False, allow_nan=False)
    return f"{text}\n".encode()


def picture_names(measured: MeasuredPair) -> dict[str, str]:
    """Return the file names of a pairing's curves, by their key in the manifest."""
    return {key: f"{measured.pair.stem}-{name}" for key, name in PICTURES.items()}


def _take(compared: Compared, take: Take) -> dict[str, Any]:
    pairs = (pair.measured.pair for pair in compared.pairs)
    first = next(pair for pair in pairs if pair.take is take)
    info = first.info
    return {
        "file": take.audio.name,
        "title": take.title,
        "instrument": take.instrument,
        "tuning": take.tuning,
        "sha256": compared.take_sha256[take.audio.name],
        "sample_rate_hz": info.sample_rate_hz,
        "channels": info.channels,
        "frames": info.frames,
        "full_scale_v": take.full_scale_v,
        "recorded": list(dict.fromkeys(chain.line for chain in take.loads)),
        **_lateness(first),
    }


def _lateness(pair: Pair) -> dict[str, Any]:
    """Return how late plug-ins were at the take's rate, if there are any."""
    if pair.after is None or not pair.after.has_plugins:
        return {}
    return {"after_latency_frames": pair.after.latency_frames}


def _after(compared: Compared) -> dict[str, Any]:
    """Return what came after A and B, if anything did, as it was for the first take."""
    after = compared.pairs[0].measured.pair.after
    return {} if after is None else {"after": after.facts}


def _pairing(compared: Compared, pair: PairClips) -> dict[str, Any]:
    measured, comparison = pair.measured, compared.comparison
    clips = {
        voice.letter: {
            **_clip(comparison, voice, pair.clips[voice.letter], levels),
            **reading_values(heard),
        }
        for voice, levels, heard in zip(
            measured.pair.voices, measured.levels, measured.heard, strict=True
        )
    }
    if "switch" in pair.clips:
        clips["switch"] = _made(pair.clips["switch"]) | {
            "cues": pair.clips["switch"].cues
        }
    if "difference" in pair.clips:
        left = pair.clips["difference"]
        clips["difference"] = _made(left) | {
            "below_a_db": None if left.below_a_db is None else _number(left.below_a_db),
            "is_turned_over": left.is_turned_over,
        }
    return {
        "name": measured.pair.name,
        "take": measured.pair.take.audio.name,
        "is_matched": measured.matched.is_matched,
        "matched_by": measured.matched.mode,
        "notices": list(measured.notices),
        "differs": pair_differs(measured),
        "verdict": list(verdict(measured, comparison.match.frequency_hz)),
        "jump_db": {
            mode: measured.jump_db(mode) for mode in ("loudness", "rms", "frequency")
        },
        **({"curves": picture_names(measured)} if compared.is_packed else {}),
        "clips": clips,
    }


def _clip(
    comparison: Comparison, voice: Voice, clip: Clip, levels: Levels
) -> dict[str, Any]:
    return {
        "name": voice.name or "no circuit",
        "circuit": voice.side.circuit.name,
        "file": clip.file,
        "chain": line_with_after(voice.side.chain.line, comparison.after),
        "settings": voice.moving.positions,
        "gain_db": clip.gain_db,
        "loudness_lufs": _number(clip.loudness_lufs),
        "peak_dbfs": _number(clip.peak_dbfs),
        "true_peak_dbtp": _number(clip.true_peak_dbtp),
        "lead_frames": voice.route.lead_frames,
        "before": _levels(levels),
        "sha256": clip.sha256,
    }


def _made(clip: Clip) -> dict[str, Any]:
    """Return what is told of a clip that is made of A and B."""
    return {
        "file": clip.file,
        "gain_db": clip.gain_db,
        "loudness_lufs": _number(clip.loudness_lufs),
        "peak_dbfs": _number(clip.peak_dbfs),
        "true_peak_dbtp": _number(clip.true_peak_dbtp),
        "sha256": clip.sha256,
    }


def _levels(levels: Levels) -> dict[str, float | None]:
    return {
        "loudness_lufs": _number(levels.loudness_lufs),
        "rms_dbfs": _number(levels.rms_dbfs),
        "peak_dbfs": _number(levels.peak_dbfs),
        "true_peak_dbtp": _number(levels.true_peak_dbtp),
        "gain_at_match_hz_db": _number(levels.gain_at_match_hz_db),
    }


def _number(value: float) -> float | None:
    """Return a level, or null for silence."""
    return value if math.isfinite(value) else None
