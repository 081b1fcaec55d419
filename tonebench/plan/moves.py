# SPDX-License-Identifier: GPL-3.0-or-later
"""Moves: knobs that turn and switches that step while a take plays.

Read from a comparison's ``bass = [[0, 5], [4, 10]]`` or the command line's
``bass=0:5,4:10``, and laid out over the steps of a stream. Designs nothing.
"""

import math
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from heapq import merge
from itertools import pairwise
from operator import itemgetter

from tonebench.circuit.controls import (
    Control,
    Knob,
    Settings,
    SwitchControl,
    complete_setting,
    no_such,
)
from tonebench.circuit.wording import shown
from tonebench.digital.moving import STEP_FRAMES
from tonebench.errors import RequestError
from tonebench.units import format_position

Point = tuple[float, float | str]
#: Positions, and moves as lists of [seconds, position], by the names of controls.
Changes = Mapping[str, object]

_LONGEST_S = 100_000  # more than a day: what lies beyond was hardly meant


@dataclass(frozen=True, slots=True)
class Move:
    """How one control stands during a take: break points of (seconds, position).

    A knob turns evenly from point to point, a switch steps at each; before the first
    point and after the last one they stand still.
    """

    control: Control
    points: tuple[Point, ...]

    def __post_init__(self) -> None:
        name = self.control.name
        if not self.points:
            raise RequestError(
                f"{name}: a move needs at least one point [seconds, position]"
            )
        for seconds, _ in self.points:
            if not 0 <= seconds <= _LONGEST_S:  # also catches NaN
                raise RequestError(
                    f"{name}: the seconds of a move must be from 0 to {_LONGEST_S}, "
                    f"got {seconds:g}"
                )
        for (before, _), (after, _) in pairwise(self.points):
            if not before < after:
                raise RequestError(
                    f"{name}: the seconds of a move must rise from point to point, "
                    f"got {after:g} after {before:g}"
                )
        at = tuple((s, self.control.position(p)) for s, p in self.points)
        object.__setattr__(self, "points", at)

    def position(self, seconds: float) -> float | str:
        """Return where the control stands at a time of the take."""
        k = bisect_right(self.points, seconds, key=itemgetter(0))
        if k == 0:
            return self.points[0][1]
        t0, p0 = self.points[k - 1]
        if k == len(self.points) or isinstance(p0, str):
            return p0
        t1, p1 = self.points[k]
        p1 = float(p1)
        turned = p0 + (p1 - p0) * ((seconds - t0) / (t1 - t0))
        return min(max(turned, min(p0, p1)), max(p0, p1))  # rounding may pass the end

    def words(self) -> str:
        """Return the move as a screen shows it.

        Examples
        --------
        >>> Move(Knob("bass", "Bass"), ((0.0, 5.0), (4.0, 7.5))).words()
        'Bass 5 at 0 s, 7½ at 4 s'
        """
        label = self.control.label or self.control.name
        return f"{label} " + ", ".join(
            f"{p if isinstance(p, str) else format_position(p)} at {t:g} s"
            for t, p in self.points
        )

    def steps(self, sample_rate_hz: float) -> Iterator[int]:
        """Yield, rising, the steps from which the position may be another one."""
        per_second = sample_rate_hz / STEP_FRAMES
        done = 0
        for (t0, p0), (t1, p1) in pairwise(self.points):
            if p0 == p1:
                continue
            last = math.ceil(t1 * per_second) + 1  # one more, for rounding
            turns = isinstance(self.control, Knob)
            first = math.floor(t0 * per_second) if turns else last - 2
            yield from range(max(first, done), last + 1)
            done = last + 1


@dataclass(frozen=True, slots=True)
class MovingSetting:
    """Where all controls of a chain stand, some of them moving."""

    controls: tuple[Control, ...]
    still: Settings
    moves: tuple[Move, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "still", complete_setting(self.controls, self.still))

    @property
    def is_moving(self) -> bool:
        """Whether any control ever stands elsewhere than at the start."""
        return any(len({p for _, p in move.points}) > 1 for move in self.moves)

    def at(self, seconds: float) -> Settings:
        """Return the complete setting at a time of the take."""
        moved = {move.control.name: move.position(seconds) for move in self.moves}
        return {**self.still, **moved}

    @property
    def positions(self) -> dict[str, float | str | list[list[float | str]]]:
        """Where each control stands, or its moves as a file writes them."""
        moved = {
            m.control.name: [list(point) for point in m.points] for m in self.moves
        }
        return {**self.still, **moved}

    def words(self) -> str:
        """Return all positions and moves in one line ("bass 5 at 0 s → 10 at 4 s")."""
        return ", ".join(
            f"{name} {position_words(position)}"
            for name, position in self.positions.items()
        )

    def schedule(self, sample_rate_hz: float) -> "Schedule":
        """Return the settings over the steps of a stream at a rate in Hz."""
        return Schedule(self, sample_rate_hz)


