# SPDX-License-Identifier: GPL-3.0-or-later
"""What to buy for a circuit: every part with its value, tolerance and series.

Values that nobody sells are told with the nearest that can be had, and with what that
does to the curves. Knows no shop and no price.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tonebench.circuit import eseries
from tonebench.circuit.circuit import Circuit
from tonebench.circuit.controls import Knob, Settings
from tonebench.circuit.eseries import Series
from tonebench.circuit.hookup import Chain
from tonebench.circuit.parts import (
    Capacitor,
    Inductor,
    OpAmp,
    Part,
    Pot,
    Resistor,
    Switch,
    Transconductor,
    VariableResistor,
    value_words,
)
from tonebench.errors import CircuitError
from tonebench.network.builds import Builds
from tonebench.network.nodal import Network
from tonebench.study.headroom import slew_needed, swings
from tonebench.study.tolerance import PartTolerance
from tonebench.units import format_code, format_value

#: The finest series in which a kind of part is easily had (common practice, no source).
_SOLD: Mapping[str, tuple[Series, ...]] = {
    "resistor": ("E24", "E96"),
    "capacitor": ("E12", "E24"),
    "inductor": ("E12", "E24"),
}
#: Pots are sold in these (common practice, no source).
_POT_NUMBERS = (1.0, 2.0, 2.2, 2.5, 4.7, 5.0)
#: What electrolytic capacitors are rated for, volts (common practice, no source).
_RATINGS_V = (16, 25, 35, 50, 63, 100)
_LOOK_HZ = np.geomspace(20, 20_000, 120)
_ALIKE = 1e-9
_Change = tuple[float | None, float | None]


@dataclass(frozen=True, slots=True)
class PartLine:
    """One line of a parts list.

    Attributes
    ----------
    ref, kind : str
        The designator, and what it is bought as.
    value : float or None
        In `unit`; None for op-amps and switches.
    code : str
        The value as printed on lists (IEC 60062), or what else says which part.
    tolerance : float or None
        As a share; `is_usual_tolerance` where the circuit's file doesn't name it.
    series : str
        The coarsest of the E series that has it; empty if none has.
    nearest : float or None
        The nearest value that can be had; None where this one can be.
    change_db, change_hz : float or None
        What `nearest` does to the curves at most, and where; None if there is none.
    note : str
        What else to look for.
    """

    ref: str
    kind: str
    value: float | None = None
    unit: str = ""
    code: str = ""
    tolerance: float | None = None
    is_usual_tolerance: bool = False
    series: str = ""
    nearest: float | None = None
    change_db: float | None = None
    change_hz: float | None = None
    note: str = ""


def parts_list(
    chain: Chain, changes: Settings, parts: Sequence[PartTolerance]
) -> tuple[PartLine, ...]:
    """Return a line for every part of the circuit, in the order of its file.

    Parameters
    ----------
    chain : Chain
        The circuit with its hook-up; neighbours are not built, so not listed.
    changes : mapping
        The setting at which a change of value is told; each knob is also turned to
        both ends.
    parts : sequence of PartTolerance
        As `tolerances` returns them.
    """
    by_ref = {ref: part for part in parts for ref in part.refs}
    lines = []
    for part in chain.circuit.parts:
        found = by_ref.get(part.ref)
        nearest = _nearest(part)
        change: _Change = (None, None)
        if nearest is not None:
            change = _change(chain, changes, part.ref, nearest / _value(part)[0])
        lines.append(
            PartLine(
                ref=part.ref,
                kind=_kind(part),
                value=_value(part)[0] if found else None,
                unit=_value(part)[1],
                code=_code(part),
                tolerance=found.share if found else None,
                is_usual_tolerance=bool(found and found.is_usual),
                series=_series(part) if found else "",
                nearest=nearest,
                change_db=change[0],
                change_hz=change[1],
                note=_note(chain.circuit, part),
            )
        )
    return tuple(lines)


def _kind(part: Part) -> str:
    match part:
        case Resistor(resistance_ohm=0):
            return "wire link"
        case Pot() | VariableResistor():
            return "pot"
        case OpAmp():
            return "op-amp"
        case _:
            return type(part).__name__.lower()


def _value(part: Part) -> tuple[float, str]:
    match part:
        case Resistor() | Pot() | VariableResistor():
            return part.resistance_ohm, "Ω"
        case Capacitor():
            return part.capacitance_farad, "F"
        case Inductor():
            return part.inductance_henry, "H"
        case Transconductor():
            return part.transconductance_siemens, "S"
    return 0.0, ""


def _code(part: Part) -> str:
    match part:
        case Pot() | VariableResistor():
            return f"{format_code(part.resistance_ohm)} {part.taper.name}"
        case Resistor() | Capacitor():
            return format_code(_value(part)[0])
        case Inductor():
            return format_value(part.inductance_henry, "H")
        case OpAmp(is_ideal=False):
            return f"{format_value(part.gbw_hz, 'Hz')} or faster"
    return value_words(part)


def _series(part: Part) -> str:
    if isinstance(part, Pot | VariableResistor):
        return ""
    return eseries.coarsest_series(_value(part)[0]) or ""


def _nearest(part: Part) -> float | None:
    """Return the nearest value that can be had, if this one can't."""
    value = _value(part)[0]
    kind = _kind(part)
    if kind == "pot":
        usual = [
            float(f"{number}e{exponent}")
            for exponent in range(1, 8)
            for number in _POT_NUMBERS
        ]
        near = min(usual, key=lambda u: abs(np.log(u / value)))
        return None if abs(near / value - 1) < _ALIKE else near
    if kind not in _SOLD:
        return None
    if any(eseries.is_preferred(value, series) for series in _SOLD[kind]):
        return None
    return eseries.nearest(value, _SOLD[kind][0])


