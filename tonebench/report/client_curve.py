# SPDX-License-Identifier: GPL-3.0-or-later
"""The curve of a pairing as it stands in a page: inline SVG, and its values as a table.

Everything that must not stretch with the page is placed in per cent; only the curves
themselves stretch. Colours and dashes are the style sheet's.
"""

import math
from collections.abc import Sequence
from html import escape

import numpy as np
from numpy.typing import NDArray

from tonebench.compare.verdict import MatchedCurves
from tonebench.units import format_db, format_frequency

Real = NDArray[np.float64]

#: Ticks, and whether a narrow page shows them too.
_TICKS_HZ = {
    10: False, 20: True, 50: False, 100: True, 200: False, 500: False, 1000: True,
    2000: False, 5000: False, 10_000: True, 20_000: False,
}  # fmt: skip
_STEPS_DB = (1, 2, 3, 6, 10, 20)
_MOST_STEPS = 7
_DEEPEST_DB, _LOWEST_SPAN_DB = 60.0, 12.0
_UNHEARD_DB = 30.0  # below the loudest: nobody reads a curve there first
_SIDE = 1000  # of the square that the curves are drawn in, before it is stretched
_NAME_ROOM = 7.5  # per cent of the height, between two names
_LONGEST_NAME = 16
#: The nominal third-octave frequencies (ISO 266), 20 Hz to 20 kHz.
_THIRDS_HZ = tuple(
    base * 10**power
    for power in (1, 2, 3, 4)
    for base in (1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8)
    if 20 <= base * 10**power <= 20_000
)


class _Frame:
    """Where frequencies and levels stand, as shares of the width and the height."""

    def __init__(self, curves: MatchedCurves) -> None:
        hz = curves.frequency_hz
        self.low_hz, self.high_hz = float(hz[0]), float(hz[-1])
        values = np.concatenate([curves.a_db, curves.b_db, curves.difference_db, [0.0]])
        values = values[np.isfinite(values)]
        top = float(values.max())
        bottom = max(float(values.min()), top - _DEEPEST_DB)
        middle, span = (top + bottom) / 2, max(top - bottom, _LOWEST_SPAN_DB) * 1.1
        self.top_db, self.bottom_db = middle + span / 2, middle - span / 2

    def x(self, frequency_hz: float | Real) -> Real:
        span = math.log(self.high_hz / self.low_hz)
        return np.asarray(np.log(np.asarray(frequency_hz) / self.low_hz) / span)

    def y(self, level_db: float | Real) -> Real:
        span = self.top_db - self.bottom_db
        return np.clip((self.top_db - np.asarray(level_db)) / span, 0, 1)

    @property
    def levels_db(self) -> range:
        """The levels that have a line."""
        span = self.top_db - self.bottom_db
        step = next((s for s in _STEPS_DB if span / s <= _MOST_STEPS), _STEPS_DB[-1])
        first = math.ceil(self.bottom_db / step) * step
        return range(first, math.floor(self.top_db) + 1, step)

    def holds(self, frequency_hz: float) -> bool:
        return self.low_hz <= frequency_hz <= self.high_hz


def curve_svg(
    curves: MatchedCurves,
    names: tuple[str, str],
    title: str,
    strings: Sequence[tuple[str, float]] = (),
) -> str:
    """Return A, B and B − A over frequency, as SVG with classes and without styles.

    Parameters
    ----------
    curves : MatchedCurves
        What to draw.
    names : tuple of str
        What stands at the ends of A and B, before escaping.
    title : str
        What the picture shows, for who can't see it.
    strings : sequence of (str, float)
        Open strings: a letter and its pitch in Hz.
    """
    frame = _Frame(curves)
    lines = {"d": curves.difference_db, "a": curves.a_db, "b": curves.b_db}
    paths = "".join(
        f'<path class="curve {key}" d="{_path(frame, curves.frequency_hz, values)}"/>'
        for key, values in lines.items()
    )
    return (
        f'<svg class="plot" role="img" aria-label="{escape(title)}">'
        f"{_grid(frame)}{_strings(frame, strings)}"
        f'<svg class="stretch" width="100%" height="100%" preserveAspectRatio="none" '
        f'viewBox="0 0 {_SIDE} {_SIDE}">{paths}</svg>'
        f"{_ends(frame, lines, {'a': names[0], 'b': names[1], 'd': 'B − A'})}</svg>"
    )


def levels_shown(curves: MatchedCurves) -> tuple[float, float]:
    """Return the levels at the top and the bottom of the drawing, in dB."""
    frame = _Frame(curves)
    return frame.top_db, frame.bottom_db


def best_place(curves: MatchedCurves) -> int:
    """Return where A and B are furthest apart, as far as both are heard at all."""
    difference = np.abs(np.nan_to_num(curves.difference_db))
    loud = np.maximum(curves.a_db, curves.b_db)
    difference[loud < np.max(loud) - _UNHEARD_DB] = 0
    return int(np.argmax(difference))


def _percent(share: float | Real) -> str:
    return f"{100 * float(share):.2f}%"


