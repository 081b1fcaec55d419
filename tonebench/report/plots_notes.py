# SPDX-License-Identifier: GPL-3.0-or-later
"""Pictures of a note's harmonics, or of a take by thirds of an octave, through A and B.

A is told from B by the mark and the dashes as well as by colour.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.outputs import check_new_file, write_whole
from tonebench.report.canvas import (
    PAPER,
    Line,
    Look,
    check_ending,
    curve_axes,
    frame,
    heads,
    names_at_ends,
    picture,
)
from tonebench.study.bands import BandLevels
from tonebench.study.harmonics import NoteLevels

Real = NDArray[np.float64]
_DASHES = ("-", (0, (5, 2)))
_MARKS = ("o", "s")
_ROOM = 2**0.25


def draw_note(
    found: NoteLevels,
    names: Sequence[str],
    path: Path,
    headline: str,
    below: Sequence[str],
    *,
    look: Look = PAPER,
    force: bool = False,
) -> None:
    """Draw the harmonics of a note to a file; its ending chooses SVG, PNG or PDF.

    Parameters
    ----------
    found : NoteLevels
        As `note_levels` returns it.
    names : sequence of str
        What stands at the ends: A's and B's name.
    path : Path
        Where to.
    headline, below : str, sequence of str
        The sentence over the picture, and the lines under it.
    look : Look
        Light or dark paper, or none.
    """
    _draw(
        found.frequency_hz,
        found.levels_db,
        names,
        path,
        (headline, below, "harmonics, dB"),
        look,
        force,
    )


def draw_bands(
    found: BandLevels,
    names: Sequence[str],
    path: Path,
    headline: str,
    below: Sequence[str],
    *,
    look: Look = PAPER,
    force: bool = False,
) -> None:
    """Draw a take by thirds of an octave to a file, B brought to A's level.

    Parameters are as of `draw_note`.
    """
    levels = [found.levels_db[0]]
    label = "level in a third of an octave, dBFS"
    if len(found.levels_db) > 1:
        levels.append(found.levels_db[1] - found.offset_db)
        label = "third of an octave, dBFS, B at A's level"
    words = (headline, below, label)
    _draw(found.centre_hz, levels, names, path, words, look, force, is_stepped=True)


def _draw(
    hz: Real,
    levels: Sequence[Real],
    names: Sequence[str],
    path: Path,
    words: tuple[str, Sequence[str], str],
    look: Look,
    force: bool,
    is_stepped: bool = False,
) -> None:
    check_ending(path)
    check_new_file(path, force)
    headline, below, label = words
    theme = look.theme
    lines: list[Line] = [
        (hz, level, name, colour, dash)
        for level, name, colour, dash in zip(
            levels, names, (theme.a, theme.b), _DASHES, strict=False
        )
    ]
    wide = np.array([hz[0] / _ROOM, hz[-1] * _ROOM])

    def paint(figure: Any) -> None:
        top = heads(figure, headline, below, theme)
        axes = curve_axes(figure, names, top)
        for line, mark in zip(lines, _MARKS, strict=False):
            _, level, _, colour, dash = line
            axes.plot(
                hz,
                level,
                color=colour,
                linestyle=dash,
                lw=1.6 if is_stepped else 0.9,
                drawstyle="steps-mid" if is_stepped else "default",
                marker="" if is_stepped else mark,
                markersize=5,
            )
        ends: list[Line] = [(wide, np.full(2, np.nan), "", theme.ink, "-")]
        frame(axes, [*ends, *lines], label, theme)
        names_at_ends(axes, lines)

    write_whole(path, picture(path.suffix, look, paint), force)
