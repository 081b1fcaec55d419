# SPDX-License-Identifier: GPL-3.0-or-later
"""What the knobs do in a player's words: one sentence for each knob and feature.

Reads figures that others found; finds none itself.
"""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Protocol

from tonebench.circuit.controls import Control, Knob, Settings
from tonebench.report.card_words import card_lines
from tonebench.report.tracked_words import is_same, tracked_words
from tonebench.report.wrapped import WIDTH, wrapped
from tonebench.study.curves import setting_words
from tonebench.study.interaction import Interaction
from tonebench.study.knobs import KnobTrait
from tonebench.study.shapes import Change
from tonebench.study.tracked import TrackedFeature
from tonebench.study.traits import Traits
from tonebench.units import format_db, format_frequency, format_position

#: A feature that is there at fewer of the settings is counted, not told.
_SELDOM = 0.05


def traits_words(traits: Traits) -> str:
    """Return all traits as text for a terminal."""
    lines = [traits.chain.circuit.full_title, traits.chain.line]
    if traits.setting:
        lines.append(f"Where nothing else is said: {setting_words(traits.setting)}")
    lines += ["", "What the knobs do"]
    for trait in traits.controls.values():
        lines += _wrapped(control_sentences(trait, traits))
    if not traits.controls:
        lines += _wrapped(["There is nothing to turn or switch."])
    told = _without_doubles(traits.features)
    stays = [each for each in told if each.always]
    seldom = [each for each in told if each.share < _SELDOM and not each.is_here]
    goes = [each for each in told if not each.always and each not in seldom]
    if traits.controls:
        if stays:
            lines += ["", "What stays, whatever you turn"]
            lines += _features(stays, traits.setting)
        if goes or seldom:
            lines += ["", "What comes and goes"]
            lines += _features(goes, traits.setting)
        if seldom:
            many = "one more" if len(seldom) == 1 else f"{len(seldom)} more, each"
            at = f"at fewer than {100 * _SELDOM:g} % of the settings"
            lines += _wrapped([f"{many} {at}."])
    elif told:
        lines += ["", "What it does"]
        lines += _features(told, traits.setting)
    if not told:
        sentence = "The curve has no peak, dip, roll-off or shelf from 10 Hz to 24 kHz."
        lines += ["", sentence]
    if meddling := _meddling(traits):
        lines += ["", "What one does to another"]
        for sentence in meddling:
            lines += _wrapped([sentence])
    lines += ["", "Result card"]
    lines += card_lines(traits, WIDTH)
    return "\n".join(lines)


def _wrapped(sentences: Iterable[str]) -> list[str]:
    return wrapped(" ".join(filter(None, sentences)), indent=2)


def control_name(control: Control) -> str:
    """Return what a control is called on its panel, and in files if that differs."""
    if not control.label or control.label.casefold() == control.name.casefold():
        return control.label or control.name
    return f"{control.label} ({control.name})"


def _place_words(position: float | str) -> str:
    return position if isinstance(position, str) else format_position(position)


# -- knobs -----------------------------------------------------------------------------


class Turnable(Protocol):
    """What the sentences on a control need to know: all controls, and who meddles."""

    @property
    def controls(self) -> Mapping[str, KnobTrait]: ...  # noqa: D102

    @property
    def interactions(self) -> Sequence[Interaction]: ...  # noqa: D102


def control_sentences(trait: KnobTrait, traits: Turnable) -> Iterator[str]:
    """Yield what a control does, the most important sentence first."""
    name = control_name(trait.control)
    is_knob = isinstance(trait.control, Knob)
    other = _other(trait, traits)
    if trait.kind == "nothing":
        yield f"{name}: does nothing, wherever the others stand."
        return
    if other and not is_knob:
        yield f"{name}: {_switch_words(trait, traits, other)}."
        return
    if trait.kind == "level":
        yield f"{name}: {_level_words(trait)}{other and f', with {other}'}."
    elif trait.kind == "frequency" and trait.moves_hz:
        low, high = map(format_frequency, trait.moves_hz)
        what = f"what {other} does" if other else "the curve"
        yield f"{name}: moves {what} from {low} to {high}."
        if other:
            yield "By itself it does nothing."
    else:
        yield f"{name}: {_range_words(trait)}{other and f', but only with {other}'}."
    if trait.kind != "level":
        yield from _positions(trait)
    if is_knob and trait.kind in ("cut", "boost", "both"):
        yield _centre_words(trait)
    if trait.quarters_db:
        steps = ", ".join(_step_words(step) for step in trait.quarters_db)
        yield f"Quarter by quarter of its turn: {steps}."


