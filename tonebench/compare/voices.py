# SPDX-License-Identifier: GPL-3.0-or-later
"""Who plays in a comparison: A, B and the dry take, per pairing and take, with files.

Names and routes are settled here, before a sound is read.
"""

import re
from dataclasses import dataclass, replace

from tonebench.audio.files import TakeInfo
from tonebench.audio.take import Take
from tonebench.circuit.circuit import STRAIGHT
from tonebench.circuit.controls import Settings
from tonebench.errors import AudioError, RequestError
from tonebench.plan.comparison import Comparison, Pairing, Side
from tonebench.plan.differences import short_names
from tonebench.plan.moves import MovingSetting, moving_setting
from tonebench.render.after import After, ready
from tonebench.render.route import Route, route


@dataclass(frozen=True, slots=True, eq=False)
class Voice:
    """One side at one setting on one take: its route, and the file it goes to.

    `letter` is "a", "b" or "dry"; `name` tells the side from the other one.
    """

    letter: str
    name: str
    side: Side
    moving: MovingSetting
    route: Route
    file: str

    @property
    def setting(self) -> Settings:
        """Where every control stands at the start of the take."""
        return self.moving.at(0)


@dataclass(frozen=True, slots=True, eq=False)
class Pair:
    """A pairing on a take; the names of all its files start with `stem`.

    `after` is what all its voices go through then.
    """

    pairing: Pairing
    take: Take
    info: TakeInfo
    stem: str
    voices: tuple[Voice, ...]
    after: After | None = None

    @property
    def name(self) -> str:
        """What the pairing is called."""
        return self.pairing.name

    @property
    def a(self) -> Voice:
        """The voice of A."""
        return self.voices[0]

    @property
    def b(self) -> Voice:
        """The voice of B."""
        return self.voices[1]

    @property
    def is_moving(self) -> bool:
        """Whether a knob or switch moves while the take plays."""
        return any(voice.moving.is_moving for voice in self.voices)


def pairs_of(
    comparison: Comparison, take: Take, info: TakeInfo, taken: set[str]
) -> tuple[Pair, ...]:
    """Return every pairing on one take; `taken` holds the names of earlier ones.

    Raises
    ------
    AudioError
        If A and B would make different things of the take's channels.
    InputError, MissingPartError
        If what comes after them can't be used.
    """
    pairs = []
    after: After | None = None
    a, b = comparison.a.behind(take), comparison.b.behind(take)
    names = dict(zip(("a", "b"), short_names(a, b), strict=True)) | {"dry": ""}
    for pairing in comparison.pairings:
        words = pairing.name
        if len(comparison.takes) > 1:
            words = f"{take.name} {words}"
        stem = _free(_plain(words) or "pairing", taken)
        taken.add(stem)
        asked = [("a", a, pairing.a), ("b", b, pairing.b)]
        if comparison.has_dry:
            asked.append(("dry", _dry_side(a, b), {}))
        voices: list[Voice] = []
        for letter, side, changes in asked:
            chain = side.chain
            plan = route(chain, changes, info.sample_rate_hz, info.channels, take)
            if after is None:
                after = ready(comparison.after, info.sample_rate_hz, plan.channels_out)
            plan = replace(plan, after=after)
            words = names[letter]
            name = f"{stem}-{letter}-{_plain(words)}".rstrip("-")
            name = _free(name, taken)
            taken.add(name)
            setting = moving_setting(chain.controls, changes)
            file = f"{name}.wav"
            voices.append(Voice(letter, names[letter], side, setting, plan, file))
        _refuse_unlike_routes(voices)
        pairs.append(Pair(pairing, take, info, stem, tuple(voices), after))
    return tuple(pairs)


def _dry_side(a: Side, b: Side) -> Side:
    """Return pickup, lead and load of A without any circuit; of B if A can't be it."""
    driven = []
    for side in (a, b):
        first, *others = side.chain.sources
        if not others:
            pickups = side.hookup.pickups
            pickup = pickups.get(first.input, pickups.get(""))
            bare = replace(
                side.hookup,
                pickups={"": pickup} if pickup else {},
                source_ohm=0.0 if pickup else side.hookup.source_ohm,
                before=(),
                into=(),
                has_buffer=False,
            )
            return Side(STRAIGHT, bare)
        driven.append(f"{side.circuit.name} has {1 + len(others)} inputs")
    raise RequestError(
        "a dry clip plays one pickup through no circuit, but "
        f"{' and '.join(driven)}; leave dry out"
    )


def _refuse_unlike_routes(voices: list[Voice]) -> None:
    """Refuse channels that are inputs to one side and a stereo sound to another."""
    first = voices[0]
    for other in voices[1:]:
        if other.route.channels_out == first.route.channels_out:
            continue
        by_input, alike = (first, other) if first.route.is_summed else (other, first)
        raise AudioError(
            f"the take's {first.route.channels_in} channels would drive the inputs of "
            f"{by_input.side.circuit.name} one by one, but go through "
            f"{alike.side.circuit.name} side by side; use a mono take"
        )


def _plain(words: str) -> str:
    """Return words as part of a file's name: plain letters, case doesn't count."""
    return re.sub(r"[^a-z0-9]+", "-", words.lower()).strip("-")[:48].rstrip("-")


def _free(name: str, taken: set[str]) -> str:
    """Return a name that is not taken, with a number behind it if need be."""
    free, count = name, 2
    while free in taken:
        free, count = f"{name}-{count}", count + 1
    return free
