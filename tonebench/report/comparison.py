# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison as a folder: clips, pictures, page, manifest; whole, or not at all."""

import json
import math
from pathlib import Path

import numpy as np

from tonebench.audio.outputs import is_same_file, whole_folder, write_whole
from tonebench.compare.clips import (
    Clip,
    Compared,
    PairingClips,
    make_clips,
)
from tonebench.compare.manifest import manifest_bytes, manifest_of, picture_name
from tonebench.compare.verdict import matched_curves, verdict
from tonebench.errors import RequestError
from tonebench.plan.comparison import Comparison
from tonebench.render.offline import Progress
from tonebench.render.told import take_notice
from tonebench.report.client import write_page
from tonebench.report.plots import draw_pair
from tonebench.study.curves import setting_words
from tonebench.units import format_db, format_level

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
    RequestError
        If a clip would be written over the take.
    OutputError
        If the folder holds files already and `force` is off, or can't be written.
    AudioError, CircuitError
        If the take can't be read, or a circuit has no answer at a setting.
    """
    earlier = _files_of(folder)
    with whole_folder(folder, force) as part:
        compared = make_clips(comparison, part, progress=progress)
        for name in (entry.name for entry in part.iterdir()):
            if is_same_file(comparison.take, folder / name):
                raise RequestError(
                    f"{folder / name}: is the take itself, and would be lost; "
                    "give another folder"
                )
        for pairing in compared.pairings:
            for ending in _ENDINGS:
                picture = _picture(compared, pairing, ending)
                write_whole(part / picture_name(pairing, ending), picture)
        write_whole(part / MANIFEST, manifest_bytes(compared))
        curves = [matched_curves(compared, p, _PICTURE_HZ) for p in compared.pairings]
        write_page(part, manifest_of(compared), curves)
        written = {entry.name for entry in part.iterdir()}
    for path in (folder / name for name in earlier - written):
        # a clip may have become a take
        if path.is_file() and not is_same_file(comparison.take, path):
            path.unlink()
    return compared


def _files_of(folder: Path) -> set[str]:
    """Return what an earlier run left in a folder, by its manifest."""
    try:
        manifest = json.loads((folder / MANIFEST).read_bytes())
        pairings = manifest["pairings"]
        named = [clip["file"] for p in pairings for clip in p["clips"].values()]
        named += [name for p in pairings for name in p["curves"].values()]
        named += ["index.html", *(path.name for path in folder.glob("clip-*.js"))]
        return {name for name in named if name == Path(name).name}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return set()


def _picture(compared: Compared, pairing: PairingClips, ending: str) -> bytes:
    a, b = compared.comparison.a, compared.comparison.b
    curves = matched_curves(compared, pairing, _PICTURE_HZ)
    return draw_pair(
        curves,
        (f"A {a.circuit.name}", f"B {b.circuit.name}"),
        headline=verdict(compared, pairing)[2],
        below=[pairing.name, f"A  {a.chain.line}", f"B  {b.chain.line}"],
        label="dB, at one level" if pairing.matched.is_matched else "dB, not matched",
        ending=ending,
    )


def comparison_words(compared: Compared, folder: Path) -> str:
    """Return the lines that ``compare`` prints."""
    comparison = compared.comparison
    lines = [
        comparison.title,
        f"A  {comparison.a.chain.line}",
        f"B  {comparison.b.chain.line}",
        f"{comparison.take.name}: {take_notice(comparison.a.chain)}",
    ]
    for pairing in compared.pairings:
        lines += ["", pairing.name]
        sentences = verdict(compared, pairing)
        lines += [f"  {sentence}" for sentence in sentences]
        lines += [
            f"  {notice}" for notice in pairing.notices if notice not in sentences[1]
        ]
        lines += [f"  {_clip_words(clip)}" for clip in (pairing.a, pairing.b)]
    lines.append("")
    if compared.trim_db:
        lines.append(
            f"all clips are turned by {format_db(compared.trim_db)} to keep the set "
            "under full scale"
        )
    lines.append(f"wrote {folder}")
    return "\n".join(lines)


def _clip_words(clip: Clip) -> str:
    level = format_level(clip.loudness_lufs, "LUFS")
    if math.isinf(clip.loudness_lufs) and not math.isinf(clip.peak_dbfs):
        level = f"peak {format_level(clip.peak_dbfs, 'dBFS')}"
    words = setting_words(clip.setting) or "nothing to set"
    return f"{clip.file}: {words}; {level}, turned by {format_db(clip.gain_db)}"