def _step_words(step_db: float) -> str:
    if math.isnan(step_db):
        return "silent"
    if step_db == math.inf:
        return "from silence"
    return "into silence" if step_db == -math.inf else format_db(step_db)


def _other(trait: KnobTrait, traits: Turnable) -> str:
    """Return the control without which this one does nothing; empty if none."""
    for where in trait.where:
        for name, place in where.items():
            control = traits.controls[name].control
            if isinstance(control, Knob):
                is_level = traits.controls[name].kind == "level"
                return control_name(control) + (" turned up" if is_level else "")
            return f"{control_name(control)} at {_place_words(place)}"
    return ""


def _switch_words(trait: KnobTrait, traits: Turnable, other: str) -> str:
    """Say what a switch does that does nothing where all else starts."""
    names = [
        control_name(traits.controls[each.changes].control)
        for each in traits.interactions
        if each.turn == trait.control.name
    ]
    if trait.kind == "level" or len(names) > 1:
        return f"changes what {_listed(names or [other])} do"
    most = trait.largest
    size = f"{abs(most.level_db):.1f} dB at {_hz(most.at_hz)}"
    return f"changes what {other} does, by up to {size}"


def _listed(names: Sequence[str]) -> str:
    unique = list(dict.fromkeys(names))
    if len(unique) == 1:
        return unique[0]
    return f"{', '.join(unique[:-1])} and {unique[-1]}"


def _range_words(trait: KnobTrait) -> str:
    cut = f"cuts {_extreme_words(-trait.cut.level_db, trait.cut.at_hz)}"
    boost = f"boosts {_extreme_words(trait.boost.level_db, trait.boost.at_hz)}"
    shape = f", {_shape_words(trait.shape)}" if trait.shape else ""
    against = f", against {_place_words(trait.flattest)}"
    match trait.kind:
        case "cut":
            return f"only {cut}{shape}{against}"
        case "boost":
            return f"only {boost}{shape}{against}"
    same = is_same(trait.cut.at_hz, trait.boost.at_hz)
    if same and abs(trait.cut.level_db + trait.boost.level_db) < 0.05:
        size = f"{trait.boost.level_db:.1f} dB at {_hz(trait.boost.at_hz)}"
        return f"cuts and boosts by up to {size}{shape}{against}"
    return f"{cut} and {boost}{shape}{against}"


def _extreme_words(size_db: float, at_hz: float | None) -> str:
    if math.isinf(size_db):
        return "down to silence"
    where = f" at {_hz(at_hz)}" if at_hz is not None else ""
    return f"by up to {size_db:.1f} dB{where}"


def _level_words(trait: KnobTrait) -> str:
    if len(trait.off) > 1:
        return (
            f"turns {_listed([f'{n} off at {_place_words(p)}' for n, p in trait.off])}"
        )
    parts = [f"silent at {_place_words(place)}" for _, place in trait.off]
    ends = ((trait.cut.level_db, trait.cut_at), (trait.boost.level_db, trait.boost_at))
    parts += [
        f"{format_db(level)} at {_place_words(place)}"
        for level, place in ends
        if math.isfinite(level) and abs(level) > 0.05
    ]
    at = _place_words(trait.flattest)
    if len(parts) == len(trait.off):
        return f"turns the level, {_listed(parts)}, full at {at}"
    return f"turns the level: {', '.join(parts)}, against {at}"


