# SPDX-License-Identifier: GPL-3.0-or-later
"""The parts of a circuit as frozen values, each between named nodes.

A part checks its own values and knows the words for its terminals. Nothing here knows
how a circuit is solved, or whether its nodes exist.
"""

import math
from dataclasses import dataclass, fields, replace
from typing import TypeVar

from tonebench.circuit.tapers import Taper
from tonebench.errors import CircuitError
from tonebench.units import format_value

Pair = tuple[str, str]

#: All of these are ground for signals; at DC they stand at 0, at the bias and at the
#: supply voltage.
GROUND = "gnd"
RESERVED_NODES = (GROUND, "bias", "rail")


def _require_positive(ref: str, name: str, value: float, unit: str) -> None:
    if not (value > 0 and math.isfinite(value)):  # the first also catches NaN
        raise CircuitError(f"{ref}: {name} must be above 0 {unit}, got {value:g}")


def _require_not_negative(ref: str, name: str, value: float, unit: str) -> None:
    if not (value >= 0 and math.isfinite(value)):
        raise CircuitError(f"{ref}: {name} must be 0 {unit} or more, got {value:g}")


@dataclass(frozen=True, slots=True)
class Resistor:
    """A resistor; 0 ohm is a wire link, and exact."""

    ref: str
    across: Pair
    resistance_ohm: float
    tolerance: float = 0.0

    def __post_init__(self) -> None:
        _require_not_negative(self.ref, "resistance", self.resistance_ohm, "ohm")


@dataclass(frozen=True, slots=True)
class Capacitor:
    """A capacitor."""

    ref: str
    across: Pair
    capacitance_farad: float
    tolerance: float = 0.0

    def __post_init__(self) -> None:
        _require_positive(self.ref, "capacitance", self.capacitance_farad, "farad")


@dataclass(frozen=True, slots=True)
class Inductor:
    """An inductor with the resistance of its winding in series."""

    ref: str
    across: Pair
    inductance_henry: float
    winding_ohm: float = 0.0
    tolerance: float = 0.0

    def __post_init__(self) -> None:
        _require_positive(self.ref, "inductance", self.inductance_henry, "henry")
        _require_not_negative(self.ref, "winding", self.winding_ohm, "ohm")


@dataclass(frozen=True, slots=True)
class Pot:
    """A pot with three terminals (four with a tap).

    At knob position 0 the wiper stands at ``ends[0]``, at 10 at ``ends[1]``. The track
    between ``ends[0]`` and the wiper is end_ohm + share·(value − 2·end_ohm). From
    `open_at` to the nearer end of the rotation the wiper has left the track.
    """

    ref: str
    resistance_ohm: float
    taper: Taper
    knob: str
    ends: Pair
    wiper: str
    end_ohm: float = 0.0
    tap: str | None = None
    tap_at: float | None = None
    open_at: float | None = None
    tolerance: float = 0.0

    def __post_init__(self) -> None:
        _require_track(self.ref, self.resistance_ohm, self.end_ohm)
        if (self.tap is None) != (self.tap_at is None):
            raise CircuitError(f"{self.ref}: tap and tap_at belong together")
        if self.tap_at is not None and not 0 < self.tap_at < 1:
            raise CircuitError(
                f"{self.ref}: tap_at must be between 0 and 1, got {self.tap_at:g}"
            )
        _require_open_at(self.ref, self.open_at)


@dataclass(frozen=True, slots=True)
class VariableResistor:
    """A pot used with two terminals; its resistance rises with the knob."""

    ref: str
    resistance_ohm: float
    taper: Taper
    knob: str
    across: Pair
    end_ohm: float = 0.0
    open_at: float | None = None
    tolerance: float = 0.0

    def __post_init__(self) -> None:
        _require_track(self.ref, self.resistance_ohm, self.end_ohm)
        _require_open_at(self.ref, self.open_at)


def _require_track(ref: str, resistance_ohm: float, end_ohm: float) -> None:
    _require_positive(ref, "resistance", resistance_ohm, "ohm")
    _require_not_negative(ref, "end", end_ohm, "ohm")
    if 2 * end_ohm >= resistance_ohm:
        raise CircuitError(
            f"{ref}: end must be below half of the track ({resistance_ohm:g} ohm), "
            f"got {end_ohm:g}"
        )


def _require_open_at(ref: str, open_at: float | None) -> None:
    if open_at is not None and (not 0 <= open_at <= 10 or open_at == 5):
        raise CircuitError(
            f"{ref}: open_at must be a position near one end, 0 to 10, got {open_at:g}"
        )


