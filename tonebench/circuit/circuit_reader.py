# SPDX-License-Identifier: GPL-3.0-or-later
"""A circuit as it stands in a file: its inputs, supply and controls, and its parts.

Knows the keys outside the parts, and which names must fit together; nothing of how
nodes are joined.
"""

import re
from collections.abc import Iterable
from typing import TypeVar

from tonebench.circuit.circuit import Circuit, Input, Supply
from tonebench.circuit.controls import Knob, SwitchControl
from tonebench.circuit.part_reader import read_part
from tonebench.circuit.parts import GROUND
from tonebench.circuit.tables import Table
from tonebench.circuit.wording import did_you_mean
from tonebench.errors import CircuitError

T = TypeVar("T")

_PART_EXAMPLE = '{ resistor = "4k7", across = ["a", "b"] }'
#: The command line writes ``bass=7.5,treble=2``, chains write ``tern.C1``.
_NAME = re.compile(r"[^\s=,.:]+")
#: What stands around a circuit has these names in a chain.
_KEPT_NAMES = {"input", "output", "pickup", "source", "inner", "cable", "lead", "load"}


def make_circuit(table: Table, name: str) -> Circuit:
    """Return the circuit that a whole file describes; for `Table.build`."""
    parts = list(table.each("parts", example=_PART_EXAMPLE))
    knobs = list(table.each("knobs", "knobs."))
    switches = list(table.each("switches", "switches."))
    if not table.get("parts"):
        table.fault("there are no parts", "write them under [parts]")
    _check_names(parts, knobs, switches)
    _check_controls("knob", "pot", parts, knobs)
    _check_controls("switch", "switch", parts, switches)
    _check_throws(parts, switches)
    knob_names = [knob.name for knob in knobs]
    supply = table.inside("supply")
    place = table.one_of("place", ("floor", "onboard"), default="floor")
    return Circuit(
        name=name,
        title=table.text("title", name),
        about=table.text("about", ""),
        place="onboard" if place == "onboard" else "floor",
        inputs=read_inputs(table),
        output=table.node("output"),
        supply=supply.build(_supply) if supply else None,
        knobs=_sound(
            knob.build(lambda table: _knob(table, knob_names)) for knob in knobs
        ),
        switches=_sound(
            switch.build(lambda table: _switch(table, knob_names))
            for switch in switches
        ),
        parts=_sound(read_part(part) for part in parts),
    )


def _sound(values: Iterable[T | None]) -> tuple[T, ...]:
    return tuple(value for value in values if value is not None)


def read_inputs(table: Table) -> tuple[Input, ...]:
    """Return where sources are connected; a single one is called after its node."""
    if "inputs" not in table:
        node = table.node("input")
        return (Input(node, node),)
    if table.get("input") is not None:
        table.fault("input and inputs are both there", "keep one of them", "input")
    inputs = tuple(table.each("inputs", "inputs.", example='{ node = "a" }'))
    if not inputs and table.is_sound:
        table.fault("inputs is empty", 'write [inputs.neck] and node = "a"', "inputs")
    for entry in inputs:
        _check_name(entry)
    return _sound(entry.build(_input) for entry in inputs)


def _input(table: Table) -> Input:
    return Input(table.name, table.node("node"), table.node("back", GROUND))


def _supply(table: Table) -> Supply:
    volts, bias = table.quantity("volts", "V"), table.maybe("bias", "V")
    draw = table.maybe("draw", "A")
    bias = volts / 2 if bias is None else bias
    if not volts > 0:
        raise CircuitError(f"volts must be above 0 V, got {volts:g}")
    if not 0 <= bias <= volts:
        raise CircuitError(f"bias must be from 0 V to the {volts:g} V, got {bias:g}")
    if draw is not None and not draw >= 0:
        raise CircuitError(f"draw must be 0 A or more, got {draw:g}")
    return Supply(volts, bias, draw)


def _knob(table: Table, knob_names: list[str]) -> Knob:
    start = table.number("start")
    start = 5.0 if start is None else start
    if not 0 <= start <= 10:
        table.fault(f"start must be from 0 to 10, got {start:g}", key="start")
    others = [name for name in knob_names if name != table.name]
    return Knob(
        table.name,
        label=table.text("label", ""),
        start=start,
        detent=table.flag("detent"),
        trim=table.flag("trim"),
        stacked_on=_named_knob(table, "stacked_on", others),
        notes=table.text("notes", ""),
    )


def _switch(table: Table, knob_names: list[str]) -> SwitchControl:
    positions = table.words("positions")
    start = table.get("start")
    if positions:
        start = table.one_of("start", positions, default=positions[0])
    return SwitchControl(
        table.name,
        positions,
        label=table.text("label", ""),
        start=str(start),
        pull_of=_named_knob(table, "pull_of", knob_names),
        notes=table.text("notes", ""),
    )


def _named_knob(table: Table, key: str, names: list[str]) -> str:
    name = table.text(key, "")
    if name and name not in names:
        table.fault(f"{key}: there is no knob '{name}'", did_you_mean(name, names), key)
    return name


# -- names that must fit together ------------------------------------------------------


def _check_names(parts: list[Table], knobs: list[Table], switches: list[Table]) -> None:
    for table in (*parts, *knobs, *switches):
        _check_name(table)
    for part in parts:
        if part.name in _KEPT_NAMES:
            message = "this name is kept for what stands around the circuit"
            part.fault(message, "give the part the designator on its drawing")
    for switch in switches:
        if switch.name in {knob.name for knob in knobs}:
            switch.fault(f"a knob is called '{switch.name}' too", "rename one of them")


def _check_name(table: Table) -> None:
    if not _NAME.fullmatch(table.name):
        message = f"the name '{table.name}' can't be written on a command line"
        table.fault(message, "leave out blanks and any of = , . :")


def _check_controls(
    key: str, kind: str, parts: list[Table], controls: list[Table]
) -> None:
    """Note controls that parts of a kind name and nobody defines, and vice versa."""
    defined = {control.name: control for control in controls}
    plural = {"knob": "knobs", "switch": "switches"}[key]
    used = set()
    for part in parts:
        name = part.data.get(key) if kind in part else None
        if isinstance(name, str):
            used.add(name)
            if name not in defined:
                hint = f"define it under [{plural}.{name}]"
                hint = did_you_mean(name, defined) or hint
                part.fault(f"there is no {key} '{name}'", hint, key)
    unused = [] if used - defined.keys() else [*defined.keys() - used]
    for name in unused:
        defined[name].warn(f'no part has {key} = "{name}"', "it would do nothing")


def _check_throws(parts: list[Table], switches: list[Table]) -> None:
    positions = {switch.name: switch.data.get("positions") for switch in switches}
    for part in parts:
        match part.data:
            case {"switch": str(name), "throws": dict(throws)}:
                known = positions.get(name)
                if not isinstance(known, list):
                    continue  # told elsewhere
                words = [word for word in known if isinstance(word, str)]
                for position in throws:
                    if position not in words:
                        hint = f"its positions are {', '.join(words)}"
                        if near := did_you_mean(position, words):
                            hint = f"{hint}; {near}"
                        message = f"switch '{name}' has no position '{position}'"
                        part.fault(message, hint, "throws")