def _path(frame: _Frame, hz: Real, level_db: Real) -> str:
    """Return a curve as path data; it breaks off where there is silence."""
    x, y = _SIDE * frame.x(hz), _SIDE * frame.y(np.nan_to_num(level_db))
    words, is_drawing = [], False
    is_shown = np.isfinite(level_db) & (level_db >= frame.bottom_db)
    for k, is_finite in enumerate(is_shown):
        if is_finite:
            words.append(f"{'L' if is_drawing else 'M'}{x[k]:.1f} {y[k]:.1f}")
        is_drawing = bool(is_finite)
    return "".join(words)


def _grid(frame: _Frame) -> str:
    drawn = []
    for level in frame.levels_db:
        y = _percent(frame.y(level))
        kind = "zero" if level == 0 else "line"
        sign = "+" if level > 0 else "−" if level < 0 else ""
        drawn.append(f'<line class="{kind}" x1="0" x2="100%" y1="{y}" y2="{y}"/>')
        word = f"{sign}{abs(level)}"
        drawn.append(f'<text class="level" x="0" y="{y}" dx="-8" dy="4">{word}</text>')
    for hz, is_always in _TICKS_HZ.items():
        if not frame.holds(hz):
            continue
        x, word = _percent(frame.x(hz)), f"{hz // 1000}k" if hz >= 1000 else f"{hz}"
        kind = "" if is_always else " wide"
        drawn.append(f'<line class="line{kind}" x1="{x}" x2="{x}" y1="0" y2="100%"/>')
        drawn.append(f'<text class="tick{kind}" x="{x}" y="100%" dy="18">{word}</text>')
    drawn.append('<text class="unit" x="0" y="0" dx="-8" dy="-11">dB</text>')
    drawn.append('<text class="unit" x="100%" y="100%" dx="32" dy="18">Hz</text>')
    return "".join(drawn)


def _strings(frame: _Frame, strings: Sequence[tuple[str, float]]) -> str:
    drawn = []
    for letter, hz in strings:
        if frame.holds(hz):
            x = _percent(frame.x(hz))
            drawn.append(f'<line class="string" x1="{x}" x2="{x}" y1="0" y2="7"/>')
            text = f'<text class="string" x="{x}" y="0" dy="-6">{escape(letter)}</text>'
            drawn.append(text)
    return "".join(drawn)


def _ends(frame: _Frame, lines: dict[str, Real], names: dict[str, str]) -> str:
    """Return the names at the curves' ends, apart from each other, each with a lead."""
    ends = []
    for key, values in lines.items():
        finite = values[np.isfinite(values)]
        if finite.size:
            ends.append((100 * float(frame.y(float(finite[-1]))), key))
    ends.sort()
    places: list[float] = []
    for place, _ in ends:
        places.append(max(place, places[-1] + _NAME_ROOM if places else 0.0))
    for k in reversed(range(len(places))):  # back up where they ran over the edge
        limit = places[k + 1] - _NAME_ROOM if k + 1 < len(places) else 100.0
        places[k] = min(places[k], limit)
    drawn = []
    for place, (end, key) in zip(places, ends, strict=True):
        letter, _, rest = names[key].partition(" ")
        rest = rest if len(rest) <= _LONGEST_NAME else f"{rest[: _LONGEST_NAME - 1]}…"
        more = f'<tspan class="wide"> {escape(rest)}</tspan>' if rest else ""
        more = " − A" if key == "d" else more  # short enough for a narrow page
        at, to = f"{end:.2f}%", f"{place:.2f}%"
        drawn.append(
            '<svg class="lead" x="100%" width="24" height="100%">'
            f'<line class="curve {key}" x1="2" y1="{at}" x2="22" y2="{to}"/>'
            f'</svg><text class="end" x="100%" y="{to}" dx="28" dy="4">'
            f"{escape(letter)}{more}</text>"
        )
    return "".join(drawn)


def curve_table(curves: MatchedCurves) -> str:
    """Return the values at third octaves (ISO 266) as rows of an HTML table.

    Numbers have a plain hyphen as their sign: so a spreadsheet takes them as numbers.
    """
    hz = curves.frequency_hz
    rows = []
    for at_hz in _THIRDS_HZ:
        if not hz[0] <= at_hz <= hz[-1]:
            continue
        values = [
            float(np.interp(math.log(at_hz), np.log(hz), np.nan_to_num(v, neginf=-999)))
            for v in (curves.a_db, curves.b_db)
        ]
        told = ["silent" if v < -300 else _plain(v) for v in values]
        is_silent = "silent" in told
        told.append("" if is_silent else _plain(values[1] - values[0]))
        cells = "".join(f"<td>{word}</td>" for word in told)
        rows.append(f'<tr><th scope="row">{at_hz:g}</th>{cells}</tr>')
    return "\n".join(rows)


def _plain(value: float) -> str:
    text = f"{value:.2f}"
    return text.removeprefix("-") if float(text) == 0 else text


def curve_words(curves: MatchedCurves) -> str:
    """Return the range of B − A in a sentence, for who can't see the curve."""
    difference = curves.difference_db
    if np.isnan(difference).all():
        return "A or B is silent."
    low, high = int(np.nanargmin(difference)), int(np.nanargmax(difference))
    hz = [format_frequency(float(curves.frequency_hz[k])) for k in (low, high)]
    return (
        f"B minus A goes from {format_db(float(difference[low]))} at {hz[0]} "
        f"to {format_db(float(difference[high]))} at {hz[1]}."
    )
