# SPDX-License-Identifier: GPL-3.0-or-later
"""The take from left to right, as it stands in a page: outline, seconds, moving knobs.

Everything that must not stretch with the page is placed in per cent. Colours and dashes
are the style sheet's; what plays, and the part that is looped, are the script's.
"""

import math
from collections.abc import Mapping
from html import escape
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from tonebench.units import format_position

Real = NDArray[np.float64]
Values = Mapping[str, Any]
Point = tuple[float, float | str]

_WIDTH, _HALF = 1000, 50  # of the outline before it is stretched
_TICKS_S = (0.5, 1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600)
_MOST_TICKS = 9
_TOP, _BOTTOM = 22.0, 88.0  # per cent of a lane, at 10 and at 0
_ROOM = 0.09  # of the width, for a position's number


class Lane(NamedTuple):
    """A control that moves, and whose: "a", "b", or "both"."""

    side: str
    name: str
    points: tuple[Point, ...]


def lanes_of(pairing: Values) -> list[Lane]:
    """Return the controls that move in a pairing; what moves alike in A and B, once."""
    found: list[Lane] = []
    for side in ("a", "b"):
        for name, position in pairing["clips"][side]["settings"].items():
            if isinstance(position, int | float | str):
                continue
            points = tuple((float(t), p) for t, p in position)
            twin = Lane("a", name, points)
            if side == "b" and twin in found:
                found[found.index(twin)] = Lane("both", name, points)
            else:
                found.append(Lane(side, name, points))
    return found


def strip_html(pairing: Values, duration_s: float, outline: Real | None) -> str:
    """Return outline, seconds and lanes of a pairing, and its moves in words.

    Parameters
    ----------
    pairing : mapping
        Its entry in the manifest.
    duration_s : float
        Of its take.
    outline : ndarray, shape (pieces,), optional
        The take's peaks; without it a plain line stands for the take.
    """
    lanes = lanes_of(pairing)
    drawn = "".join(_lane(lane, duration_s) for lane in lanes)
    words = "".join(
        f"<li>{escape(move_words(lane, duration_s))}</li>" for lane in lanes
    )
    told = f'<ul class="moves" aria-label="What moves">{words}</ul>' if words else ""
    return (
        '<figure class="strip"><figcaption>The take, from its start to its end'
        '<span class="by-hand">: click to go to a place, drag to play a part over and '
        f"over</span>.</figcaption>"
        f'<div class="stage">{_outline(outline)}{_seconds(duration_s)}{drawn}</div>'
        f"{told}</figure>"
    )


def _outline(peaks: Real | None) -> str:
    """Return how far a take swings, mirrored; the loudest moment fills the height."""
    top = float(peaks.max(initial=0)) if peaks is not None else 0.0
    if peaks is None or not top > 0:
        what = "The take is silent" if peaks is not None else "The take"
        path = f"M0 {_HALF}H{_WIDTH}"
    else:
        x = (np.arange(len(peaks)) + 0.5) * _WIDTH / len(peaks)
        height = np.maximum(_HALF * 0.96 * peaks / top, 0.5)
        upper = [f"{a:.1f} {_HALF - h:.1f}" for a, h in zip(x, height, strict=True)]
        lower = [f"{a:.1f} {_HALF + h:.1f}" for a, h in zip(x, height, strict=True)]
        path = f"M{'L'.join(upper)}L{'L'.join(reversed(lower))}Z"
        loudest = (int(np.argmax(peaks)) + 0.5) / len(peaks)
        what = f"Outline of the take, loudest at {100 * loudest:.0f} % of its length"
    return (
        f'<svg class="outline" role="img" aria-label="{what}" '
        f'preserveAspectRatio="none" viewBox="0 0 {_WIDTH} {2 * _HALF}">'
        f'<path d="{path}"/></svg>'
    )


def _seconds(duration_s: float) -> str:
    steps = (s for s in _TICKS_S if duration_s / s <= _MOST_TICKS)
    step = next(steps, math.ceil(duration_s / _MOST_TICKS / 3600) * 3600)
    drawn = []
    for k in range(math.floor(duration_s / step + 1e-9) + 1):
        share = k * step / duration_s
        if share > 0.95:  # its number would stand over the edge
            continue
        x, word = f"{100 * share:.2f}%", f"{k * step:g}{' s' if k == 0 else ''}"
        drawn.append(f'<line class="line" x1="{x}" x2="{x}" y1="0" y2="5"/>')
        drawn.append(f'<text x="{x}" y="100%" dy="-3">{word}</text>')
    return f'<svg class="seconds" aria-hidden="true">{"".join(drawn)}</svg>'


