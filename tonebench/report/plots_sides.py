# SPDX-License-Identifier: GPL-3.0-or-later
"""Pictures of B over A: why it differs, or what stays when its knobs come nearest.

A, B at A's level, and B − A over frequency, the sentence on top. Several inputs are
driven together.
"""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from tonebench.audio.outputs import check_new_file, write_whole
from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain
from tonebench.compare.verdict import MatchedCurves
from tonebench.errors import RequestError
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.report.against_words import difference_sentence
from tonebench.report.canvas import PAPER, Look, check_ending
from tonebench.report.nearest_words import left_sentence, panel_words
from tonebench.report.plots import PairPicture, draw_pair
from tonebench.study.against import Against
from tonebench.study.nearest import Nearest
from tonebench.study.search import level_db

_HZ = np.geomspace(20, 20_000, 481)


def draw_against(
    found: Against, path: Path, *, look: Look = PAPER, force: bool = False
) -> None:
    """Draw where B differs from A to a file; the ending chooses SVG, PNG or PDF."""
    chains = found.a.chain, found.b.chain
    settings = found.settings_a, found.settings_b
    headline = "Nothing differs by 1 dB anywhere from 20 Hz to 20 kHz"
    if found.differences:
        told = difference_sentence(found, found.differences[0])
        headline = told[0].upper() + told[1:]
    _draw(chains, settings, -found.gain_db, headline, path, look, force)


def draw_nearest(
    found: Nearest,
    a: Chain,
    settings_a: Sequence[Settings],
    b: Chain,
    path: Path,
    *,
    look: Look = PAPER,
    force: bool = False,
) -> None:
    """Draw B as near to A as it goes to a file.

    Raises
    ------
    RequestError
        If several settings of A were met at once: they would be several pictures.
    """
    if len(settings_a) != 1:
        raise RequestError("a picture shows one setting of A; ask for one alone")
    headline = left_sentence(found)
    headline = headline[0].upper() + headline[1:]
    settings = a.setting(settings_a[0]), found.settings
    _draw((a, b), settings, found.gain_db[0], headline, path, look, force)


def _draw(
    chains: tuple[Chain, Chain],
    settings: tuple[Settings, Settings],
    gain_db: float,
    headline: str,
    path: Path,
    look: Look,
    force: bool,
) -> None:
    check_ending(path)
    check_new_file(path, force)
    levels = [
        level_db(response(Network(chain), setting, _HZ).sum(axis=0))
        for chain, setting in zip(chains, settings, strict=True)
    ]
    below = []
    for letter, chain, setting in zip("AB", chains, settings, strict=True):
        where = panel_words(setting)
        below.append(f"{letter}  {chain.line}{f', {where}' if where else ''}")
    drawn = draw_pair(
        PairPicture(
            MatchedCurves(_HZ, levels[0], levels[1] + gain_db),
            (f"A {chains[0].circuit.name}", f"B {chains[1].circuit.name}"),
            headline,
            tuple(below),
            _label(gain_db),
        ),
        path.suffix,
        look.theme,
        look.is_transparent,
    )
    write_whole(path, drawn, force)


def _label(gain_db: float) -> str:
    if abs(gain_db) < 0.05:
        return "gain, dB"
    return f"gain, dB, B {'up' if gain_db > 0 else 'down'} by {abs(gain_db):.1f} dB"
