# SPDX-License-Identifier: GPL-3.0-or-later
"""What all pictures share: paper, frame, sentences on top, names at the ends of lines.

The same bytes for the same picture, as SVG, PNG or PDF. matplotlib is imported here,
and only when something is drawn. Knows nothing of what is shown.
"""

import io
import textwrap
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tonebench.errors import RequestError
from tonebench.report.themes import LIGHT, Theme

Real = NDArray[np.float64]
#: Frequencies, values, the name at the end, colour, dashes.
Line = tuple[Real, Real, str, str, Any]

LEFT = 0.085
BOTTOM = 0.1
_TICKS_HZ = (10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000)
_ENDINGS = (".svg", ".png", ".pdf")
_HASH_SALT = "tonebench"  # fixes the names inside an SVG
_LOWEST_SPAN_DB = 12.0
_HEADLINE_CHARACTERS = 90
_CHARACTER = 0.0088  # the width of one, as a share of the picture
_LONGEST_NAME = 34
STRINGS_HEIGHT = 0.03  # of a line of their names
_NAME_SHARE = 0.052  # the height of a name, as a share of the curves' height
_USUAL_HEIGHT = 0.6  # of axes, as a share of the picture
_INCHES, _DPI = (8.6, 5.0), 150
#: The size of a video of 1920 × 1080.
_VIDEO_INCHES, _VIDEO_DPI = (8.0, 4.5), 240
#: How far the paper's colour reaches around what is drawn without paper, in points.
_HALO = 1.8
_UNDATED: dict[str, dict[str, Any]] = {
    "svg": {"Date": None, "Creator": "tonebench"},
    "pdf": {"CreationDate": None, "ModDate": None, "Creator": "tonebench"},
    "png": {"Software": "tonebench"},
}


@dataclass(frozen=True, slots=True)
class Look:
    """How a picture looks: on light or dark paper, or on none at all.

    Without paper it has the size of a video frame, and a rim of the theme's paper
    around every word and line, so that it can be read over anything. `is_frame` gives
    a picture on paper that size too.
    """

    theme: Theme = LIGHT
    is_transparent: bool = False
    is_frame: bool = False


PAPER = Look()


def picture(ending: str, look: Look, paint: Callable[[Any], None]) -> bytes:
    """Return what `paint` paints on a figure, in a format: ".svg", ".png", ".pdf"."""
    import matplotlib
    from matplotlib.figure import Figure

    theme = look.theme
    paper = "none" if look.is_transparent else theme.paper
    style: Any = {
        "svg.hashsalt": _HASH_SALT,
        "font.family": "DejaVu Sans",  # comes with matplotlib
        "font.size": 9.5,
        "text.parse_math": False,  # a name may hold a dollar sign
        "text.color": theme.ink,
        "axes.labelcolor": theme.ink,
        "axes.facecolor": paper,
        "xtick.color": theme.ink,
        "ytick.color": theme.ink,
        "grid.color": theme.grid,
        "hatch.linewidth": 0.5,
    }
    inches, dpi = _INCHES, _DPI
    if look.is_transparent or look.is_frame:
        inches, dpi = _VIDEO_INCHES, _VIDEO_DPI
    with matplotlib.rc_context(style):
        figure = Figure(figsize=inches, dpi=dpi, facecolor=paper)
        paint(figure)
        if look.is_transparent:
            _rimmed(figure, theme)
        return _saved(figure, ending)


def _rimmed(figure: Any, theme: Theme) -> None:
    from matplotlib.patheffects import withStroke
    from matplotlib.text import Text

    for text in figure.findobj(Text):
        text.set_path_effects([withStroke(linewidth=_HALO, foreground=theme.paper)])
    for line in (line for axes in figure.axes for line in axes.get_lines()):
        wide = line.get_linewidth() + _HALO
        line.set_path_effects([withStroke(linewidth=wide, foreground=theme.paper)])


def curve_picture(
    lines: Sequence[Line],
    headline: str,
    below: Sequence[str],
    label: str,
    ending: str,
    look: Look = PAPER,
    strings: Sequence[tuple[str, float]] = (),
) -> bytes:
    """Return a picture of lines over frequency, each named at its end.

    Parameters
    ----------
    lines : sequence of Line
        What is drawn; their range is what the axes show.
    headline, below : str, sequence of str
        The sentence on top, and the lines under it.
    label : str
        What the level axis shows.
    ending : str
        The format: ".svg", ".png" or ".pdf".
    look : Look
        Light or dark paper, or none.
    strings : sequence of (str, float)
        Open strings to mark: name and frequency in Hz.
    """

    def paint(figure: Any) -> None:
        top = heads(figure, headline, below, look.theme)
        top -= STRINGS_HEIGHT if strings else 0
        axes = curve_axes(figure, [line[2] for line in lines], top)
        draw_lines(axes, lines)
        frame(axes, lines, label, look.theme)
        open_strings(axes, strings, look.theme)
        names_at_ends(axes, lines)

    return picture(ending, look, paint)


