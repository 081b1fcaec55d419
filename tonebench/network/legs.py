# SPDX-License-Identifier: GPL-3.0-or-later
"""The resistances that may be zero or open: pot legs, switch contacts, wire links.

Each part has a fixed list of legs between fixed nodes; a setting only changes their
resistances. Nothing here knows matrices.
"""

from collections.abc import Sequence

from tonebench.circuit.controls import Settings
from tonebench.circuit.parts import (
    Pair,
    Part,
    Pot,
    Resistor,
    Switch,
    VariableResistor,
)

#: Resistors below this are solved with a branch current of their own: as conductances
#: they would cost digits (a milliohm in parallel to a megohm leaves seven).
SMALL_OHM = 10.0

Ohms = float | None  # None: open


def leg_nodes(part: Part) -> tuple[Pair, ...]:
    """Return the pairs of nodes between which the legs of a part lie, if it has any."""
    match part:
        case Resistor() if part.resistance_ohm < SMALL_OHM:
            return (part.across,)
        case VariableResistor():
            return (part.across,)
        case Pot(ends=(a, b), wiper=w, tap=None):
            return ((a, w), (w, b), (a, b))
        case Pot(ends=(a, b), wiper=w, tap=str(t)):
            return ((a, w), (w, b), (a, t), (t, b), (w, t))
        case Switch():
            return tuple((part.common, node) for node in _all_throws(part))
    return ()


def leg_ohms(part: Part, setting: Settings) -> Sequence[Ohms]:
    """Return the resistances of a part's legs at a setting, in `leg_nodes`' order."""
    match part:
        case Resistor():
            return (part.resistance_ohm,)
        case VariableResistor():
            position = _knob(setting, part.knob)
            if _has_left_the_track(part.open_at, position):
                return (None,)
            return (_before_wiper(part, position),)
        case Pot():
            return _pot_ohms(part, _knob(setting, part.knob))
        case Switch():
            thrown = part.thrown_to(str(setting[part.switch]))
            return tuple(0.0 if node in thrown else None for node in _all_throws(part))
    return ()


def _pot_ohms(pot: Pot, position: float) -> tuple[Ohms, ...]:
    track = pot.resistance_ohm
    first = _before_wiper(pot, position)
    is_off = _has_left_the_track(pot.open_at, position)
    if pot.tap_at is None:
        return (None, None, track) if is_off else (first, track - first, None)
    to_tap = pot.tap_at * track
    if is_off:
        return (None, None, to_tap, track - to_tap, None)
    if first < to_tap:
        return (first, None, None, track - to_tap, to_tap - first)
    return (None, track - first, to_tap, None, first - to_tap)


def _before_wiper(part: Pot | VariableResistor, position: float) -> float:
    share = part.taper.share(position)
    return part.end_ohm + share * (part.resistance_ohm - 2 * part.end_ohm)


def _has_left_the_track(open_at: float | None, position: float) -> bool:
    if open_at is None:
        return False
    return position >= open_at if open_at > 5 else position <= open_at


def _knob(setting: Settings, name: str) -> float:
    return float(setting[name])


def _all_throws(switch: Switch) -> tuple[str, ...]:
    nodes = (node for _, thrown in switch.throws for node in thrown)
    return tuple(dict.fromkeys(nodes))
