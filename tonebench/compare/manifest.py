# SPDX-License-Identifier: GPL-3.0-or-later
"""The manifest of a run comparison: what was made from what, how loud, with which hash.

Plain JSON with no time, no user and no path in it, so that the same run gives the same
bytes. Renders nothing.
"""

import json
import math
from typing import Any

from tonebench import __version__
from tonebench.compare.clips import Clip, Compared, PairingClips
from tonebench.compare.matching import Levels, jump_db
from tonebench.compare.verdict import verdict
from tonebench.plan.differences import what_differs

SCHEMA = 1


def manifest_of(compared: Compared) -> dict[str, Any]:
    """Return the manifest as plain values."""
    comparison = compared.comparison
    return {
        "schema": SCHEMA,
        "tonebench": __version__,
        "title": comparison.title,
        "differs": what_differs(comparison.a, comparison.b),
        "take": {
            "file": comparison.take.name,
            "sha256": compared.take_sha256,
            "sample_rate_hz": compared.take.sample_rate_hz,
            "channels": compared.take.channels,
            "frames": compared.take.frames,
        },
        "match": {
            "mode": comparison.match.mode,
            "match_hz": comparison.match.frequency_hz,
        },
        "trim_db": compared.trim_db,
        "client": dict(comparison.client),
        "pairings": [_pairing(compared, pairing) for pairing in compared.pairings],
    }


def manifest_bytes(compared: Compared) -> bytes:
    """Return the manifest as the bytes of its file."""
    text = json.dumps(
        manifest_of(compared), indent=2, ensure_ascii=False, allow_nan=False
    )
    return f"{text}\n".encode()


def _pairing(compared: Compared, pairing: PairingClips) -> dict[str, Any]:
    levels = pairing.a.levels, pairing.b.levels
    return {
        "name": pairing.name,
        "is_matched": pairing.matched.is_matched,
        "notices": list(pairing.notices),
        "differs": what_differs(
            compared.comparison.a, compared.comparison.b, pairing.pairing
        ),
        "verdict": list(verdict(compared, pairing)),
        "jump_db": {
            mode: jump_db(*levels, mode) for mode in ("loudness", "rms", "frequency")
        },
        "curves": {
            ending: picture_name(pairing, f".{ending}") for ending in ("svg", "png")
        },
        "clips": {
            letter: {"circuit": side.circuit.name, **_clip(clip)}
            for letter, side, clip in (
                ("a", compared.comparison.a, pairing.a),
                ("b", compared.comparison.b, pairing.b),
            )
        },
    }


def _clip(clip: Clip) -> dict[str, Any]:
    return {
        "file": clip.file,
        "chain": clip.chain,
        "settings": dict(clip.setting),
        "gain_db": clip.gain_db,
        "loudness_lufs": _number(clip.loudness_lufs),
        "peak_dbfs": _number(clip.peak_dbfs),
        "lead_frames": clip.lead_frames,
        "before": _levels(clip.levels),
        "sha256": clip.sha256,
    }


def _levels(levels: Levels) -> dict[str, float | None]:
    return {
        "loudness_lufs": _number(levels.loudness_lufs),
        "rms_dbfs": _number(levels.rms_dbfs),
        "peak_dbfs": _number(levels.peak_dbfs),
        "gain_at_match_hz_db": _number(levels.gain_at_match_hz_db),
    }


def _number(value: float) -> float | None:
    """Return a level, or null for silence."""
    return value if math.isfinite(value) else None


def picture_name(pairing: PairingClips, ending: str) -> str:
    """Return the file name of a pairing's picture."""
    return f"{pairing.stem}-curves{ending}"