def _shown(lane: Lane, duration_s: float) -> list[Point]:
    """Return the points of a lane as far as the take goes, both ends among them."""
    inside = [(t, p) for t, p in lane.points if t < duration_s]
    start = lane.points[0][1]
    first = [] if inside and inside[0][0] <= 0 else [(0.0, start)]
    return [*first, *inside, (duration_s, _position(lane, duration_s))]


def _position(lane: Lane, seconds: float) -> float | str:
    before = lane.points[0]
    for point in lane.points:
        if point[0] > seconds:
            if isinstance(before[1], str) or isinstance(point[1], str):
                return before[1]
            span = point[0] - before[0]
            share = (seconds - before[0]) / span if span else 0.0
            return before[1] + (point[1] - before[1]) * share
        before = point
    return before[1]


def _lane(lane: Lane, duration_s: float) -> str:
    """Return a moving control over time: its height is its position, 0 to 10."""
    points = _shown(lane, duration_s)
    places = list(dict.fromkeys(p for _, p in points if isinstance(p, str)))

    def y(position: float | str) -> float:
        share = (
            places.index(position) / max(1, len(places) - 1)
            if isinstance(position, str)
            else position / 10
        )
        return _BOTTOM + (_TOP - _BOTTOM) * share

    drawn, words, free = [], [], -1.0
    for (t0, p0), (t1, p1) in pairwise(points):
        x0, x1 = (f"{100 * t / duration_s:.2f}%" for t in (t0, t1))
        y0, y1 = f"{y(p0):.1f}%", f"{y(p1):.1f}%"
        end = y0 if isinstance(p0, str) else y1
        drawn.append(_line(lane.side, x0, x1, y0, end))
        if end != y1:
            drawn.append(_line(lane.side, x1, x1, y0, y1))
    for k, (t, position) in enumerate(points):
        share = t / duration_s
        is_news = k == 0 or position != points[k - 1][1]
        if not is_news or share < free or share > 1 - _ROOM / 2:
            continue
        free = share + _ROOM
        word = escape(_place_words(position))
        x, at = f"{100 * share:.2f}%", f"{y(position):.1f}%"
        words.append(
            f'<text class="place" x="{x}" y="{at}" dx="4" dy="-4">{word}</text>'
        )
    who = {"both": "A and B"}.get(lane.side, lane.side.upper())
    name = escape(f"{_title(lane.name)} of {who}")
    return (
        f'<p class="lane-name">{name}</p>'
        f'<svg class="lane" aria-hidden="true">{"".join(drawn)}{"".join(words)}</svg>'
    )


def _line(side: str, x1: str, x2: str, y1: str, y2: str) -> str:
    kinds = ("a", "b") if side == "both" else (side,)
    return "".join(
        f'<line class="curve {kind}" x1="{x1}" x2="{x2}" y1="{y1}" y2="{y2}"/>'
        for kind in kinds
    )


def move_words(lane: Lane, duration_s: float) -> str:
    """Return a move as a sentence: from where to where, and when.

    Examples
    --------
    >>> move_words(Lane("b", "bass", ((0.0, 0.0), (4.0, 10.0))), 9.0)
    'Bass of B turns from 0 to 10 from 0 to 4 s.'
    >>> move_words(Lane("a", "range", ((0.0, "low"), (2.0, "high"))), 9.0)
    'Range of A stands at low, and goes to high at 2 s.'
    """
    who = {"both": "A and B"}.get(lane.side, lane.side.upper())
    start = f"{_title(lane.name)} of {who}"
    news = [
        (one, other)
        for one, other in pairwise(lane.points)
        if one[1] != other[1]
        and (other[0] if isinstance(other[1], str) else one[0]) < duration_s
    ]
    if not news:
        return f"{start} stays at {_place_words(lane.points[0][1])}."
    steps = []
    for (t0, p0), (t1, p1) in news:
        if isinstance(p1, str):
            steps.append(f"goes to {_place_words(p1)} at {t1:g} s")
            continue
        begin = "turns" if steps else f"turns from {_place_words(p0)}"
        late = ", behind the end of the take" if t1 > duration_s + 1e-6 else ""
        steps.append(f"{begin} to {_place_words(p1)} from {t0:g} to {t1:g} s{late}")
    if isinstance(lane.points[0][1], str):
        return f"{start} stands at {lane.points[0][1]}, and {', then '.join(steps)}."
    return f"{start} {', then '.join(steps)}."


def _place_words(position: float | str) -> str:
    return position if isinstance(position, str) else format_position(position)


def _title(name: str) -> str:
    words = name.translate({ord("_"): " ", ord("."): " "})
    return f"{words[:1].upper()}{words[1:]}"
