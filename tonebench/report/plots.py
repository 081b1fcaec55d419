# SPDX-License-Identifier: GPL-3.0-or-later
"""Pictures of curves, as SVG, PNG or PDF: the same bytes for the same curves.

A sentence first, the curves under it, each named at its end. matplotlib is imported
here, and only when something is drawn.
"""

import io
import textwrap
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.outputs import check_new_file, write_whole
from tonebench.circuit.hookup import Chain
from tonebench.compare.verdict import MatchedCurves
from tonebench.errors import RequestError
from tonebench.report.themes import LIGHT, Theme
from tonebench.study.curves import Curve, setting_words

Real = NDArray[np.float64]
#: Frequencies, values, the name at the end, colour, dashes.
_Line = tuple[Real, Real, str, str, Any]

#: For families: ordered from dark to light, told apart by the names at their ends.
_FAMILY_COLOURS = ("#0072B2", "#D55E00", "#009E73", "#8a5a83", "#6b5900", "#3b3a36")
_FAMILY_DASHES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (8, 2, 2, 2)))
_FINE_DOTS = (0, (1, 2))  # the filter, over the circuit's own curve
_TICKS_HZ = (10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000)
_ENDINGS = (".svg", ".png", ".pdf")
_HASH_SALT = "tonebench"  # fixes the names inside an SVG
_LOWEST_SPAN_DB = 12.0
_LEFT = 0.085
_HEADLINE_CHARACTERS = 90
_CHARACTER = 0.0088  # the width of one, as a share of the picture
_LONGEST_NAME = 34
_STRINGS_HEIGHT = 0.03  # of a line of their names
_NAME_SHARE = 0.052  # the height of a name, as a share of the curves' height
_UNDATED: dict[str, dict[str, Any]] = {
    "svg": {"Date": None, "Creator": "tonebench"},
    "pdf": {"CreationDate": None, "ModDate": None, "Creator": "tonebench"},
    "png": {"Software": "tonebench"},
}


