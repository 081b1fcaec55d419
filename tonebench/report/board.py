# SPDX-License-Identifier: GPL-3.0-or-later
"""A frame of 1920 × 1080 to write on and draw strokes on, in pixels from its top left.

Knows nothing of what is shown.
"""

from typing import Any

from tonebench.report.fitting import Ruler
from tonebench.report.themes import Theme

WIDTH, HEIGHT = 1920, 1080
_PIXELS_PER_INCH = 240
_POINT = _PIXELS_PER_INCH / 72  # in pixels
_LEADING = 1.28


class Board:
    """What is written and drawn across a whole figure.

    Parameters
    ----------
    figure : Figure
        8 × 4.5 inches.
    theme : Theme
        Its colours.
    """

    def __init__(self, figure: Any, theme: Theme) -> None:
        self.theme = theme
        self._rulers = {weight: Ruler(weight) for weight in ("normal", "bold")}
        self._axes = figure.add_axes((0, 0, 1, 1), label="board")
        self._axes.set_axis_off()
        self._axes.set_xlim(0, WIDTH)
        self._axes.set_ylim(HEIGHT, 0)

    def write(
        self,
        text: str,
        place: tuple[float, float],
        width: float,
        sizes: tuple[float, float],
        *,
        most_lines: int = 1,
        colour: str = "",
        weight: str = "normal",
        is_above: bool = False,
    ) -> float:
        """Write a text so that it fits; return where it ends, or begins if above.

        Parameters
        ----------
        text : str
            What to write.
        place : tuple of float
            The left edge, and the top, or with `is_above` the bottom.
        width : float
            How wide it may be.
        sizes : tuple of float
            The size to begin with and the smallest one, in points.
        most_lines : int
            How many lines it may take.
        colour, weight : str
            Ink unless said; "normal" or "bold".
        is_above : bool
            Whether `place` is the end of the last line.
        """
        ruler = self._rulers[weight]
        fitted = ruler.fitted(text, width / _PIXELS_PER_INCH, most_lines, *sizes)
        step = fitted.size * _POINT * _LEADING
        x, y = place
        start = y - step * len(fitted.lines) if is_above else y
        drop = (sizes[0] - fitted.size) * _POINT / 2 if most_lines == 1 else 0.0
        for k, line in enumerate(fitted.lines):
            self._axes.text(
                x,
                start + drop + k * step,
                line,
                size=fitted.size,
                weight=weight,
                color=colour or self.theme.ink,
                va="top",
            )
        return start if is_above else start + step * len(fitted.lines)

    def stroke(
        self,
        start: tuple[float, float],
        end: tuple[float, float],
        *,
        colour: str = "",
        width: float = 0.5,
        dash: Any = "-",
    ) -> None:
        """Draw a straight line; its width is in points."""
        self._axes.plot(
            *zip(start, end, strict=True),
            color=colour or self.theme.ink,
            lw=width,
            linestyle=dash,
            solid_capstyle="butt",
            dash_capstyle="butt",
        )