def position_words(position: object) -> str:
    """Return a position in words, or where a control moves and when.

    Examples
    --------
    >>> position_words(7.5), position_words([[0, 5], [4, "high"]])
    ('7½', '5 at 0 s → high at 4 s')
    """
    match position:
        case float() | int():
            return format_position(position)
        case list() | tuple():
            return " → ".join(
                f"{position_words(place)} at {seconds:g} s"
                for seconds, place in position
            )
    return str(position)


@dataclass(frozen=True, slots=True)
class Schedule:
    """The complete setting from each step on: (step, setting), steps rising from 0.

    The setting of a step is the one that holds at its first frame; a step is there only
    if its setting differs from the one before. Can be gone through again and again.
    """

    moving: MovingSetting
    sample_rate_hz: float

    def __iter__(self) -> Iterator[tuple[int, Settings]]:
        rate = self.sample_rate_hz
        last = self.moving.at(0.0)
        yield 0, last
        for step in merge(*(move.steps(rate) for move in self.moving.moves)):
            setting = self.moving.at(step * STEP_FRAMES / rate)
            if setting != last:
                yield step, setting
                last = setting


def moving_setting(controls: Iterable[Control], changes: Changes) -> MovingSetting:
    """Read positions and moves by the names of their controls.

    Parameters
    ----------
    controls : iterable of Control
        All controls of a chain; those left out in `changes` stand where they start.
    changes : mapping
        A position (``7.5``, ``"high"``), or a list of [seconds, position].

    Raises
    ------
    RequestError
        For an unknown control, a position that isn't one of its own, seconds that
        don't rise or are below 0, a move without points.

    Examples
    --------
    >>> bass = moving_setting([Knob("bass")], {"bass": [[0, 5], [4, 10]]})
    >>> bass.at(1)
    {'bass': 6.25}
    """
    by_name = {control.name: control for control in controls}
    still: dict[str, float | str] = {}
    moves = []
    for name, value in changes.items():
        if name not in by_name:
            raise RequestError(no_such("knob or switch", name, by_name))
        control = by_name[name]
        if isinstance(value, (list, tuple)):
            move = Move(control, tuple(_point(control, entry) for entry in value))
            still[name] = move.points[0][1]
            moves.append(move)
        else:
            still[name] = control.position(value)
    return MovingSetting(tuple(by_name.values()), still, tuple(moves))


def _point(control: Control, entry: object) -> Point:
    is_knob = isinstance(control, Knob)
    match entry:
        case [bool(), _] | [_, bool()]:
            pass
        case [(int() | float()) as seconds, (int() | float()) as position] if is_knob:
            return float(seconds), float(position)
        case [(int() | float()) as seconds, str() as position] if not is_knob:
            return float(seconds), position
    example = "[2, 7.5]" if is_knob else f'[2, "{_first_position(control)}"]'
    raise RequestError(
        f"{control.name}: a point of a move must be [seconds, position] such as "
        f"{example}, got {_written(entry)}"
    )


def _first_position(control: Control) -> str:
    return control.positions[0] if isinstance(control, SwitchControl) else ""


def _written(entry: object) -> str:
    if isinstance(entry, (list, tuple)) and len(entry) <= 3:
        return f"[{', '.join(_written(item) for item in entry)}]"
    return shown(entry)


def parse_moves(
    controls: Iterable[Control], texts: Iterable[str]
) -> dict[str, list[Point]]:
    """Read moves as the command line gives them: ``bass=0:5,4:10``.

    Returns
    -------
    dict
        Points by control, as `moving_setting` reads them.

    Raises
    ------
    RequestError
        For an unknown control, a text that can't be read, a control moved twice.

    Examples
    --------
    >>> parse_moves([Knob("bass")], ["bass=0:5,4:10"])
    {'bass': [(0.0, 5.0), (4.0, 10.0)]}
    """
    by_name = {control.name: control for control in controls}
    found: dict[str, list[Point]] = {}
    for text in texts:
        name, _, points = (piece.strip() for piece in text.partition("="))
        if not (name and points):
            raise RequestError(f"cannot read '{text}'; write it like bass=0:5,4:10")
        if name not in by_name:
            raise RequestError(no_such("knob or switch", name, by_name))
        if name in found:
            raise RequestError(
                f"{name} is moved twice; write all its points in one move"
            )
        control = by_name[name]
        found[name] = [_parsed(control, piece) for piece in points.split(",")]
    return found


def _parsed(control: Control, text: str) -> Point:
    seconds, colon, position = (piece.strip() for piece in text.partition(":"))
    try:
        if not (colon and position):
            raise ValueError
        if isinstance(control, Knob):
            return float(seconds), float(position)
        return float(seconds), position
    except ValueError:
        raise RequestError(
            f"{control.name}: cannot read '{text.strip()}' as a point of a move; write "
            "seconds:position with commas between points and decimal points in "
            "numbers, like 0:5,4.5:10"
        ) from None
