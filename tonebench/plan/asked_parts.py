# SPDX-License-Identifier: GPL-3.0-or-later
"""Other values for parts, as a person writes them: ``C3 = "22n"``.

Nobody sees a warning in the middle of a comparison, so an unlikely value is refused.
"""

from collections.abc import Mapping

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.parts import (
    Capacitor,
    Inductor,
    Part,
    Pot,
    Resistor,
    VariableResistor,
)
from tonebench.circuit.plausible import doubt
from tonebench.errors import RequestError, ValueTextError
from tonebench.units import parse_value


def likely_value(value: str | float, unit: str, kind: str) -> float:
    """Return a value in its unit.

    Raises
    ------
    RequestError
        If it can't be read, or is hardly what was meant ("700" for a lead's farads).

    Examples
    --------
    >>> likely_value("700p", "F", "capacitor")
    7e-10
    """
    try:
        amount = parse_value(value, unit)
    except ValueTextError as error:
        raise RequestError(str(error)) from error
    if found := doubt(kind, value, amount):
        raise RequestError("; ".join(found))
    return amount


def with_asked_parts(circuit: Circuit, values: Mapping[str, str | float]) -> Circuit:
    """Return the circuit with other values in some of its parts.

    Raises
    ------
    RequestError
        For a designator that isn't there, a part without a value, an unlikely value.
    """
    if not isinstance(values, Mapping):
        raise RequestError(
            f'parts must be a table such as {{ C3 = "22n" }}, got {values}'
        )
    for ref, value in values.items():
        kind = _kind(circuit.part(ref))
        if kind is not None:
            try:
                likely_value(value, *kind)
            except RequestError as error:
                raise RequestError(f"{ref}: {error}") from error
    return circuit.with_parts(values)


def _kind(part: Part) -> tuple[str, str] | None:
    match part:
        case Resistor():
            return "Ω", "resistor"
        case Capacitor():
            return "F", "capacitor"
        case Inductor():
            return "H", "inductor"
        case Pot() | VariableResistor():
            return "Ω", "pot"
    return None
