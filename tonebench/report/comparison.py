# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison as a folder: clips, pictures, manifest; whole, or not there at all."""

import math
from pathlib import Path

import numpy as np

from tonebench.audio.outputs import whole_folder, write_whole
from tonebench.compare.clips import (
    Clip,
    Compared,
    PairingClips,
    make_clips,
    summed_response,
)
from tonebench.compare.manifest import manifest_bytes
from tonebench.compare.verdict import verdict
from tonebench.plan.comparison import Comparison, what_differs
from tonebench.render.offline import Progress
from tonebench.render.told import TAKE_NOTICE
from tonebench.report.plots import draw_pair
from tonebench.study.curves import setting_words
from tonebench.units import format_db

MANIFEST = "manifest.json"
_PICTURE_HZ = np.geomspace(20, 20_000, 481)
_ENDINGS = (".svg", ".png")


def write_comparison(
    comparison: Comparison,
    folder: Path,
    *,
    force: bool = False,
    progress: Progress = lambda share: None,
) -> Compared:
    """Run a comparison and write everything that comes out of it into a folder.

    Raises
    ------
    OutputError
        If the folder holds files already and `force` is off, or can't be written.
    AudioError, CircuitError
        If the take can't be read, or a circuit has no answer at a setting.
    """
    with whole_folder(folder, force) as part:
        compared = make_clips(comparison, part, progress=progress)
        for pairing in compared.pairings:
            for ending in _ENDINGS:
                picture = _picture(compared, pairing, ending)
                write_whole(part / picture_name(pairing, ending), picture)
        write_whole(part / MANIFEST, manifest_bytes(compared))
    return compared


def picture_name(pairing: PairingClips, ending: str) -> str:
    """Return the file name of a pairing's picture."""
    stem = pairing.a.file.removesuffix(".wav").rpartition("-a-")[0]
    return f"{stem}-curves{ending}"


def _picture(compared: Compared, pairing: PairingClips, ending: str) -> bytes:
    comparison = compared.comparison
    sides = ((comparison.a, pairing.a), (comparison.b, pairing.b))
    with np.errstate(divide="ignore"):
        a_db, b_db = (
            20 * np.log10(np.abs(summed_response(side, clip.setting, _PICTURE_HZ)))
            + clip.gain_db
            - compared.trim_db
            for side, clip in sides
        )
    _, _, curve_sentence = verdict(compared, pairing)
    return draw_pair(
        _PICTURE_HZ,
        a_db,
        b_db,
        headline=curve_sentence.rstrip("."),
        below=f"{pairing.name} · A: {pairing.a.chain} · B: {pairing.b.chain}",
        ending=ending,
    )


def comparison_words(compared: Compared, folder: Path) -> str:
    """Return the lines that ``compare`` prints."""
    comparison = compared.comparison
    differs = what_differs(comparison.a, comparison.b)
    lines = [
        f"{comparison.title}: {differs}",
        f"A  {comparison.a.chain.line}",
        f"B  {comparison.b.chain.line}",
        f"{comparison.take.name}: {TAKE_NOTICE}",
    ]
    for pairing in compared.pairings:
        lines += ["", pairing.name]
        lines += [f"  {sentence}" for sentence in verdict(compared, pairing)]
        lines += [f"  {notice}" for notice in pairing.notices]
        lines += [f"  {_clip_words(clip)}" for clip in (pairing.a, pairing.b)]
    lines.append("")
    if compared.trim_db:
        lines.append(
            f"all clips are trimmed by {compared.trim_db:.1f} dB to keep the set "
            "under full scale"
        )
    lines.append(f"wrote {folder}")
    return "\n".join(lines)


def _clip_words(clip: Clip) -> str:
    loudness = clip.loudness_lufs
    level = f"{loudness:.1f} LUFS" if math.isfinite(loudness) else "silent"
    words = setting_words(clip.setting) or "nothing to set"
    return f"{clip.file}: {words}; {level}, turned by {format_db(clip.gain_db)}"
