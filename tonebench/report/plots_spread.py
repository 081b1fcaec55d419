# SPDX-License-Identifier: GPL-3.0-or-later
"""The picture of a tolerance band: the drawn curve, nine builds of ten, the worst."""

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.outputs import check_new_file, write_whole
from tonebench.circuit.hookup import Chain
from tonebench.report.canvas import (
    BOTTOM,
    PAPER,
    Line,
    Look,
    check_ending,
    curve_axes,
    draw_lines,
    frame,
    heads,
    names_at_ends,
    picture,
)
from tonebench.report.themes import Theme
from tonebench.study.curves import setting_words
from tonebench.study.spread import Band, Spread

Real = NDArray[np.float64]

_WORST, _NINE, _DRAWN = "very worst", "nine of ten", "as drawn"
#: The share of the height that the lower axes take, and what stands between the two.
_LOWER, _GAP = 0.42, 0.005


def draw_spread(
    chain: Chain,
    found: Spread,
    path: Path,
    headline: str,
    *,
    look: Look = PAPER,
    force: bool = False,
) -> None:
    """Draw how far builds lie apart to a file; its ending chooses SVG, PNG or PDF.

    Parameters
    ----------
    chain : Chain
        The circuit with its hook-up.
    found : Spread
        As `spread` returns it.
    path : Path
        Where to.
    headline : str
        The sentence over the picture.
    look : Look
        Light or dark paper, or none.
    """
    check_ending(path)
    check_new_file(path, force)
    where = setting_words(found.setting)
    below = [f"{chain.circuit.full_title}{f', {where}' if where else ''}", chain.line]

    def paint(figure: Any) -> None:
        top = heads(figure, headline, below, look.theme)
        middle = BOTTOM + _LOWER * (top - BOTTOM)
        names = [_WORST, _DRAWN]
        upper = curve_axes(figure, names, top, middle + _GAP)
        lower = curve_axes(figure, names, middle)
        drawn = found.drawn_db
        _band(upper, found, found.gain, drawn, look.theme)
        _band(lower, found, found.shape, 0 * drawn, look.theme)
        upper.set_ylabel("gain, dB")
        upper.set_xlabel("")
        upper.set_xticklabels([])
        lower.set_ylabel("its shape, dB")

    write_whole(path, picture(path.suffix, look, paint), force)


def _band(axes: Any, found: Spread, band: Band, drawn: Real, theme: Theme) -> None:
    """Draw a band's limits around the drawing; lines alone carry it, without colour."""
    hz = found.frequency_hz
    is_shape = not np.any(drawn)
    dots = (0, (1, 1.5))
    worst: list[Line] = [
        (hz, band.worst_high, _WORST, theme.difference, dots),
        (hz, band.worst_low, "", theme.difference, dots),
    ]
    main: list[Line] = [(hz, drawn, _DRAWN, theme.a, "-")]
    axes.fill_between(
        hz,
        band.low,
        band.high,
        facecolor="none",
        edgecolor=theme.a,
        hatch="/////",
        linewidth=0.8,
    )
    draw_lines(axes, worst, 1.2)
    draw_lines(axes, main)
    frame(axes, worst + main, "", theme, 0.5 if is_shape else 12.0)
    limit = np.nan_to_num(band.high, neginf=-300)
    names_at_ends(axes, [worst[0], (hz, limit, _NINE, theme.a, "-"), *main])