def _shape_words(shape: str) -> str:
    return {"even": "all frequencies alike"}.get(shape, f"a {shape}")


def _positions(trait: KnobTrait) -> Iterator[str]:
    """Say where a bell or shelf stands, and how wide it is, at some positions."""
    told = [
        (place, place.change)
        for place in trait.places
        if place.change is not None and abs(place.change.level_db) >= 0.5
    ]
    where = {_where_words(change) for _, change in told}
    if len(where) == 1:
        sizes = [
            f"{_place_words(p.position)}: {format_db(c.level_db)}" for p, c in told
        ]
        (same,) = where
        yield f"At {', '.join(sizes)}{same}."
    elif told:
        words = [
            f"{_place_words(p.position)}: {format_db(c.level_db)}{_where_words(c)}"
            for p, c in told
        ]
        yield f"At {'; '.join(words)}."


def _where_words(change: Change) -> str:
    if change.centre_hz is None:
        return ""
    centre = format_frequency(change.centre_hz)
    match change.shape:
        case "bell":
            wide = f", Q {change.q:.2g}" if change.q is not None else ""
            return f" around {centre}{wide}"
        case "low shelf" | "high shelf":
            return f", half of it at {centre}"
        case "tilt":
            return f", turning at {centre}"
    return ""


def _centre_words(trait: KnobTrait) -> str:
    within = trait.centre_within_db
    if within is None or not math.isfinite(within):
        return ""
    size = f" within ±{within:.1f} dB" if within >= 0.05 else ""
    flat = f"Its centre is flat{size} (the circuit by itself, 40 Hz to 10 kHz)"
    if trait.flattest in (5.0, 5):
        return f"{flat}."
    return f"{flat}; flattest is {_place_words(trait.flattest)}."


# -- features --------------------------------------------------------------------------


def _without_doubles(features: Sequence[TrackedFeature]) -> list[TrackedFeature]:
    """Leave out what another input has too."""
    kept: list[TrackedFeature] = []
    for each in features:
        if not any(_is_double(each, other) for other in kept):
            kept.append(each)
    return kept


def _is_double(one: TrackedFeature, other: TrackedFeature) -> bool:
    return (
        one.input != other.input
        and one.here.kind == other.here.kind
        and one.always == other.always
        and all(
            is_same(a, b) for a, b in zip(one.range_hz, other.range_hz, strict=True)
        )
        and is_same(one.here.frequency_hz, other.here.frequency_hz)
    )


def _features(features: Sequence[TrackedFeature], start: Settings) -> list[str]:
    inputs = {each.input for each in features}
    lines: list[str] = []
    for each in features:
        whose = f"From {each.input}: " if len(inputs) > 1 else ""
        lines += _wrapped([f"{whose}{tracked_words(each, start)}."])
    return lines


# -- one to another --------------------------------------------------------------------


def _meddling(traits: Traits) -> list[str]:
    seen: set[frozenset[str]] = set()
    told = []
    for each in traits.interactions:
        pair = frozenset((each.turn, each.changes))
        if pair in seen or _is_told(each, traits):
            continue
        seen.add(pair)
        told.append(_meddling_words(each, traits))
    return told


def _is_told(each: Interaction, traits: Traits) -> bool:
    """Whether one of the two does nothing without the other, which is said already."""
    pairs = ((each.turn, each.changes), (each.changes, each.turn))
    return any(
        other in where or (where and not isinstance(traits.controls[one].control, Knob))
        for one, other in pairs
        for where in traits.controls[one].where
    )


def _meddling_words(each: Interaction, traits: Traits) -> str:
    turn = control_name(traits.controls[each.turn].control)
    changes = control_name(traits.controls[each.changes].control)
    size = f"{each.db:.1f} dB at {format_frequency(each.at_hz)}"
    at = _place_words(each.at)
    return f"{turn} at {at} changes what {changes} does by up to {size}."


def _hz(value: float | None) -> str:
    return "all frequencies" if value is None else format_frequency(value)
