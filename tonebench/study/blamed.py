# SPDX-License-Identifier: GPL-3.0-or-later
"""Whom a number in a chain belongs to: a part on the drawing, the pickup, lead or load.

A chain is one flat list of parts; a player knows a pickup and a lead, not an inductor
and a capacitor. Nothing is solved here.
"""

from dataclasses import dataclass

from tonebench.circuit.controls import Control
from tonebench.circuit.hookup import Chain
from tonebench.circuit.parts import Part, Pot, VariableResistor, value_words
from tonebench.network.ports import Value
from tonebench.units import format_value

_UNIT = {
    "resistance": "Ω",
    "winding": "Ω",
    "capacitance": "F",
    "inductance": "H",
    "transconductance": "S",
    "gbw": "Hz",
}
#: Names of a chain's own parts up to the first dot, and what a player calls them.
_AROUND = {
    "pickup": "pickup",
    "inner": "inner wire",
    "lead": "cable",
    "load": "load",
    "load capacitance": "load capacitance",
    "source": "source",
    "buffer": "buffer",
}
_SAID = {"cable": "lead"}


@dataclass(frozen=True, slots=True)
class Blamed:
    """One number and whose it is.

    `part` is the designator, or "pickup", "cable", "load", "source", "inner wire";
    with several inputs "pickup (neck)". `words` say it with its value.
    """

    part: str
    value: Value
    words: str
    is_around: bool


def blamed(chain: Chain, value: Value) -> Blamed:
    """Return whose a value of a chain is."""
    head, dot, tail = value.ref.partition(".")
    is_own = any(part.ref == value.ref for part in chain.circuit.parts)
    amount = format_value(value.amount, _UNIT[value.quantity])
    if is_own or head not in _AROUND:
        part = next(part for part in chain.parts if part.ref == value.ref)
        return Blamed(value.ref, value, part_words(chain, part), False)
    name = _AROUND[head]
    said = _SAID.get(name, name)
    if head == "pickup":
        what = tail.partition(".")[2] or value.quantity
        what = "resistance" if what == "winding" else what
        words = f"the pickup's {what} ({amount})"
    else:
        words = f"the {said} ({amount})"
    if dot and len(chain.sources) > 1:
        input_name = tail.partition(".")[0]
        name, words = f"{name} ({input_name})", f"{words} of {input_name}"
    return Blamed(name, value, words, True)


def part_words(chain: Chain, part: Part) -> str:
    """Return a part with its value, and its knob's label ("P4 (25 kΩ audio, Level)").

    Examples
    --------
    >>> from tonebench.circuit.files import read_circuit
    >>> from tonebench.circuit.hookup import join
    >>> chain = join(read_circuit("plover"))
    >>> part_words(chain, chain.circuit.part("C6"))
    'C6 (470 nF)'
    >>> part_words(chain, chain.circuit.part("P4"))
    'P4 (25 kΩ audio, Level)'
    """
    told = value_words(part)
    if isinstance(part, Pot | VariableResistor):
        told = f"{told}, {label(chain, part.knob)}"
    return f"{part.ref} ({told})"


def label(chain: Chain, name: str) -> str:
    """Return what a control of a chain is called on its panel."""
    found: Control | None = next((c for c in chain.controls if c.name == name), None)
    return found.label if found is not None and found.label else name
