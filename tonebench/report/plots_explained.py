# SPDX-License-Identifier: GPL-3.0-or-later
"""The picture of an explanation: the curve, and at each feature the cause of it.

Where the pickup's own peak is missing, the curve behind a buffer is drawn too; where
parts were changed, the curve before.
"""

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.outputs import check_new_file, write_whole
from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain
from tonebench.errors import CircuitError
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.report.canvas import (
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
from tonebench.report.explain_words import missing_sentences, named_causes
from tonebench.report.feature_words import feature_words
from tonebench.study.curves import setting_words
from tonebench.study.explain import Explained, Explanation
from tonebench.study.search import level_db
from tonebench.study.without import chain_without

_HZ = np.geomspace(10, 24_000, 481)
_MOST_CAUSES = 2
#: The rows that words stand in above the curves, and what share of the height each has.
_ROWS, _ROW = 3, 0.12
_DASHED: Any = (0, (5, 2))


def draw_explained(
    found: Explanation,
    path: Path,
    drawn: Chain | None = None,
    *,
    look: Look = PAPER,
    force: bool = False,
) -> None:
    """Draw an explanation to a file; the ending chooses SVG, PNG or PDF.

    Parameters
    ----------
    found : Explanation
        As `explain` returns it.
    path : Path
        Where to.
    drawn : Chain, optional
        The same chain before parts were changed.
    look : Look
        Light or dark paper, or none.
    """
    check_ending(path)
    check_new_file(path, force)
    chain, theme = found.side.chain, look.theme
    here = _level(chain, found.setting)
    other, name = drawn, "as drawn"
    if other is None and any(each.back is not None for each in found.missing):
        other, name = chain_without(found.side, "buffer"), "behind a buffer"
    beside = None if other is None else _level(other, found.setting)
    lines: list[Line] = []
    if beside is not None:
        lines.append((_HZ, beside, name, theme.b, _DASHED))
    lines.append((_HZ, here, "" if beside is None else "as it is", theme.a, "-"))
    where = setting_words(found.setting)
    below = [f"{chain.circuit.full_title}{f', {where}' if where else ''}", chain.line]
    told = [each for each in found.explained if each.tracked.is_here]

    def paint(figure: Any) -> None:
        top = heads(figure, _headline(found, told), below, theme)
        axes = curve_axes(figure, [line[2] for line in lines], top)
        draw_lines(axes, lines)
        frame(axes, lines, "gain, dB", theme)
        low, high = axes.get_ylim()
        axes.set_ylim(low, high + (high - low) * _ROW * (_ROWS + 0.3))
        for k, each in enumerate(_one_of_each(told)):
            _note(axes, each, here, k % _ROWS, look)
        names_at_ends(axes, lines)

    write_whole(path, picture(path.suffix, look, paint), force)


def _level(chain: Chain, setting: Settings) -> NDArray[np.float64]:
    """Return the level of all inputs together; NaN where it has no answer."""
    try:
        answer = response(Network(chain), setting, _HZ).sum(axis=0)
    except CircuitError:
        return np.full(_HZ.shape, np.nan)
    return level_db(answer)


def _headline(found: Explanation, told: list[Explained]) -> str:
    if found.missing:
        sentence = missing_sentences(found.missing)[0]
        return sentence[0].upper() + sentence[1:]
    if not told:
        return "Nothing stands out: no peak, dip, shelf or roll-off"
    return "What stands out in the curve, and the parts behind it"


def _one_of_each(told: list[Explained]) -> list[Explained]:
    """Return the features by frequency, those that two inputs share once."""
    kept: dict[tuple[str, int], Explained] = {}
    for each in told:
        place = round(24 * float(np.log2(each.feature.frequency_hz)))
        kept.setdefault((each.feature.kind, place), each)
    return sorted(kept.values(), key=lambda each: each.feature.frequency_hz)


def _note(
    axes: Any, each: Explained, here: NDArray[np.float64], row: int, look: Look
) -> None:
    """Write a feature and its cause above the curves, with a line down to its place."""
    feature, theme = each.feature, look.theme
    paper = "none" if look.is_transparent else theme.paper
    level = float(np.interp(np.log(feature.frequency_hz), np.log(_HZ), here))
    names = [
        cause.who.words.partition(" (")[0] if cause.who.is_around else cause.who.part
        for cause in named_causes(feature, each.causes)[:_MOST_CAUSES]
    ]
    words = feature_words(feature) + (f"\n{' and '.join(names)}" if names else "")
    low, high = axes.get_ylim()
    height = 1 - _ROW * (row + 0.5)
    left, right = np.log(_HZ[0]), np.log(_HZ[-1])
    share = (np.log(feature.frequency_hz) - left) / (right - left)
    side = "left" if share < 0.2 else "right" if share > 0.8 else "center"
    axes.plot(
        [feature.frequency_hz] * 2,
        [level, low + (height - 0.04) * (high - low)],
        color=theme.difference,
        lw=0.7,
        zorder=1,
    )
    axes.plot([feature.frequency_hz], [level], "o", color=theme.ink, markersize=4)
    axes.annotate(
        words,
        (share, height),
        xycoords="axes fraction",
        ha=side,
        va="center",
        size=8.2,
        color=theme.ink,
        bbox={"facecolor": paper, "edgecolor": "none", "pad": 1.5},
    )
