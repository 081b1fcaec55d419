# SPDX-License-Identifier: GPL-3.0-or-later
"""Parts as they stand in a circuit file, one small reader for each kind.

Knows the keys of every kind of part; nothing of the controls and nodes they name.
"""

import math
import re
from collections.abc import Callable

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
)
from tonebench.circuit.plausible import doubt
from tonebench.circuit.tables import Table
from tonebench.circuit.tapers import TAPER_WORDS, Taper, parse_taper
from tonebench.circuit.wording import did_you_mean, shown
from tonebench.errors import CircuitError

#: What a ``generic`` op-amp is where the file doesn't say otherwise: a common low-noise
#: type on a 9 V battery (common practice, no source).
GENERIC_OPAMP = {
    "gbw": "3M",
    "open_loop_gain": "100k",
    "noise": "5n",
    "current_noise": "0.5p",
    "short_of_rail": "1.5",
}

#: The keys that name nodes.
NODE_KEYS = (
    *("across", "ends", "wiper", "tap", "plus", "minus", "out"),
    *("common", "throws", "control", "into"),
)

#: Every other key that some part has.
_OTHER_KEYS = (
    *("tolerance", "winding", "taper", "knob", "end", "tap_at", "open_at"),
    *("gbw", "open_loop_gain", "noise", "current_noise", "short_of_rail"),
)


def read_part(table: Table) -> Part | None:
    """Return the part that a table describes; None if there are faults in it."""
    kinds = [kind for kind in _READERS if kind in table]
    later = [key for key in table.data if key in _LATER]
    if later:
        table.fault(_LATER[later[0]], "until then leave it out", later[0])
    elif len(kinds) == 1:
        return table.build(_READERS[kinds[0]])
    elif kinds:
        table.fault(
            f"is a {' and a '.join(kinds)} at once",
            "give each part a designator of its own",
        )
    else:
        _no_kind(table)
    return None


def _no_kind(table: Table) -> None:
    """Note that a part says no kind that is known, and which it may have meant."""
    strange = [key for key in table.data if key not in NODE_KEYS + _OTHER_KEYS]
    hints = {key: _kind_meant(key) for key in strange}
    key = next(filter(hints.get, strange), strange[0] if strange else "")
    hint = hints.get(key) or f"it needs one of {', '.join(_READERS)}"
    message = f"{shown(key)} is no kind of part" if key else "it says no kind of part"
    table.fault(message, hint, key)


def _kind_meant(key: str) -> str:
    if kind := _OTHER_KINDS.get(key.casefold()):
        return f"write {kind}"
    return did_you_mean(key, _READERS)


def _value(table: Table, kind: str, unit: str) -> float:
    """Return the value that stands behind the kind of a part, with a doubt noted."""
    value = table.quantity(kind, unit)
    if found := doubt(kind, table.data[kind], value):
        table.warn(*found, key=kind)
    return value


def _resistor(table: Table) -> Resistor:
    return Resistor(
        table.name,
        across=table.pair("across"),
        resistance_ohm=_value(table, "resistor", "Ω"),
        tolerance=table.share("tolerance"),
    )


def _capacitor(table: Table) -> Capacitor:
    return Capacitor(
        table.name,
        across=table.pair("across"),
        capacitance_farad=_value(table, "capacitor", "F"),
        tolerance=table.share("tolerance"),
    )


def _inductor(table: Table) -> Inductor:
    return Inductor(
        table.name,
        across=table.pair("across"),
        inductance_henry=_value(table, "inductor", "H"),
        winding_ohm=table.quantity("winding", "Ω", default="0"),
        tolerance=table.share("tolerance"),
    )


def _pot(table: Table) -> Pot | VariableResistor:
    track = (_value(table, "pot", "Ω"), _taper(table), table.text("knob"))
    end_ohm = table.quantity("end", "Ω", default="0")
    open_at, tolerance = table.number("open_at"), table.share("tolerance")
    if "across" not in table:
        return Pot(
            table.name,
            *track,
            ends=table.pair("ends"),
            wiper=table.node("wiper"),
            end_ohm=end_ohm,
            tap=table.node("tap") if "tap" in table else None,
            tap_at=table.number("tap_at"),
            open_at=open_at,
            tolerance=tolerance,
        )
    others = ("ends", "wiper", "tap", "tap_at")
    if given := [key for key in others if table.get(key) is not None]:
        hint = "write across for two terminals, ends and wiper for three"
        table.fault(f"across does not go with {' and '.join(given)}", hint, given[0])
    return VariableResistor(
        table.name, *track, table.pair("across"), end_ohm, open_at, tolerance
    )


