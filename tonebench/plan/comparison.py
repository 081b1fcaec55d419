# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison as a frozen value: two sides, a take, pairs of settings, a way to match.

Renders nothing.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from tonebench.audio.take import Take
from tonebench.circuit.circuit import Circuit
from tonebench.circuit.controls import no_such
from tonebench.circuit.hookup import Chain, Hookup, join
from tonebench.errors import InputError, RequestError
from tonebench.plan.after import Step
from tonebench.plan.moves import Changes, moving_setting

MATCH_MODES = ("loudness", "rms", "frequency", "none")
#: Where gains are shown, and matched, if no frequency is asked for.
DEFAULT_MATCH_HZ = 500.0
#: How finely, and how far, B may be trimmed by hand.
TRIM_STEP_DB, MOST_TRIM_DB = 0.05, 6.0


@dataclass(frozen=True, slots=True)
class Match:
    """How A and B are brought to one level, and at which frequency gains are shown.

    `trim_b_db` turns B against that level, by hand and by ear, in steps of 0.05 dB.
    """

    mode: str = "loudness"
    frequency_hz: float = DEFAULT_MATCH_HZ
    trim_b_db: float = 0.0

    def __post_init__(self) -> None:
        if self.mode not in MATCH_MODES:
            raise RequestError(
                f"match must be one of {', '.join(MATCH_MODES)}, got '{self.mode}'"
            )
        if not 1 <= self.frequency_hz <= 100_000:
            raise RequestError(
                f"match_hz must be from 1 to 100000 Hz, got {self.frequency_hz:g}"
            )
        steps = self.trim_b_db / TRIM_STEP_DB
        is_fit = abs(self.trim_b_db) <= MOST_TRIM_DB  # also catches NaN
        if not is_fit or abs(steps - round(steps)) > 1e-6:
            raise RequestError(
                f"trim_b must be from -{MOST_TRIM_DB:g} to {MOST_TRIM_DB:g} dB in "
                f"steps of {TRIM_STEP_DB:g} dB, got {self.trim_b_db:g}"
            )
        object.__setattr__(self, "trim_b_db", round(round(steps) * TRIM_STEP_DB, 2))


@dataclass(frozen=True, slots=True)
class Side:
    """A or B: a circuit with what stands around it."""

    circuit: Circuit
    hookup: Hookup = field(default_factory=Hookup)

    @property
    def chain(self) -> Chain:
        """The circuit and its hook-up, joined."""
        return join(self.circuit, self.hookup)

    def behind(self, take: Take) -> "Side":
        """Return this side with the pickup the take was made with, if it has none."""
        hookup = hookup_behind(self.hookup, take)
        names = {entry.name for entry in self.circuit.inputs} | {""}
        if hookup is not self.hookup and not set(hookup.pickups) <= names:
            raise InputError(
                f"{take.audio.name}: was made with the pickups "
                f"{', '.join(hookup.pickups)}, but {self.circuit.name} has no inputs "
                "of those names; say in the comparison which pickup it has"
            )
        return replace(self, hookup=hookup)


def hookup_behind(hookup: Hookup, take: Take) -> Hookup:
    """Return a hook-up with the pickup the take was made with, if it has no source."""
    if take.recorded is None or hookup.pickups or hookup.source_ohm > 0:
        return hookup
    return replace(hookup, pickups=take.recorded.pickups)


@dataclass(frozen=True, slots=True)
class Pairing:
    """One pair of settings: what is turned on A and B; the rest stands at its start.

    A control may move while the take plays; see `tonebench.plan.moves`.
    """

    name: str
    a: Changes = field(default_factory=dict)
    b: Changes = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Comparison:
    """Everything that a run needs to know; `after` comes after A and B alike."""

    title: str
    takes: tuple[Take, ...]
    a: Side
    b: Side
    pairings: tuple[Pairing, ...]
    match: Match = field(default_factory=Match)
    has_dry: bool = False
    has_difference: bool = False
    client: Mapping[str, str] = field(default_factory=dict)
    after: tuple[Step, ...] = ()

    @property
    def circuits(self) -> tuple[Circuit, ...]:
        """All circuits that are in it."""
        found = []
        for side in (self.a, self.b):
            around = (*side.hookup.before, *side.hookup.into)
            found += [side.circuit, *(neighbour.circuit for neighbour in around)]
        return tuple(found)

    def __post_init__(self) -> None:
        if not self.pairings:
            raise RequestError("a comparison needs at least one pairing")
        if not self.takes:
            raise RequestError("a comparison needs at least one take")
        names = [take.name for take in self.takes]
        for name in names:
            if names.count(name) > 1:
                raise RequestError(
                    f"there are two takes named '{name}'; give each once, or rename one"
                )
        chain_a, chain_b = self.a.chain, self.b.chain
        for pairing in self.pairings:
            moving_setting(chain_a.controls, pairing.a)
            moving_setting(chain_b.controls, pairing.b)


def pairing_of(
    name: str, a: Side, b: Side, both: Changes, only_a: Changes, only_b: Changes
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
