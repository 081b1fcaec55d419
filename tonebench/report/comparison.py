# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison as a folder: clips, pictures, page, manifest; whole, or not at all."""

import json
import webbrowser
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from tonebench.audio.outputs import is_same_file, whole_folder, write_whole
from tonebench.audio.take import open_strings_hz
from tonebench.compare.clips import write_clips
from tonebench.compare.manifest import manifest_bytes, manifest_of, picture_names
from tonebench.compare.matching import level_words
from tonebench.compare.measured import Measured, MeasuredPair, measure
from tonebench.compare.verdict import matched_curves, verdict
from tonebench.compare.written import Compared
from tonebench.errors import MissingPartError, RequestError
from tonebench.plan.after import line_with_after
from tonebench.plan.comparison import Comparison
from tonebench.render.offline import Progress
from tonebench.report.client import PAGE, write_page
from tonebench.report.client_pairing import Shown
from tonebench.report.client_words import AskedWords, PairWords, pair_words
from tonebench.report.curve_files import pair_csv
from tonebench.report.drawing import SecondHand
from tonebench.report.plots import PairPicture

MANIFEST = "manifest.json"
#: Longer comparisons leave words to the second process: it has drawn its pictures soon.
_LONG_S = 120.0
_PICTURE_HZ = np.geomspace(20, 20_000, 481)


def write_comparison(
    comparison: Comparison,
    folder: Path,
    *,
    clips_only: bool = False,
    force: bool = False,
    progress: Progress = lambda share: None,
) -> Compared:
    """Run a comparison and write everything that comes out of it into a folder.

    Parameters
    ----------
    comparison : Comparison
        What was asked for.
    folder : Path
        Where to.
    clips_only : bool
        Whether to leave out the pictures and the page, and write clips and manifest.
    force : bool
        Whether a folder with files in it may be used.
    progress : callable
        Told how much is done, 0 to 1.

    Raises
    ------
    RequestError
        If a clip would be written over a take.
    OutputError
        If the folder holds files already and `force` is off, or can't be written.
    AudioError, CircuitError
        If a take can't be read, or a circuit has no answer at a setting.
    """
    earlier = _files_of(folder)
    with whole_folder(folder, force) as part, ExitStack() as stack:
        hand = None if clips_only else stack.enter_context(SecondHand())
        measured = measure(comparison, lambda share: progress(share / 2))
        _refuse_takes_in_the_way(measured, folder)
        packed = None
        if hand:
            pictures = [_picture(measured, pair) for pair in measured.pairs]
            asked = [_asked_words(pair) for pair in measured.pairs]
            is_long = _seconds(measured) > _LONG_S
            hand.ask(pictures, asked if is_long else ())
            packs = TemporaryDirectory(prefix=".packed-", dir=part)
            packed = Path(stack.enter_context(packs))
        compared = write_clips(
            measured,
            part,
            packed=packed,
            progress=lambda share: progress((1 + share) / 2),
        )
        manifest = manifest_of(compared)
        write_whole(part / MANIFEST, manifest_bytes(manifest))
        if hand:
            # short clips are written long before the pictures are drawn
            words = hand.words() if is_long else pair_words(asked)
            shown = _shown(measured, pictures, words)
            write_page(part, manifest, shown, packed)
            for pair, its, drawn in zip(
                measured.pairs, shown, hand.pictures(), strict=True
            ):
                files = {**drawn, "csv": pair_csv(its.curves)}
                for key, name in picture_names(pair).items():
                    write_whole(part / name, files[key])
        stack.close()
        written = {entry.name for entry in part.iterdir()}
    for path in (folder / name for name in earlier - written):
        # a clip may have become a take
        if path.is_file() and not _is_read(path, comparison):
            path.unlink()
    return compared


def open_page(folder: Path) -> None:
    """Open the page of a comparison in the system's browser.

    Raises
    ------
    MissingPartError
        If the system names no browser.
    """
    page = (folder / PAGE).resolve()
    if not webbrowser.open(page.as_uri()):
        raise MissingPartError(
            f"there is no browser to open {page} with; open it by hand"
        )


def _is_read(path: Path, comparison: Comparison) -> bool:
    read = [take.audio for take in comparison.takes]
    read += [step.path for step in comparison.after]
    return any(is_same_file(each, path) for each in read)


def _refuse_takes_in_the_way(measured: Measured, folder: Path) -> None:
    for pair in measured.pairs:
        for name in pair.files.values():
            if _is_read(folder / name, measured.comparison):
                raise RequestError(
                    f"{folder / name}: is the take itself or comes after, and would "
                    "be lost; give another folder"
                )


def _files_of(folder: Path) -> set[str]:
    """Return what an earlier run left in a folder, by its manifest."""
    try:
        manifest = json.loads((folder / MANIFEST).read_bytes())
        named = []
        for pairing in manifest["pairings"]:
            for clip in pairing["clips"].values():
                named += [clip["file"], clip.get("cues", "")]
            named += pairing.get("curves", {}).values()
        named += [PAGE, *(path.name for path in folder.glob("clip-*.js"))]
        return {name for name in named if name and name == Path(name).name}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return set()


def _seconds(measured: Measured) -> float:
    """Return how long all takes are together, each pairing's counted."""
    return sum(pair.pair.info.duration_s for pair in measured.pairs)


def _asked_words(pair: MeasuredPair) -> AskedWords:
    a, b = pair.pair.a, pair.pair.b
    return AskedWords(a.side, b.side, dict(a.setting), dict(b.setting))


def _shown(
    measured: Measured, pictures: Sequence[PairPicture], words: Sequence[PairWords]
) -> list[Shown]:
    return [
        Shown(picture.curves, pair.outline, told)
        for pair, picture, told in zip(measured.pairs, pictures, words, strict=True)
    ]


def _picture(measured: Measured, pair: MeasuredPair) -> PairPicture:
    a, b, take = pair.pair.a.side, pair.pair.b.side, pair.pair.take
    after = measured.comparison.after
    words = [pair.pair.name]
    if len(measured.comparison.takes) > 1:
        words.append(take.name)
    notes = [word.rstrip("-0123456789") for word in take.tuning.split()]
    match_hz = measured.comparison.match.frequency_hz
    level = level_words(pair.matched.is_matched, pair.matched.mode, match_hz)
    return PairPicture(
        curves=matched_curves(pair, _PICTURE_HZ),
        names=(f"A {pair.pair.a.name}", f"B {pair.pair.b.name}"),
        headline=verdict(pair, match_hz)[2],
        below=(
            ", ".join(words),
            *(
                f"{letter}  {line_with_after(side.chain.line, after)}"
                for letter, side in (("A", a), ("B", b))
            ),
        ),
        label=f"dB, {level}",
        strings=tuple(zip(notes, open_strings_hz(take.tuning), strict=True)),
    )
