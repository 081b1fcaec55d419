# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison as a frozen value: two sides, a take, pairs of settings, a way to match.

Knows what differs between the sides, in words. Renders nothing.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.controls import Settings, no_such
from tonebench.circuit.hookup import Chain, Hookup, Neighbour, join
from tonebench.circuit.parts import value_words
from tonebench.errors import RequestError
from tonebench.units import format_value

MATCH_MODES = ("loudness", "rms", "frequency", "none")
#: Where gains are shown, and matched, if no frequency is asked for.
DEFAULT_MATCH_HZ = 500.0


@dataclass(frozen=True, slots=True)
class Match:
    """How A and B are brought to one level, and at which frequency gains are shown."""

    mode: str = "loudness"
    frequency_hz: float = DEFAULT_MATCH_HZ

    def __post_init__(self) -> None:
        if self.mode not in MATCH_MODES:
            raise RequestError(
                f"match must be one of {', '.join(MATCH_MODES)}, got '{self.mode}'"
            )
        if not 1 <= self.frequency_hz <= 100_000:
            raise RequestError(
                f"match_hz must be from 1 to 100000 Hz, got {self.frequency_hz:g}"
            )


@dataclass(frozen=True, slots=True)
class Side:
    """A or B: a circuit with what stands around it."""

    circuit: Circuit
    hookup: Hookup = field(default_factory=Hookup)

    @property
    def chain(self) -> Chain:
        """The circuit and its hook-up, joined."""
        return join(self.circuit, self.hookup)


@dataclass(frozen=True, slots=True)
class Pairing:
    """One pair of settings: what is turned on A and B; the rest stands at its start."""

    name: str
    a: Settings = field(default_factory=dict)
    b: Settings = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Comparison:
    """Everything that a run needs to know."""

    title: str
    take: Path
    a: Side
    b: Side
    pairings: tuple[Pairing, ...]
    match: Match = field(default_factory=Match)
    client: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not self.pairings:
            raise RequestError("a comparison needs at least one pairing")
        chain_a, chain_b = self.a.chain, self.b.chain
        for pairing in self.pairings:
            chain_a.setting(pairing.a)
            chain_b.setting(pairing.b)


def pairing_of(
    name: str, a: Side, b: Side, both: Settings, only_a: Settings, only_b: Settings
) -> Pairing:
    """Return a pairing in which `both` turns every control of that name on either side.

    Raises
    ------
    RequestError
        For a name that neither side has, or a position out of range.
    """
    names_a = {control.name for control in a.chain.controls}
    names_b = {control.name for control in b.chain.controls}
    for control in both:
        if control not in names_a | names_b:
            raise RequestError(
                no_such("knob or switch", control, sorted(names_a | names_b))
            )
    shared_a = {name: value for name, value in both.items() if name in names_a}
    shared_b = {name: value for name, value in both.items() if name in names_b}
    return Pairing(name, {**shared_a, **only_a}, {**shared_b, **only_b})


def what_differs(a: Side, b: Side) -> str:
    """Return in one line what differs between two sides, their settings aside.

    Examples
    --------
    >>> from tonebench.circuit.circuit import STRAIGHT
    >>> what_differs(Side(STRAIGHT), Side(STRAIGHT, Hookup(load_ohm=1e6)))
    'only the load differs: open against 1 MΩ'
    """
    found = [
        (word, said_a, said_b)
        for (word, said_a), (_, said_b) in zip(_words(a), _words(b), strict=True)
        if said_a != said_b
    ]
    if a.circuit.name == b.circuit.name:
        found += _changed_parts(a.circuit, b.circuit)
    if not found:
        return "nothing differs but the settings"
    told = ", ".join(f"{said_a} against {said_b}" for _, said_a, said_b in found)
    if len(found) == 1:
        return f"only the {found[0][0]} differs: {told}"
    names = [word for word, _, _ in found]
    return f"the {', the '.join(names[:-1])} and the {names[-1]} differ: {told}"


def _changed_parts(a: Circuit, b: Circuit) -> list[tuple[str, str, str]]:
    values_a = {part.ref: value_words(part) for part in a.parts}
    values_b = {part.ref: value_words(part) for part in b.parts}
    found = []
    for ref in dict.fromkeys((*values_a, *values_b)):
        said_a, said_b = values_a.get(ref, "none"), values_b.get(ref, "none")
        if said_a != said_b:
            found.append((f"part {ref}", said_a, said_b))
    return found


def _words(side: Side) -> list[tuple[str, str]]:
    """Return what stands in each place of a side, as words to compare and to show."""
    hookup = side.hookup

    def value(number: float | None, unit: str, nothing: str) -> str:
        return format_value(number, unit) if number else nothing

    def names(neighbours: tuple[Neighbour, ...]) -> str:
        told = [
            n.circuit.name + "".join(f" {k} {v}" for k, v in n.settings.items())
            for n in neighbours
        ]
        return ", ".join(told) or "nothing"

    pickups = {
        i.name: hookup.pickups.get(i.name, hookup.pickups.get(""))
        for i in side.circuit.inputs
    }
    told = [p.name if p else "no pickup" for p in pickups.values()]
    pickup = told[0] if len(set(told)) == 1 else " + ".join(told)
    return [
        ("circuit", side.circuit.name),
        ("pickup", pickup),
        ("source", value(hookup.source_ohm, "Ω", "ideal")),
        ("inner wire", value(hookup.inner_farad, "F", "as usual")),
        ("lead", value(hookup.cable_farad, "F", "no lead")),
        ("load", value(hookup.load_ohm, "Ω", "open")),
        ("load capacitance", value(hookup.load_farad, "F", "none")),
        ("place", hookup.place or side.circuit.place),
        ("circuits before", names(hookup.before)),
        ("circuits after", names(hookup.into)),
    ]
