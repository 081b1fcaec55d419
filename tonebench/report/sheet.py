# SPDX-License-Identifier: GPL-3.0-or-later
"""A pairing as a picture of 1920 × 1080, for who cuts a video: a sentence first.

Under it the curves and what stands where on A and B, last how they were matched; large
enough to be read in a video, on paper or on none. Drawn from a manifest and curves.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tonebench.audio.take import open_strings_hz
from tonebench.compare.matching import level_words
from tonebench.compare.verdict import MatchedCurves
from tonebench.report.board import HEIGHT, WIDTH, Board
from tonebench.report.canvas import (
    Line,
    Look,
    draw_lines,
    frame,
    names_at_ends,
    open_strings,
    picture,
)
from tonebench.report.client_parts import Values, take_of
from tonebench.report.themes import DARK, LIGHT
from tonebench.units import format_position

#: How a sheet looks, by the word that stands in its name.
SHEETS: Mapping[str, Look] = {
    "light": Look(LIGHT, is_frame=True),
    "dark": Look(DARK, is_frame=True),
    "transparent": Look(DARK, is_transparent=True),
}
#: All in pixels, but for sizes of letters, which are in points of 3⅓ pixels.
_EDGE, _FOOT = 60, 1044
_ACROSS = WIDTH - 2 * _EDGE
_CURVES_LEFT, _CURVES_RIGHT = 170, 1190
_AXIS, _STRINGS = 105, 44  # the room that their words take
_PANEL = 1340
_PANEL_WIDTH = WIDTH - _EDGE - _PANEL
_NAME, _ROW, _GAP = 56, 50, 26
_BAR_LEFT, _BAR, _BAR_ROOM = 220, 190, 24
_B_DASHES = (0, (5, 2))


@dataclass(frozen=True, slots=True)
class Row:
    """A control on a sheet: its name, where it stands in words, and as a bar.

    `bar` is how far it is turned up, 0 to 10; None if it has no bar.
    """

    name: str
    words: str
    bar: float | None = None


@dataclass(frozen=True, slots=True)
class _Side:
    """A or B on a sheet."""

    name: str
    chain: str
    rows: tuple[Row, ...]
    colour: str
    dash: Any


def rows_of(settings: Values) -> list[Row]:
    """Return the controls of a side, as a manifest has them; one that moves: its way.

    Examples
    --------
    >>> rows_of({"mid_sweep": 6.5, "range": "low"})[0]
    Row(name='Mid sweep', words='6½', bar=6.5)
    >>> rows_of({"bass": [[0, 5], [4, 10]]})
    [Row(name='Bass', words='5 → 10, moving', bar=None)]
    """
    rows = []
    for key, position in settings.items():
        plain = key.translate({ord("_"): " ", ord("."): " "})
        name = f"{plain[:1].upper()}{plain[1:]}"
        if isinstance(position, list | tuple):
            way = " → ".join(_words(place) for _, place in position)
            rows.append(Row(name, f"{way}, moving"))
        else:
            bar = None if isinstance(position, str) else float(position)
            rows.append(Row(name, _words(position), bar))
    return rows


def _words(position: float | str) -> str:
    return position if isinstance(position, str) else format_position(position)


def draw_sheet(
    manifest: Values, pairing: Values, curves: MatchedCurves, look: Look
) -> bytes:
    """Return a pairing's sheet as PNG.

    Parameters
    ----------
    manifest, pairing : mapping
        The values of ``manifest.json``, and the pairing of it.
    curves : MatchedCurves
        The pairing's.
    look : Look
        One of `SHEETS`.
    """

    def paint(figure: Any) -> None:
        board = Board(figure, look.theme)
        top = _heads(board, manifest, pairing, _quiet(look))
        matched = pairing["verdict"][1]
        bottom = board.write(
            matched,
            (_EDGE, _FOOT),
            _ACROSS,
            (8.5, 7),
            most_lines=2,
            colour=_quiet(look),
            is_above=True,
        )
        _sides(board, pairing["clips"], top + 30, bottom - 20)
        _curves(figure, manifest, pairing, curves, look, (top + 10, bottom - _AXIS))

    return picture(".png", look, paint)


def _quiet(look: Look) -> str:
    """Return the colour of what matters less: over a film all of it must be read."""
    return look.theme.ink if look.is_transparent else look.theme.difference


def _heads(board: Board, manifest: Values, pairing: Values, quiet: str) -> float:
    """Write what it is, what is heard, and what differs; return where they end."""
    take = take_of(manifest, pairing)
    what = f"{pairing['name']} · {take['title']} · {manifest['title']}"
    verdict = pairing["verdict"]
    y = board.write(what, (_EDGE, 44), _ACROSS, (8.5, 7), colour=quiet)
    y = board.write(
        verdict[2],
        (_EDGE, y + 14),
        _ACROSS,
        (15.5, 11.5),
        most_lines=3,
        weight="bold",
    )
    return board.write(verdict[0], (_EDGE, y + 8), _ACROSS, (10.5, 8), most_lines=2)


def _sides(board: Board, clips: Values, top: float, bottom: float) -> None:
    """Write A and B under each other; rows that don't fit are counted."""
    sides = [
        _Side(
            f"{letter} {clips[key].get('name') or clips[key].get('circuit')}",
            clips[key]["chain"],
            tuple(rows_of(clips[key]["settings"])),
            colour,
            dash,
        )
        for key, letter, colour, dash in (
            ("a", "A", board.theme.a, "-"),
            ("b", "B", board.theme.b, _B_DASHES),
        )
    ]
    y = _side_head(board, sides[0], top)
    head = y - top  # of A; that of B is about as high
    room = int((bottom - y - head - _GAP) // _ROW)
    most = shared([max(1, len(side.rows)) for side in sides], room)
    y = _rows(board, sides[0], most[0], y)
    y = _side_head(board, sides[1], y + _GAP)
    _rows(board, sides[1], max(1, min(most[1], int((bottom - y) // _ROW))), y)


def shared(wanted: Sequence[int], room: int) -> tuple[int, int]:
    """Return how many rows each of two gets; what one doesn't need the other may have.

    Examples
    --------
    >>> shared((2, 4), 8), shared((2, 9), 8), shared((9, 9), 7), shared((3, 3), 1)
    ((2, 4), (2, 6), (4, 3), (1, 1))
    """
    first = min(wanted[0], max(1, (room + 1) // 2, room - wanted[1]))
    return first, min(wanted[1], max(1, room - first))


def _side_head(board: Board, side: _Side, y: float) -> float:
    """Write a side's line, name and chain; return where they end."""
    line = {"colour": side.colour, "width": 2.0, "dash": side.dash}
    board.stroke((_PANEL, y + 22), (_PANEL + 90, y + 22), **line)
    board.write(
        side.name,
        (_PANEL + 110, y),
        _PANEL_WIDTH - 110,
        (11.5, 8),
        colour=side.colour,
        weight="bold",
    )
    place = _PANEL, y + _NAME
    return 12 + board.write(side.chain, place, _PANEL_WIDTH, (8, 6.5), most_lines=2)


def _rows(board: Board, side: _Side, most: int, y: float) -> float:
    """Write a side's controls, at most so many lines; return where they end."""
    rows = list(side.rows) or [Row("Nothing to set", "")]
    if len(rows) > most:
        left_out = len(rows) - most + 1
        rows = [*rows[: most - 1], Row(f"and {left_out} more", "")]
    for row in rows:
        _row(board, row, side.colour, y)
        y += _ROW
    return y


def _row(board: Board, row: Row, colour: str, y: float) -> None:
    """Write a control in a line: its name, its bar, where it stands."""
    room = _BAR_LEFT - 20 if row.words else _PANEL_WIDTH
    board.write(row.name, (_PANEL, y), room, (9, 6.5))
    start = _PANEL + _BAR_LEFT
    left = start if row.bar is None else start + _BAR + _BAR_ROOM
    width = _PANEL + _PANEL_WIDTH - left
    board.write(row.words, (left, y), width, (9, 6), weight="bold")
    if row.bar is None:
        return
    middle = y + 14
    board.stroke((start, middle), (start + _BAR, middle))
    centre = start + _BAR / 2
    board.stroke((centre, middle - 12), (centre, middle + 12))
    end = start + _BAR * row.bar / 10
    board.stroke((start, middle), (end, middle), colour=colour, width=3.4)


def _curves(
    figure: Any,
    manifest: Values,
    pairing: Values,
    curves: MatchedCurves,
    look: Look,
    between: tuple[float, float],
) -> None:
    theme, hz = look.theme, curves.frequency_hz
    tuning = str(take_of(manifest, pairing).get("tuning", ""))
    notes = [word.rstrip("-0123456789") for word in tuning.split()]
    strings = list(zip(notes, open_strings_hz(tuning), strict=True))
    top, bottom = between
    top += _STRINGS if strings else 10
    width, height = _CURVES_RIGHT - _CURVES_LEFT, bottom - top
    axes = figure.add_axes(
        (
            *(_CURVES_LEFT / WIDTH, 1 - bottom / HEIGHT),
            *(width / WIDTH, height / HEIGHT),
        )
    )
    lines: list[Line] = [
        (hz, curves.difference_db, "B − A", theme.difference, (0, (1, 1.5))),
        (hz, curves.a_db, "A", theme.a, "-"),
        (hz, curves.b_db, "B", theme.b, _B_DASHES),
    ]
    draw_lines(axes, lines, 2.4)
    mode, match_hz = pairing.get("matched_by", ""), manifest["match"]["match_hz"]
    told = level_words(pairing["is_matched"], mode, match_hz)
    frame(axes, lines, f"dB, {told}", theme)
    open_strings(axes, strings, theme)
    names_at_ends(axes, lines)