def _taper(table: Table) -> Taper:
    written = table.get("taper")
    if written is None:
        table.fault("taper is missing", 'write taper = "linear" or "audio"')
    else:
        try:
            return parse_taper(written)
        except CircuitError as error:
            message, _, hint = str(error).partition("; ")
            if isinstance(written, str):
                hint = _taper_meant(written) or hint
            table.fault(message, hint, "taper")
    return Taper("linear")


def _taper_meant(written: str) -> str:
    """Return what to write for a taper that is called otherwise in the trade."""
    if match := re.fullmatch(r"\d*([A-Z])\d*", written):
        usual = _TAPER_LETTERS.get(match[1])
        often = f", though {match[1]} is often {usual}" if usual else ""
        return f"letters differ by region{often}; write linear, audio or reverse-audio"
    word = re.sub(r"[\s_-]", "", written.casefold())
    for taper, (names, use) in _TAPER_NAMES.items():
        if word in names:
            return f"write {taper}, {use}"
    return did_you_mean(written, TAPER_WORDS)


def _opamp(table: Table) -> OpAmp:
    is_ideal = table.one_of("opamp", ("generic", "ideal")) == "ideal"
    ends = table.node("plus"), table.node("minus"), table.node("out")
    defaults = dict.fromkeys(GENERIC_OPAMP, "0") if is_ideal else GENERIC_OPAMP
    for key in ("gbw", "open_loop_gain"):
        if is_ideal and table.get(key) is not None:
            hint = 'write opamp = "generic"'
            table.fault(f"an ideal op-amp has no limit to its {key}", hint, key)

    def value(key: str, unit: str = "") -> float:
        return table.quantity(key, unit, default=defaults[key])

    return OpAmp(
        table.name,
        *ends,
        gbw_hz=math.inf if is_ideal else value("gbw", "Hz"),
        open_loop_gain=math.inf if is_ideal else value("open_loop_gain"),
        noise_v_per_rt_hz=value("noise", "V"),
        current_noise_a_per_rt_hz=value("current_noise", "A"),
        short_of_rail_v=value("short_of_rail", "V"),
    )


def _switch(table: Table) -> Switch:
    throws = table.inside("throws")
    if "throws" not in table:
        hint = 'write throws = { up = "a", down = "b" }'
        table.fault("throws is missing", hint)
    elif throws and not throws.data:
        table.fault("throws is empty", "a position left out is open", "throws")
    return Switch(
        table.name,
        switch=table.text("switch"),
        common=table.node("common"),
        throws=tuple(
            (position, throws.nodes(position, nodes))
            for position, nodes in throws.data.items()
        )
        if throws
        else (),
    )


def _transconductor(table: Table) -> Transconductor:
    return Transconductor(
        table.name,
        transconductance_siemens=table.quantity("transconductor", "S"),
        control=table.pair("control"),
        into=table.pair("into"),
    )


_READERS: dict[str, Callable[[Table], Part]] = {
    "resistor": _resistor,
    "capacitor": _capacitor,
    "inductor": _inductor,
    "pot": _pot,
    "opamp": _opamp,
    "switch": _switch,
    "transconductor": _transconductor,
}
_LATER = {
    "jfet": "field-effect transistors come in a later version",
    "bjt": "transistors come in a later version",
    "diode": "diodes come in a later version",
    **dict.fromkeys(
        ("coupled", "coupling", "transformer"),
        "coupled inductors are not in schema 1, they come in a later version",
    ),
}

#: Kinds by other names (common practice, no source).
_OTHER_KINDS = {
    "r": "resistor",
    "c": "capacitor",
    "cap": "capacitor",
    "l": "inductor",
    "coil": "inductor",
    "choke": "inductor",
    **dict.fromkeys(("potentiometer", "trimmer", "trimpot"), "pot"),
}
#: Tapers by other names, and what they are for (common practice, no source).
_TAPER_NAMES = {
    "audio": (("log", "logarithmic"), "the taper for volume"),
    "linear": (("lin",), "the taper of even steps"),
    "reverse-audio": (
        ("antilog", "antilogarithmic", "reverselog", "reverselogarithmic", "revlog"),
        "the audio taper turned round",
    ),
}
_TAPER_LETTERS = {"A": "audio", "B": "linear", "C": "reverse-audio"}