def draw_lines(axes: Any, lines: Sequence[Line], width: float = 1.8) -> None:
    """Draw lines; silence leaves a gap."""
    for frequency_hz, gain_db, _, colour, dash in lines:
        shown = np.where(np.isfinite(gain_db), gain_db, np.nan)
        axes.plot(frequency_hz, shown, color=colour, linestyle=dash, lw=width)


def curve_axes(
    figure: Any, names: Sequence[str], top: float, bottom: float = BOTTOM
) -> Any:
    """Return axes below `top`, with room at the right for the names of lines."""
    longest = max(map(len, names), default=0)
    width = 1 - LEFT - 0.035 - _CHARACTER * min(max(longest, 8), _LONGEST_NAME)
    return figure.add_axes((LEFT, bottom, width, top - bottom - 0.03))


def check_ending(path: Path) -> None:
    """Refuse a picture whose name's ending isn't one of a format."""
    if path.suffix.lower() not in _ENDINGS:
        raise RequestError(
            f"{path}: a picture's name must end in .svg, .png or .pdf, "
            f"got '{path.suffix}'"
        )


def heads(figure: Any, headline: str, below: Sequence[str], theme: Theme) -> float:
    """Write the sentence and the lines under it; return where they end."""
    place = 0.965
    for line in textwrap.wrap(headline, _HEADLINE_CHARACTERS):
        figure.text(LEFT, place, line, size=10.5, weight="bold", va="top")
        place -= 0.046
    for line in below:
        place -= 0.005
        figure.text(LEFT, place, line, size=8.6, va="top", color=theme.difference)
        place -= 0.035
    return place


def frame(
    axes: Any,
    lines: Sequence[Line],
    label: str,
    theme: Theme,
    least_span_db: float = _LOWEST_SPAN_DB,
) -> None:
    """Give axes the range of lines, in Hz and dB."""
    from matplotlib.ticker import MaxNLocator

    frequency_axis(
        axes,
        min(float(line[0][0]) for line in lines),
        max(float(line[0][-1]) for line in lines),
        theme,
    )
    values = np.concatenate([line[1] for line in lines])
    values = values[np.isfinite(values)]
    top = float(values.max()) if values.size else 0.0
    bottom = max(float(values.min()), top - 60) if values.size else -1.0
    middle, span = (top + bottom) / 2, max(top - bottom, least_span_db)
    axes.set_ylim(middle - 0.56 * span, middle + 0.56 * span)
    steps = MaxNLocator(9, steps=[1, 2, 5, 10], integer=least_span_db > 5)
    axes.yaxis.set_major_locator(steps)
    axes.axhline(0, color=theme.ink, lw=0.7, zorder=1.5)  # curves lie over it
    axes.set_ylabel(label)


def frequency_axis(axes: Any, lowest: float, highest: float, theme: Theme) -> None:
    """Give axes a scale of octaves, a grid, and no box around."""
    axes.set_xscale("log")
    axes.set_xlim(lowest, highest)
    ticks = [hz for hz in _TICKS_HZ if lowest <= hz <= highest]
    names = [f"{hz // 1000}k" if hz >= 1000 else f"{hz}" for hz in ticks]
    axes.set_xticks(ticks, names)
    axes.set_xticks([], minor=True)
    axes.grid(True, lw=0.6, color=theme.grid)
    axes.set_axisbelow(True)
    axes.set_xlabel("frequency, Hz")
    for side in ("top", "right", "left", "bottom"):
        axes.spines[side].set_visible(False)
    axes.tick_params(length=0)


def open_strings(axes: Any, strings: Sequence[tuple[str, float]], theme: Theme) -> None:
    """Mark the open strings above the curves."""
    across = axes.get_xaxis_transform()
    for name, hz in strings:
        axes.plot([hz, hz], [0.975, 1.0], color=theme.ink, lw=1, transform=across)
        axes.text(hz, 1.01, name, size=8, ha="center", va="bottom", transform=across)


def names_at_ends(axes: Any, lines: Sequence[Line]) -> None:
    """Write each curve's name behind its end, moved apart where ends meet."""
    low, high = axes.get_ylim()
    named: list[tuple[float, str, str]] = []
    for _, gain_db, name, colour, _ in lines:
        finite = gain_db[np.isfinite(gain_db)]
        if name and finite.size:
            named.append((float(np.clip(finite[-1], low, high)), name, colour))
    named.sort(key=lambda entry: entry[0])
    usual = _NAME_SHARE * max(1.0, _USUAL_HEIGHT / axes.get_position().height)
    share = min(usual, 1.1 / max(len(named), 1))
    room = share * (high - low)
    places = spread_apart([value for value, _, _ in named], room)
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
            size=8.5 * share / usual,
            annotation_clip=False,
            arrowprops={
                "arrowstyle": "-",
                "color": colour,
                "lw": 0.6,
                "relpos": (0, 0.5),
            },
        )


def spread_apart(values: Sequence[float], room: float) -> list[float]:
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