@dataclass(frozen=True, slots=True)
class OpAmp:
    """An op-amp: ideal, or with one pole: V+ − V− = Vout·(1/A0 + s/(2π·gbw)).

    `gbw_hz` and `open_loop_gain` are infinite for an ideal one.
    """

    ref: str
    plus: str
    minus: str
    out: str
    gbw_hz: float = math.inf
    open_loop_gain: float = math.inf
    noise_v_per_rt_hz: float = 0.0
    current_noise_a_per_rt_hz: float = 0.0
    short_of_rail_v: float = 0.0

    def __post_init__(self) -> None:
        if not self.gbw_hz > 0:
            raise CircuitError(
                f"{self.ref}: gbw must be above 0 Hz, got {self.gbw_hz:g}"
            )
        gain = self.open_loop_gain
        if not gain > 0:
            raise CircuitError(
                f"{self.ref}: open_loop_gain must be above 0, got {gain:g}"
            )
        for name in ("noise_v_per_rt_hz", "current_noise_a_per_rt_hz"):
            _require_not_negative(self.ref, name, getattr(self, name), "")
        _require_not_negative(self.ref, "short_of_rail", self.short_of_rail_v, "V")

    @property
    def is_ideal(self) -> bool:
        """Whether gain and bandwidth are without limit."""
        return math.isinf(self.gbw_hz) and math.isinf(self.open_loop_gain)


@dataclass(frozen=True, slots=True)
class Switch:
    """One pole of a switch: at each position, `common` touches the nodes thrown to."""

    ref: str
    switch: str
    common: str
    throws: tuple[tuple[str, tuple[str, ...]], ...]

    def thrown_to(self, position: str) -> tuple[str, ...]:
        """Return the nodes that `common` touches at a position; none if it is open."""
        return dict(self.throws).get(position, ())


@dataclass(frozen=True, slots=True)
class Transconductor:
    """A current gm·(v(control[0]) − v(control[1])) that enters at ``into[0]``."""

    ref: str
    transconductance_siemens: float
    control: Pair
    into: Pair

    def __post_init__(self) -> None:
        value = self.transconductance_siemens
        if value == 0 or not math.isfinite(value):
            raise CircuitError(
                f"{self.ref}: transconductance must be a number other than 0 siemens, "
                f"got {value:g}"
            )


Part = (
    Resistor
    | Capacitor
    | Inductor
    | Pot
    | VariableResistor
    | OpAmp
    | Switch
    | Transconductor
)
PartT = TypeVar("PartT", bound=Part)


def terminals(part: Part) -> tuple[tuple[str, str], ...]:
    """Return (what a builder calls the terminal, node) for each terminal of a part.

    The word is empty where the terminals of the part are all alike.

    Examples
    --------
    >>> terminals(Resistor("R1", ("in", "a"), 4700.0))
    (('', 'in'), ('', 'a'))
    """
    match part:
        case Pot():
            tap = (("tap", part.tap),) if part.tap is not None else ()
            ends = (("end at 0", part.ends[0]), ("end at 10", part.ends[1]))
            return (*ends, ("wiper", part.wiper), *tap)
        case OpAmp():
            return (("plus", part.plus), ("minus", part.minus), ("out", part.out))
        case Switch():
            seen: dict[str, list[str]] = {}
            for position, nodes in part.throws:
                for node in nodes:
                    seen.setdefault(node, []).append(position)
            thrown = ((" and ".join(words), node) for node, words in seen.items())
            return (("common", part.common), *thrown)
        case Transconductor():
            words = ("control +", "control −", "current in", "current out")
            return tuple(zip(words, (*part.control, *part.into), strict=True))
        case _:
            return (("", part.across[0]), ("", part.across[1]))


def value_words(part: Part) -> str:
    """Return the value of a part as a builder says it ("4.7 kΩ", "100 kΩ linear").

    Examples
    --------
    >>> value_words(Capacitor("C1", ("in", "a"), 2.2e-8))
    '22 nF'
    """
    match part:
        case Resistor():
            return format_value(part.resistance_ohm, "Ω")
        case Capacitor():
            return format_value(part.capacitance_farad, "F")
        case Inductor():
            winding = format_value(part.winding_ohm, "Ω")
            return f"{format_value(part.inductance_henry, 'H')}, winding {winding}"
        case Pot() | VariableResistor():
            return f"{format_value(part.resistance_ohm, 'Ω')} {part.taper.name}"
        case OpAmp():
            return "ideal op-amp" if part.is_ideal else "op-amp"
        case Switch():
            return f"pole of {part.switch}"
        case Transconductor():
            return format_value(part.transconductance_siemens, "S")


def rename_nodes(part: PartT, names: dict[str, str], ref: str) -> PartT:
    """Return the part under another designator, its nodes renamed by a table."""

    def renamed(value: object) -> object:
        if isinstance(value, str):
            return names[value]
        if isinstance(value, tuple):
            return tuple(renamed(node) for node in value)
        return value

    changes: dict[str, object] = {"ref": ref}
    for field in fields(part):
        value = getattr(part, field.name)
        if field.name == "throws":
            changes["throws"] = tuple((word, renamed(nodes)) for word, nodes in value)
        elif field.name in _NODE_FIELDS:
            changes[field.name] = renamed(value)
    return replace(part, **changes)  # type: ignore[arg-type]  # fields of their own type


_NODE_FIELDS = frozenset(
    {"across", "ends", "wiper", "tap", "plus", "minus", "out", "common"}
    | {"control", "into"}
)