def _change(chain: Chain, changes: Settings, ref: str, factor: float) -> _Change:
    """Return the largest change of the curves by another value, and where it is."""
    ends: list[Settings] = [changes]
    for control in chain.circuit.controls:
        if isinstance(control, Knob):
            ends += [{**changes, control.name: end} for end in (0.0, 10.0)]
    most: _Change = (None, None)
    network = Network(chain)
    for setting in ends:
        try:
            builds = Builds(network, setting, (ref,))
        except CircuitError:
            continue
        if builds.is_silent:
            continue
        drawn, other = builds.roots([[1.0], [factor]]).level_db(_LOOK_HZ)
        k = int(np.abs(other - drawn).argmax())
        change_db = float(other[k] - drawn[k])
        if most[0] is None or abs(change_db) > abs(most[0]):
            most = change_db, float(_LOOK_HZ[k])
    return most


def _note(circuit: Circuit, part: Part) -> str:
    match part:
        case Pot() | VariableResistor():
            gangs = [
                other.ref
                for other in circuit.parts
                if isinstance(other, Pot | VariableResistor)
                and other.knob == part.knob
                and other.ref != part.ref
            ]
            shaft = f"knob {part.knob}"
            return f"{shaft}, on one shaft with {', '.join(gangs)}" if gangs else shaft
        case Switch():
            poles = [
                other.ref
                for other in circuit.parts
                if isinstance(other, Switch) and other.switch == part.switch
            ]
            switch = next(s for s in circuit.switches if s.name == part.switch)
            ways = len(switch.positions)
            return f"switch {part.switch}: {_many(len(poles), 'pole')}, {ways} ways"
        case Inductor():
            return f"winding {format_value(part.winding_ohm, 'Ω')}"
        case OpAmp(is_ideal=True):
            return "drawn as ideal; any audio type comes near"
        case OpAmp():
            return ", ".join(_op_amp_needs(part, circuit))
        case Capacitor(capacitance_farad=farad) if farad >= 1e-6:
            rated = _rated(circuit.supply.volts) if circuit.supply else ""
            return f"film, or electrolytic{rated}: mind its polarity"
    return ""


def _op_amp_needs(part: OpAmp, circuit: Circuit) -> list[str]:
    needs = []
    if part.noise_v_per_rt_hz:
        volts = f"{format_value(part.noise_v_per_rt_hz, 'V')}/√Hz"
        needs.append(f"noise {volts} or less")
    if swing_v := swings(circuit).get(part.ref, 0.0):
        # the whole swing at the highest frequency that is heard
        slew = slew_needed(swing_v, _LOOK_HZ[-1]) / 1e6
        needs.append(f"slew {slew:.2g} V/µs or more")
    return needs


def _rated(supply_v: float) -> str:
    """Return the rating to look for: half as much again, and one that is made."""
    made = next((v for v in _RATINGS_V if v >= 1.5 * supply_v), None)
    return f" rated {made} V or more" if made else ""


def _many(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"
