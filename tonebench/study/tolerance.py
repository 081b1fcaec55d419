# SPDX-License-Identifier: GPL-3.0-or-later
"""Which tolerance each part of a circuit has, and how its values are drawn by lot.

A part's own tolerance counts, then what was asked for, then what is usual. A value is
drawn evenly between its limits: makers sort the middle out, so that a bell curve would
flatter. The pots on one knob come from one hand and are off alike. Solves nothing.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.controls import no_such
from tonebench.circuit.parts import (
    Capacitor,
    Inductor,
    Part,
    Pot,
    Resistor,
    VariableResistor,
)
from tonebench.errors import RequestError, ValueTextError
from tonebench.units import parse_share

Real = NDArray[np.float64]
Kind = Literal["resistor", "capacitor", "inductor", "pot"]

#: What parts have that say nothing (common practice, no source).
USUAL: Mapping[Kind, float] = {
    "resistor": 0.01,
    "capacitor": 0.10,
    "inductor": 0.10,
    "pot": 0.20,
}
#: What can be bought, from coarse to fine (common practice, no source).
_GRADES: Mapping[Kind, tuple[float, ...]] = {
    "resistor": (0.05, 0.01, 0.001),
    "capacitor": (0.20, 0.10, 0.05, 0.02, 0.01),
    "inductor": (0.10, 0.05, 0.02),
    "pot": (0.20, 0.10, 0.05),
}
_NARROWEST = 1e-9
#: Nine builds of ten lie between these.
_SHARES = (0.05, 0.95)


@dataclass(frozen=True, slots=True)
class PartTolerance:
    """How far parts may be off, as a share of their value.

    `refs` are several where pots are ganged. `is_usual` says that nobody named it.
    """

    refs: tuple[str, ...]
    kind: Kind
    share: float
    is_usual: bool

    @property
    def name(self) -> str:
        """The designators, as a sentence names them."""
        return " and ".join(self.refs)

    @property
    def tighter(self) -> float | None:
        """The next finer tolerance to be had; None if there is none."""
        finer = (g for g in _GRADES[self.kind] if g < self.share - _NARROWEST)
        return next(finer, None)


def kind_of(part: Part) -> Kind | None:
    """Return as what a part is bought; None for one without a value to be off."""
    match part:
        case Resistor():
            return "resistor" if part.resistance_ohm > 0 else None
        case Capacitor():
            return "capacitor"
        case Inductor():
            return "inductor"
        case Pot() | VariableResistor():
            return "pot"
    return None


def asked_shares(circuit: Circuit, texts: Mapping[str, str]) -> dict[str, float]:
    """Return tolerances that a person asks for, by designator or kind, as shares.

    Raises
    ------
    RequestError
        For a name that is neither, or a tolerance that isn't from 0 to below 100 %.

    Examples
    --------
    >>> from tonebench.circuit.circuit import STRAIGHT
    >>> asked_shares(STRAIGHT, {"capacitor": "5%"})
    {'capacitor': 0.05}
    """
    refs = [part.ref for part in circuit.parts if kind_of(part) is not None]
    shares = {}
    for name, text in texts.items():
        if name not in refs and name not in USUAL:
            raise RequestError(no_such("part or kind of part", name, [*refs, *USUAL]))
        try:
            shares[name] = parse_share(text)
        except ValueTextError as error:
            raise RequestError(f"{name}: {error}") from error
    return shares


def tolerances(
    circuit: Circuit, asked: Mapping[str, float] | None = None
) -> tuple[PartTolerance, ...]:
    """Return the tolerance of every part that has a value, ganged pots together.

    Parameters
    ----------
    circuit : Circuit
        What is built.
    asked : mapping, optional
        Shares by designator, which count before the part's own, or by kind, which
        count where a part says nothing.
    """
    asked = asked or {}
    found: dict[tuple[str, float], PartTolerance] = {}
    for part in circuit.parts:
        kind = kind_of(part)
        if kind is None:
            continue
        own = getattr(part, "tolerance", 0.0)
        share = asked.get(part.ref, own or asked.get(kind, USUAL[kind]))
        is_usual = not (own or part.ref in asked or kind in asked)
        gang = part.knob if isinstance(part, Pot | VariableResistor) else part.ref
        key = (f"{kind} {gang}", share)
        before = found[key].refs if key in found else ()
        found[key] = PartTolerance((*before, part.ref), kind, share, is_usual)
    return tuple(found.values())


def draw(parts: Sequence[PartTolerance], builds: int, seed: int = 1) -> Real:
    """Return how far each part of each build is off, −1 to 1 of its tolerance.

    The shape is (builds, parts); the same seed gives the same builds, whatever the
    tolerances are.
    """
    drawn = np.random.default_rng(seed).uniform(-1, 1, (len(parts), builds))
    return np.ascontiguousarray(drawn.T)


def factors(parts: Sequence[PartTolerance], off: Real) -> Real:
    """Return what each designator's value is multiplied by, in the order of `refs`.

    Parameters
    ----------
    off : ndarray, shape (B, parts)
        How far each part is off, −1 to 1 of its tolerance.
    """
    shares = np.array([part.share for part in parts])
    times = [len(part.refs) for part in parts]
    return np.repeat(1 + off * shares, times, axis=1)


def refs_of(parts: Sequence[PartTolerance]) -> tuple[str, ...]:
    """Return the designators of all parts, in the order of `factors`."""
    return tuple(ref for part in parts for ref in part.refs)


def nine_of_ten(values: Real) -> tuple[Any, Any]:
    """Return between what nine builds of ten lie: numbers, or arrays over frequency."""
    low, high = np.quantile(values, _SHARES, axis=0)
    return (low, high) if values.ndim > 1 else (float(low), float(high))
