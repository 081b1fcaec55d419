# SPDX-License-Identifier: GPL-3.0-or-later
"""Every change that one side of a comparison can be asked about, and its level.

Each value of its circuit multiplied, each part opened or shorted, its hook-up without
this or that, or as the other side's, its controls back where they start. It judges
none of them.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.controls import Knob, Settings
from tonebench.circuit.hookup import Chain
from tonebench.circuit.parts import (
    Capacitor,
    Inductor,
    OpAmp,
    Pot,
    Resistor,
    VariableResistor,
)
from tonebench.errors import CircuitError, RequestError
from tonebench.network.nodal import Network
from tonebench.network.ports import Ports, Value
from tonebench.network.response import response
from tonebench.plan.comparison import Side
from tonebench.study.blamed import Blamed, blamed
from tonebench.study.search import level_db
from tonebench.study.stability import require_stable
from tonebench.study.without import AROUND, chain_without

Real = NDArray[np.float64]
Letter = Literal["a", "b"]

#: What each value is multiplied by.
_FACTORS = (0.1, 0.3, 3.0, 10.0)
#: What of a hook-up can be as on the other side, and the fields that say so.
_EXCHANGED = {
    "pickup": ("pickups",),
    "source": ("source_ohm",),
    "lead": ("cable_farad",),
    "load": ("load_ohm", "load_farad"),
}
#: Which part (None: the hook-up, or a control), how, the amount, what else it is of.
Entry = tuple[Blamed | None, str, float, str]


class Heard:
    """One side at its setting, and how loud it is when anything of it is changed."""

    def __init__(self, side: Side, changes: Settings, hz: Real) -> None:
        self.side, self.hz = side, hz
        self.chain = side.chain
        self.setting = self.chain.setting(changes)
        require_stable(self.chain, self.setting)
        self.level = level_db(
            response(Network(self.chain), self.setting, hz).sum(axis=0)
        )
        if not np.all(np.isfinite(self.level)):
            raise RequestError(f"{side.circuit.name} is silent at this setting")

    def changes(
        self, letter: Letter, other: Side
    ) -> Iterator[tuple[Entry, Letter, Real]]:
        """Yield every change of this side with the level that it leads to.

        What both sides share of their hook-ups is behind no difference; what they don't
        share is exchanged.
        """
        ports = Ports(Network(self.chain), self.setting, self.hz)
        parts = {part.ref: part for part in self.chain.parts}
        seen: set[str] = set()
        for value in ports.values:
            who = blamed(self.chain, value)
            if isinstance(parts[value.ref], OpAmp) or who.is_around:
                continue
            for factor in _FACTORS:
                level = level_db(ports.changed(value, factor))
                yield (who, "valued", factor * value.amount, ""), letter, level
            is_same = other.circuit.name == self.side.circuit.name
            theirs = _same_part(other, value) if is_same else None
            if theirs is not None and theirs != value.amount:
                level = level_db(ports.changed(value, theirs / value.amount))
                yield (who, "valued", theirs, ""), letter, level
            if value.ref not in seen:
                seen.add(value.ref)
                yield from self._fates(ports, value, who, letter)
        yield from self._around(letter)
        for name, fields in _EXCHANGED.items():
            taken = {field: getattr(other.hookup, field) for field in fields}
            hookup = replace(self.side.hookup, **taken)
            if hookup != self.side.hookup:
                chain = replace(self.side, hookup=hookup).chain
                yield from self._heard(
                    (None, "exchanged", 0.0, name), letter, chain, {}
                )

    def _fates(
        self, ports: Ports, value: Value, who: Blamed, letter: Letter
    ) -> Iterator[tuple[Entry, Letter, Real]]:
        for fate in ("opened", "shorted"):
            answer = ports.without(
                value.ref, "opened" if fate == "opened" else "shorted"
            )
            if answer is not None:
                yield (who, fate, 0.0, ""), letter, level_db(answer)

    def _around(self, letter: Letter) -> Iterator[tuple[Entry, Letter, Real]]:
        start = self.chain.setting({})
        for how in AROUND:
            if (chain := chain_without(self.side, how)) is not None:
                yield from self._heard((None, how, 0.0, ""), letter, chain, {})
        for control in self.chain.controls:
            at = start[control.name]
            if at != self.setting[control.name]:
                amount = float(at) if isinstance(control, Knob) else 0.0
                entry = (None, "turned", amount, control.name)
                yield from self._heard(entry, letter, self.chain, {control.name: at})

    def _heard(
        self, entry: Entry, letter: Letter, chain: Chain, turned: Settings
    ) -> Iterator[tuple[Entry, Letter, Real]]:
        try:
            answer = response(Network(chain), {**self.setting, **turned}, self.hz)
        except CircuitError:
            return
        yield entry, letter, level_db(answer.sum(axis=0))


def _same_part(other: Side, value: Value) -> float | None:
    """Return the value of the part of this name on the other side, if it has one."""
    for part in other.circuit.parts:
        if part.ref == value.ref:
            match part, value.quantity:
                case Resistor() | Pot() | VariableResistor(), "resistance":
                    return part.resistance_ohm
                case Capacitor(), "capacitance":
                    return part.capacitance_farad
                case Inductor(), "inductance":
                    return part.inductance_henry
    return None
