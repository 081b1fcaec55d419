# SPDX-License-Identifier: GPL-3.0-or-later
"""A whole circuit as one frozen value: what a builder drew on one sheet.

It knows its parts, controls, inputs and output, and can be given other part values; it
knows nothing of the pickup, lead and load around it, and nothing of physics.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from tonebench.circuit.controls import (
    Control,
    Knob,
    Settings,
    SwitchControl,
    complete_setting,
    no_such,
)
from tonebench.circuit.parts import (
    GROUND,
    Capacitor,
    Inductor,
    Part,
    Pot,
    Resistor,
    Transconductor,
    VariableResistor,
)
from tonebench.errors import RequestError
from tonebench.units import parse_value

Place = Literal["floor", "onboard"]


@dataclass(frozen=True, slots=True)
class Input:
    """A place where a source is connected: between `node` and `back`."""

    name: str
    node: str
    back: str = GROUND


@dataclass(frozen=True, slots=True)
class Supply:
    """What feeds the circuit, in volts above the negative rail, and amperes."""

    volts: float
    bias_volts: float
    draw_ampere: float | None = None


@dataclass(frozen=True, slots=True)
class Circuit:
    """A circuit as it was drawn.

    `name` is what it is called on the command line and in chains; `title` what people
    read. `inputs` are in the order of the channels that drive them. `doubts` are likely
    slips of its file, each in a line.
    """

    name: str
    title: str
    inputs: tuple[Input, ...]
    output: str
    parts: tuple[Part, ...]
    knobs: tuple[Knob, ...] = ()
    switches: tuple[SwitchControl, ...] = ()
    supply: Supply | None = None
    place: Place = "floor"
    about: str = ""
    doubts: tuple[str, ...] = field(default=(), compare=False)

    @property
    def controls(self) -> tuple[Control, ...]:
        """All knobs, then all switches."""
        return (*self.knobs, *self.switches)

    @property
    def full_title(self) -> str:
        """The title with the name behind it, as plots and pages show it."""
        return f"{self.title} ({self.name})"

    def part(self, ref: str) -> Part:
        """Return the part with this designator."""
        for part in self.parts:
            if part.ref == ref:
                return part
        raise RequestError(no_such("part", ref, (part.ref for part in self.parts)))

    def setting(self, changes: Settings) -> Settings:
        """Return the position of every control: where it starts, or as changed."""
        return complete_setting(self.controls, changes)

    def with_parts(self, values: Mapping[str, str | float]) -> "Circuit":
        """Return the circuit with other values in some of its parts.

        Parameters
        ----------
        values : mapping
            New value by designator, written as in a circuit file (``{"C3": "22n"}``).

        Raises
        ------
        RequestError
            For a designator that isn't there, or a part that has no single value.
        """
        new = {ref: _with_value(self.part(ref), text) for ref, text in values.items()}
        return replace(
            self, parts=tuple(new.get(part.ref, part) for part in self.parts)
        )


def _with_value(part: Part, text: str | float) -> Part:
    match part:
        case Resistor() | Pot() | VariableResistor():
            return replace(part, resistance_ohm=parse_value(text, "Ω"))
        case Capacitor():
            return replace(part, capacitance_farad=parse_value(text, "F"))
        case Inductor():
            return replace(part, inductance_henry=parse_value(text, "H"))
        case Transconductor():
            return replace(part, transconductance_siemens=parse_value(text, "S"))
    raise RequestError(f"{part.ref}: this kind of part has no single value to change")


#: The circuit that is none: its input is its output.
STRAIGHT = Circuit(
    name="straight",
    title="Straight through",
    about="Input and output joined: what is heard without any circuit.",
    inputs=(Input("in", "in"),),
    output="in",
    parts=(),
)
