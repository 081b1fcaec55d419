# SPDX-License-Identifier: GPL-3.0-or-later
"""Words that fit their place in a picture: wrapped, set smaller, shortened at last.

Widths are measured with the font itself. Knows nothing of what is told.
"""

import re
import warnings
from dataclasses import dataclass
from typing import Any

_STEP = 0.5  # of sizes, in points
#: Letters may be that much smaller to save a line.
_SLIGHTLY = 0.85
_UNIT = re.compile(r"(?<=\d) (?=(?:dB|dBFS|LUFS|k?Hz|[pnµ]F|[kM]?Ω)\b)")
_PIXELS_PER_INCH = 240  # of a video frame: letters are fitted to pixels


@dataclass(frozen=True, slots=True)
class Fitted:
    """Lines of a text, and their size in points."""

    lines: tuple[str, ...]
    size: float


class Ruler:
    """Measures words of one weight ("normal" or "bold") in the font of pictures."""

    def __init__(self, weight: str = "normal") -> None:
        from matplotlib.backends.backend_agg import RendererAgg
        from matplotlib.font_manager import FontProperties

        self._font = FontProperties(family="DejaVu Sans", weight=weight)
        renderer: Any = RendererAgg  # it has no types
        self._renderer = renderer(1, 1, _PIXELS_PER_INCH)
        self._known: dict[tuple[str, float], float] = {}

    def inches(self, text: str, size: float) -> float:
        """Return how wide a text is at a size in points."""
        if (text, size) not in self._known:
            self._font.set_size(size)
            with warnings.catch_warnings():
                # signs that the font lacks come out as boxes
                warnings.filterwarnings("ignore", "Glyph .* missing", UserWarning)
                width, _, _ = self._renderer.get_text_width_height_descent(
                    text, self._font, ismath=False
                )
            self._known[text, size] = width / _PIXELS_PER_INCH
        return self._known[text, size]

    def fitted(
        self, text: str, inches: float, most_lines: int, size: float, smallest: float
    ) -> Fitted:
        """Return a text in at most so many lines of this width, as large as it goes.

        Fewer lines are better than slightly larger letters. What is too long even at
        the smallest size ends with "…"; a number stays with its unit.
        """
        text = _UNIT.sub("\N{NO-BREAK SPACE}", text.strip())
        for lines_allowed in range(1, most_lines + 1):
            is_last = lines_allowed == most_lines
            least = smallest if is_last else max(smallest, _SLIGHTLY * size)
            tried = size
            while tried >= least:
                lines = self._wrapped(text, inches, tried)
                if len(lines) <= lines_allowed and self._is_inside(
                    lines, inches, tried
                ):
                    return Fitted(self._evened(lines, text, inches, tried), tried)
                tried -= _STEP
        kept = self._wrapped(text, inches, smallest)
        if len(kept) > most_lines:
            kept[most_lines - 1 :] = [" ".join(kept[most_lines - 1 :])]
        return Fitted(
            tuple(self._cut(line, inches, smallest) for line in kept), smallest
        )

    def _evened(
        self, lines: list[str], text: str, inches: float, size: float
    ) -> tuple[str, ...]:
        """Return as many lines, of lengths as even as it goes."""
        best = lines
        for share in range(100, 50, -2):
            narrow = inches * share / 100
            tried = self._wrapped(text, narrow, size)
            if len(tried) > len(lines) or not self._is_inside(tried, inches, size):
                break
            best = tried
        return tuple(best)

    def _wrapped(self, text: str, inches: float, size: float) -> list[str]:
        lines = [""]
        for word in text.split(" "):
            longer = f"{lines[-1]} {word}".strip(" ")
            if lines[-1] and self.inches(longer, size) > inches:
                lines.append(word)
            else:
                lines[-1] = longer
        return lines

    def _is_inside(self, lines: list[str], inches: float, size: float) -> bool:
        return all(self.inches(line, size) <= inches for line in lines)

    def _cut(self, line: str, inches: float, size: float) -> str:
        if self.inches(line, size) <= inches:
            return line
        while line and self.inches(f"{line}…", size) > inches:
            line = line[:-1].rstrip()
        return f"{line}…"
