# SPDX-License-Identifier: GPL-3.0-or-later
"""Whether a circuit stands still at a setting; if not, which pole, and what drives it.

An unstable circuit has no curve that could be heard; everything told of one would be
wrong.
"""

import math
from dataclasses import replace

import numpy as np

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain
from tonebench.circuit.parts import (
    Capacitor,
    Inductor,
    Part,
    Pot,
    Resistor,
    VariableResistor,
)
from tonebench.errors import CircuitError
from tonebench.network.nodal import Network
from tonebench.network.roots import find_roots
from tonebench.study.curves import setting_words
from tonebench.units import format_frequency

#: Part values are turned by this much to see what moves a pole most.
_STEP = 0.01


def require_stable(chain: Chain, setting: Settings) -> None:
    """Refuse a circuit that oscillates or latches at a setting.

    Raises
    ------
    CircuitError
        With the pole's frequency, and the part whose change moves it most.
    """
    pole = _worst_pole(chain, setting)
    if pole is None or pole.real < 0:
        return
    hz = abs(pole.imag) / (2 * math.pi)
    what = f"oscillates near {format_frequency(hz)}" if hz > 1 else "latches"
    where = setting_words(setting)
    driver = _driver(chain, setting, pole)
    raise CircuitError(
        f"{chain.circuit.name} {what}{f' with {where}' if where else ''}: its pole at "
        f"{_pole_words(pole)} lies right of the axis"
        + (f", and {driver} moves it most" if driver else "")
        + "; are the inputs of an op-amp swapped?"
    )


def _worst_pole(chain: Chain, setting: Settings) -> complex | None:
    (roots,) = find_roots(Network(chain), setting, "together")
    if not len(roots.poles):
        return None
    return complex(roots.poles[np.argmax(roots.poles.real)])


def _pole_words(pole: complex) -> str:
    real, imaginary = pole.real / (2 * math.pi), abs(pole.imag) / (2 * math.pi)
    sign = "−" if real < 0 else "+"
    told = f"{sign}{format_frequency(abs(real))}"
    return told if imaginary == 0 else f"{told} ± j{format_frequency(imaginary)}"


def _driver(chain: Chain, setting: Settings, pole: complex) -> str:
    """Return the part of the circuit whose value moves a pole most, left or right."""
    best, ref = 0.0, ""
    for part in chain.circuit.parts:
        other = _multiplied(part, 1 + _STEP)
        if other is None:
            continue
        circuit = _with(chain.circuit, other)
        parts = tuple(other if p is part else p for p in chain.parts)
        try:
            moved = _worst_pole(replace(chain, circuit=circuit, parts=parts), setting)
        except CircuitError:
            continue
        shift = 0.0 if moved is None else abs(moved.real - pole.real)
        if shift > best:
            best, ref = shift, part.ref
    return ref


def _with(circuit: Circuit, other: Part) -> Circuit:
    return replace(
        circuit,
        parts=tuple(other if p.ref == other.ref else p for p in circuit.parts),
    )


def _multiplied(part: Part, factor: float) -> Part | None:
    match part:
        case Resistor() | Pot() | VariableResistor():
            return replace(part, resistance_ohm=part.resistance_ohm * factor)
        case Capacitor():
            return replace(part, capacitance_farad=part.capacitance_farad * factor)
        case Inductor():
            return replace(part, inductance_henry=part.inductance_henry * factor)
    return None
