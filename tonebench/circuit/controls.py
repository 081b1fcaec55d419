# SPDX-License-Identifier: GPL-3.0-or-later
"""Knobs and switches, and what a complete setting of them is.

Knows nothing of the parts that they move.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches

from tonebench.errors import RequestError

#: A setting: every control's position by the control's name; a number from 0 to 10 for
#: a knob, a word for a switch.
Settings = Mapping[str, float | str]


@dataclass(frozen=True, slots=True)
class Knob:
    """A knob that turns from 0 to 10; 5 is its centre."""

    name: str
    label: str = ""
    start: float = 5.0
    detent: bool = False
    trim: bool = False
    stacked_on: str = ""
    notes: str = ""

    def position(self, value: object) -> float:
        """Return `value` as one of this knob's positions."""
        try:
            if isinstance(value, bool):
                raise TypeError
            position = float(value)  # type: ignore[arg-type]  # any wrong type is caught
        except (TypeError, ValueError):
            raise RequestError(
                f"{self.name}: position must be a number from 0 to 10, got '{value}'"
            ) from None
        if not 0 <= position <= 10:
            raise RequestError(
                f"{self.name}: position must be from 0 to 10, got {position:g}"
            )
        return position


@dataclass(frozen=True, slots=True)
class SwitchControl:
    """A switch with named positions; several switch parts may be its poles."""

    name: str
    positions: tuple[str, ...]
    label: str = ""
    start: str = ""
    pull_of: str = ""
    notes: str = ""

    def position(self, value: object) -> str:
        """Return `value` as one of this switch's positions."""
        if value not in self.positions:
            raise RequestError(
                f"{self.name}: position must be one of {', '.join(self.positions)}, "
                f"got '{value}'"
            )
        return str(value)


Control = Knob | SwitchControl


def complete_setting(controls: Iterable[Control], changes: Settings) -> Settings:
    """Return the position of every control: where it starts, or as changed.

    Raises
    ------
    RequestError
        For a name that is none of the controls, or a position out of range.

    Examples
    --------
    >>> complete_setting([Knob("bass"), Knob("level", start=7)], {"bass": 2})
    {'bass': 2.0, 'level': 7}
    """
    by_name = {control.name: control for control in controls}
    for name in changes:
        if name not in by_name:
            raise RequestError(no_such("knob or switch", name, by_name))
    return {
        name: control.position(changes[name]) if name in changes else control.start
        for name, control in by_name.items()
    }


def no_such(kind: str, name: str, names: Iterable[str]) -> str:
    """Return the sentence for an unknown name, offering the nearest one or all."""
    known = list(names)
    near = get_close_matches(name, known, n=1)
    if near:
        return f"there is no {kind} '{name}'; did you mean '{near[0]}'?"
    if known:
        return f"there is no {kind} '{name}'; there are {', '.join(known)}"
    return f"there is no {kind} '{name}'; this circuit has none"
