# SPDX-License-Identifier: GPL-3.0-or-later
"""What ``notes`` draws: one note's harmonics, or a take by thirds of an octave."""

from collections.abc import Sequence
from pathlib import Path

from tonebench.circuit.hookup import Chain
from tonebench.errors import RequestError
from tonebench.report.canvas import Look
from tonebench.report.notes_words import heads_of, note_sentence, take_sentence
from tonebench.report.plots_notes import draw_bands, draw_note
from tonebench.study.bands import BandLevels
from tonebench.study.harmonics import NoteLevels


def draw_notes(
    chains: Sequence[Chain],
    notes: Sequence[NoteLevels],
    take: BandLevels | None,
    title: str,
    path: Path,
    look: Look,
    force: bool = False,
) -> None:
    """Draw one note, or a take, through one chain or through A and B.

    Raises
    ------
    RequestError
        If there is more than one thing to draw.
    """
    names = [
        f"{letter} {chain.circuit.name}"
        for letter, chain in zip("AB", chains, strict=False)
    ]
    below = heads_of(chains)
    if take is not None and not notes:
        headline = take_sentence(take, title)
        draw_bands(take, names, path, headline, below, look=look, force=force)
    elif take is None and len(notes) == 1:
        headline = note_sentence(notes[0])
        draw_note(notes[0], names, path, headline, below, look=look, force=force)
    else:
        raise RequestError("a picture shows one note, or one take; ask for one alone")