def draw_curves(
    chain: Chain,
    curves: Sequence[Curve],
    path: Path,
    names: Sequence[str] = (),
    *,
    force: bool = False,
) -> None:
    """Draw a family of curves of one chain to a file.

    Parameters
    ----------
    chain : Chain
        The circuit with its hook-up, for the headline.
    curves : sequence of Curve
        What to draw.
    path : Path
        Where to; the name's ending chooses SVG, PNG or PDF.
    names : sequence of str
        The controls that tell the curves apart.
    """
    _check_ending(path)
    check_new_file(path, force)
    has_inputs = len({curve.input for curve in curves}) > 1
    lines: list[_Line] = []
    ink = LIGHT.ink
    for k, curve in enumerate(curves):
        words = setting_words(curve.setting, names) if len(curves) > 1 else ""
        name = f"from {curve.input}: {words}" if has_inputs else words
        name = name.removesuffix(": ")
        dash = _FAMILY_DASHES[k // len(_FAMILY_COLOURS) % len(_FAMILY_DASHES)]
        colour = _FAMILY_COLOURS[k % len(_FAMILY_COLOURS)]
        lines.append((curve.frequency_hz, curve.gain_db, name, colour, dash))
        if curve.digital_gain_db is not None:
            filtered = (curve.frequency_hz, curve.digital_gain_db, "", ink, _FINE_DOTS)
            lines.append(filtered)
    head = chain.circuit.full_title
    write_whole(path, _drawn(lines, head, [chain.line], "gain, dB", path.suffix), force)


@dataclass(frozen=True, slots=True, eq=False)
class PairPicture:
    """What a picture of A, B and B − A shows.

    `names` stand at the ends of A and B, the sentence `headline` over the curves and
    the lines `below` under it; `label` is what the level axis shows, `strings` are the
    open strings: name and frequency in Hz.
    """

    curves: MatchedCurves
    names: tuple[str, str]
    headline: str
    below: tuple[str, ...]
    label: str
    strings: tuple[tuple[str, float], ...] = ()


def draw_pair(picture: PairPicture, ending: str, theme: Theme = LIGHT) -> bytes:
    """Return a picture of A, B and B − A in a format: ".svg", ".png" or ".pdf"."""
    curves = picture.curves
    hz = curves.frequency_hz
    lines: list[_Line] = [
        (hz, curves.difference_db, "B − A", theme.difference, (0, (1, 1.5))),
        (hz, curves.a_db, picture.names[0], theme.a, "-"),
        (hz, curves.b_db, picture.names[1], theme.b, (0, (5, 2))),
    ]
    heads = picture.headline, picture.below
    return _drawn(lines, *heads, picture.label, ending, theme, picture.strings)


def _check_ending(path: Path) -> None:
    if path.suffix.lower() not in _ENDINGS:
        raise RequestError(
            f"{path}: a picture's name must end in .svg, .png or .pdf, "
            f"got '{path.suffix}'"
        )


def _drawn(
    lines: Sequence[_Line],
    headline: str,
    below: Sequence[str],
    label: str,
    ending: str,
    theme: Theme = LIGHT,
    strings: Sequence[tuple[str, float]] = (),
) -> bytes:
    import matplotlib
    from matplotlib.figure import Figure

    style: Any = {
        "svg.hashsalt": _HASH_SALT,
        "font.family": "DejaVu Sans",  # comes with matplotlib
        "font.size": 9.5,
        "text.parse_math": False,  # a name may hold a dollar sign
        "text.color": theme.ink,
        "axes.labelcolor": theme.ink,
        "axes.facecolor": theme.paper,
        "xtick.color": theme.ink,
        "ytick.color": theme.ink,
        "grid.color": theme.grid,
    }
    with matplotlib.rc_context(style):
        figure = Figure(figsize=(8.6, 5.0), dpi=150, facecolor=theme.paper)
        top = _heads(figure, headline, below, theme)
        top -= _STRINGS_HEIGHT if strings else 0
        longest = max((len(name) for _, _, name, _, _ in lines), default=0)
        width = 1 - _LEFT - 0.035 - _CHARACTER * min(max(longest, 8), _LONGEST_NAME)
        axes = figure.add_axes((_LEFT, 0.1, width, top - 0.13))
        for frequency_hz, gain_db, _, colour, dash in lines:
            shown = np.where(np.isfinite(gain_db), gain_db, np.nan)
            axes.plot(frequency_hz, shown, color=colour, linestyle=dash, lw=1.8)
        _frame(axes, lines, label, theme)
        _open_strings(axes, strings, theme)
        _names_at_ends(axes, lines)
        return _saved(figure, ending)


def _heads(figure: Any, headline: str, below: Sequence[str], theme: Theme) -> float:
    """Write the sentence and the lines under it; return where they end."""
    place = 0.965
    for line in textwrap.wrap(headline, _HEADLINE_CHARACTERS):
        figure.text(_LEFT, place, line, size=10.5, weight="bold", va="top")
        place -= 0.046
    for line in below:
        place -= 0.005
        figure.text(_LEFT, place, line, size=8.6, va="top", color=theme.difference)
        place -= 0.035
    return place


def _frame(axes: Any, lines: Sequence[_Line], label: str, theme: Theme) -> None:
    from matplotlib.ticker import MaxNLocator

    lowest = min(float(line[0][0]) for line in lines)
    highest = max(float(line[0][-1]) for line in lines)
    axes.set_xscale("log")
    axes.set_xlim(lowest, highest)
    ticks = [hz for hz in _TICKS_HZ if lowest <= hz <= highest]
    names = [f"{hz // 1000}k" if hz >= 1000 else f"{hz}" for hz in ticks]
    axes.set_xticks(ticks, names)
    axes.set_xticks([], minor=True)
    values = np.concatenate([line[1] for line in lines])
    values = values[np.isfinite(values)]
    top = float(values.max()) if values.size else 0.0
    bottom = max(float(values.min()), top - 60) if values.size else -1.0
    middle, span = (top + bottom) / 2, max(top - bottom, _LOWEST_SPAN_DB)
    axes.set_ylim(middle - 0.56 * span, middle + 0.56 * span)
    axes.yaxis.set_major_locator(MaxNLocator(9, steps=[1, 2, 5, 10], integer=True))
    axes.axhline(0, color=theme.ink, lw=0.7)
    axes.grid(True, lw=0.6)
    axes.set_axisbelow(True)
    axes.set_xlabel("frequency, Hz")
    axes.set_ylabel(label)
    for side in ("top", "right", "left", "bottom"):
        axes.spines[side].set_visible(False)
    axes.tick_params(length=0)


def _open_strings(
    axes: Any, strings: Sequence[tuple[str, float]], theme: Theme
) -> None:
    """Mark the open strings above the curves."""
    across = axes.get_xaxis_transform()
    for name, hz in strings:
        axes.plot([hz, hz], [0.975, 1.0], color=theme.ink, lw=1, transform=across)
        axes.text(hz, 1.01, name, size=8, ha="center", va="bottom", transform=across)


def _names_at_ends(axes: Any, lines: Sequence[_Line]) -> None:
    """Write each curve's name behind its end, moved apart where ends meet."""
    low, high = axes.get_ylim()
    named: list[tuple[float, str, str]] = []
    for _, gain_db, name, colour, _ in lines:
        finite = gain_db[np.isfinite(gain_db)]
        if name and finite.size:
            named.append((float(np.clip(finite[-1], low, high)), name, colour))
    named.sort(key=lambda entry: entry[0])
    share = min(_NAME_SHARE, 1.1 / max(len(named), 1))
    room = share * (high - low)
    places = _spread([value for value, _, _ in named], room)
    if places and places[0] < low:  # the lowest group hangs over the edge
        places = [place + low - places[0] for place in places]
    for place, (value, name, colour) in zip(places, named, strict=True):
        axes.annotate(
            textwrap.shorten(name, _LONGEST_NAME, placeholder="…"),
            xy=(1.0, value),
            xytext=(1.025, place),
            xycoords=("axes fraction", "data"),
            textcoords=("axes fraction", "data"),
            color=colour,
            va="center",
            size=8.5 * share / _NAME_SHARE,
            annotation_clip=False,
            arrowprops={
                "arrowstyle": "-",
                "color": colour,
                "lw": 0.6,
                "relpos": (0, 0.5),
            },
        )


def _spread(values: Sequence[float], room: float) -> list[float]:
    """Move rising values apart until they are `room` apart, each as little as needed.

    Values that come too near form a group around their common middle; groups that then
    come too near are joined.
    """
    groups: list[tuple[float, int]] = []  # middle, how many
    for value in values:
        middle, count = value, 1
        while groups:
            before, many = groups[-1]
            if middle - before >= room * (count + many) / 2:
                break
            groups.pop()
            middle = (before * many + middle * count) / (many + count)
            count += many
        groups.append((middle, count))
    return [
        middle + room * (k - (count - 1) / 2)
        for middle, count in groups
        for k in range(count)
    ]


def _saved(figure: Any, ending: str) -> bytes:
    target = io.BytesIO()
    kind = ending.lower().lstrip(".")
    with warnings.catch_warnings():
        # names in writings that the font lacks come out as boxes
        warnings.filterwarnings("ignore", "Glyph .* missing from font", UserWarning)
        figure.savefig(target, format=kind, metadata=_UNDATED[kind])
    return target.getvalue()
