# SPDX-License-Identifier: GPL-3.0-or-later
"""What a pairing's circuits do, in words for its page: the knobs, and why B differs.

Asked and answered in plain values, so that another process can do it. Draws nothing
and knows no HTML.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from tonebench.circuit.controls import Knob, Settings
from tonebench.errors import TonebenchError
from tonebench.plan.comparison import Side

if TYPE_CHECKING:  # what finds words is loaded when words are wanted
    from tonebench.study.against import Against
    from tonebench.study.interaction import Interaction
    from tonebench.study.knobs import KnobTrait

#: A difference all over that is smaller is not told.
_LEAST_GAIN_DB = 0.1


@dataclass(frozen=True, slots=True)
class AskedWords:
    """A pairing to be told: two sides, and where their controls stand."""

    a: Side
    b: Side
    setting_a: Settings
    setting_b: Settings


@dataclass(frozen=True, slots=True)
class SideWords:
    """What the knobs of a side do: of each control its sentences, the gist first."""

    title: str
    controls: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class PairWords:
    """A pairing in words; A and B are told once where they are the same."""

    a: SideWords
    b: SideWords
    differences: tuple[str, ...]
    opening: str

    @property
    def is_one(self) -> bool:
        """Whether A and B have the same circuit and hook-up."""
        return self.a == self.b


def pair_words(asked: Sequence[AskedWords]) -> list[PairWords]:
    """Return the words of pairings; each distinct side is looked at once."""
    sides: list[tuple[Side, SideWords]] = []
    whys: list[tuple[AskedWords, tuple[str, tuple[str, ...]]]] = []

    def side_words(side: Side) -> SideWords:
        for known, words in sides:
            if known == side:
                return words
        sides.append((side, _side_words(side)))
        return sides[-1][1]

    def why(one: AskedWords) -> tuple[str, tuple[str, ...]]:
        for known, words in whys:
            if known == one:
                return words
        whys.append((one, _differences(one)))
        return whys[-1][1]

    told = []
    for one in asked:
        opening, differences = why(one)
        a, b = side_words(one.a), side_words(one.b)
        told.append(PairWords(a, b, differences, opening))
    return told


class _Turning(NamedTuple):
    controls: "dict[str, KnobTrait]"
    interactions: "tuple[Interaction, ...]"


def _side_words(side: Side) -> SideWords:
    from tonebench.report.traits_words import control_sentences
    from tonebench.study.interaction import interactions
    from tonebench.study.knobs import knob_trait
    from tonebench.study.turned import Turned

    title = side.circuit.full_title
    try:
        turned = Turned(side.chain, {})
        controls = {each.name: knob_trait(turned, each) for each in turned.controls}
        has_switch = any(not isinstance(each, Knob) for each in turned.controls)
        found = _Turning(controls, interactions(turned) if has_switch else ())
        told = tuple(
            tuple(filter(None, control_sentences(trait, found)))
            for trait in controls.values()
        )
    except TonebenchError as error:
        told = ((f"what its knobs do can't be told: {error}",),)
    return SideWords(title, told)


def _differences(one: AskedWords) -> tuple[str, tuple[str, ...]]:
    """Return what comes before the differences, and a sentence for each."""
    from tonebench.report.against_words import difference_sentence
    from tonebench.study.against import against

    try:
        found = against(one.a, one.b, one.setting_a, one.setting_b)
    except TonebenchError as error:
        return f"why B differs can't be told: {error}", ()
    told = tuple(difference_sentence(found, each) for each in found.differences)
    return _opening(found), told


def _opening(found: "Against") -> str:
    louder = "louder" if found.gain_db > 0 else "quieter"
    size = f"{abs(found.gain_db):.1f} dB"
    if not found.differences:
        what = "nothing differs by 1 dB anywhere from 20 Hz to 20 kHz"
        if abs(found.gain_db) < _LEAST_GAIN_DB:
            return what
        return f"B is {size} {louder} all over; with that taken away {what}"
    if abs(found.gain_db) < _LEAST_GAIN_DB:
        return ""
    return f"before matching B is {size} {louder} all over; with that taken away:"
