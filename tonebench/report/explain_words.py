# SPDX-License-Identifier: GPL-3.0-or-later
"""An explanation in sentences: what stands out, whose doing it is, what else could be.

Computes nothing.
"""

import math
from collections.abc import Sequence

from tonebench.report.feature_words import feature_words, left_words, without_words
from tonebench.report.wrapped import all_wrapped
from tonebench.study.blamed import label
from tonebench.study.causes import Cause, Causes
from tonebench.study.curves import setting_words
from tonebench.study.explain import Explained, Explanation
from tonebench.study.features import Feature
from tonebench.study.missing import Missing
from tonebench.study.tracked import TrackedFeature
from tonebench.units import format_db, format_frequency, format_position, to_db

#: Parts that are named with a feature, and how much the less strong ones must matter.
_MOST_NAMED = 4
_NAMED_SHIFT, _NAMED_SHARE = 0.2, 0.5
_NAMED_HEIGHT = 0.3
#: Two shifts that cancel to this share are a ratio: only both parts together matter.
_CANCELS = 0.1
_MOST_CLAUSES = 2
#: A feature that moves by less than this isn't told of.
_TOLD_OCTAVES = 0.15
#: How much more of a part is shown to see what it does.
_MORE = 1.1
_LEAST_GAIN_DB = 0.1


def explanation_words(found: Explanation) -> str:
    """Return what ``explain`` prints."""
    chain = found.side.chain
    lines = [chain.circuit.full_title, chain.line]
    if where := setting_words(found.setting):
        lines.append(f"at {where}")
    lines.append("")
    lines += before_lines(found)
    lines += missing_sentences(found.missing)
    if found.missing:
        lines.append("")
    for sentence, more in _told(found).items():
        lines.append(sentence)
        if more:
            lines.append(f"    {more}")
    if not found.explained:
        lines.append(
            "nothing stands out: no peak, dip, shelf or roll-off from 10 Hz to 24 kHz"
        )
    return "\n".join(all_wrapped(lines))


def before_lines(found: Explanation) -> list[str]:
    """Return what stood out before parts were changed, and what the change did."""
    if found.before is None:
        return []
    before = ", ".join(feature_words(feature) for feature in found.before)
    lines = [f"as drawn, before the change: {before or 'nothing stands out'}"]
    if (moved := found.moved) is not None and math.isfinite(moved.gain_db):
        ways = [f"{format_db(db)} at {format_frequency(hz)}" for hz, db in moved.most]
        if abs(moved.gain_db) >= _LEAST_GAIN_DB:
            way = "louder" if moved.gain_db > 0 else "quieter"
            all_of_it = f"all {abs(moved.gain_db):.1f} dB {way}"
            against = f", against that {' and '.join(ways)}" if ways else ""
            lines.append(f"the change makes it {all_of_it}{against}")
        elif ways:
            lines.append(f"the change does {' and '.join(ways)}")
        else:
            lines.append("the change does nothing to the curve")
        gone = ", ".join(feature_words(feature) for feature in moved.gone)
        lines += [f"gone by the change: {gone}"] if gone else []
    return [*lines, ""]


def _before_words(explained: Explained) -> str:
    """Return what a feature was before the change."""
    now, was = explained.feature, explained.was
    if was is None:
        return "new by the change"
    words = feature_words(was).removeprefix(f"{was.kind} ")
    same = words == feature_words(now).removeprefix(f"{now.kind} ")
    return "as it was before the change" if same else f"before the change {words}"


def _told(found: Explanation) -> dict[str, str]:
    """Return the sentences with what 10 % more does, those of two inputs as one."""
    inputs: dict[tuple[str, str], list[str]] = {}
    for explained in found.explained:
        more = _more_line(explained) if explained.causes.causes else ""
        told = (explained_sentence(found, explained), more)
        inputs.setdefault(told, []).append(explained.tracked.input)
    if len(found.side.chain.sources) == 1:
        return dict(inputs.keys())
    return {f"{_listed(names)}: {told}": more for (told, more), names in inputs.items()}


def explained_sentence(found: Explanation, explained: Explained) -> str:
    """Return one sentence for a feature: where it is, why, what is left without."""
    feature, causes = explained.feature, explained.causes
    turned = turned_words(found, explained.tracked)
    stays = _stays_words(explained.tracked)
    head = f"{f'with {turned}: ' if turned else ''}{feature_words(feature)}{stays}"
    named = named_causes(feature, causes)
    told = f"{head}: {_joined(feature, named, causes)}" if named else head
    if feature.kind in ("peak", "dip") and (tall := _height_cause(causes, named)):
        told += f"; its height hangs most on {_cause_words(tall, causes)}"
    if clauses := _clauses(feature, causes, named):
        told += f"; {', '.join(clauses)}"
    return f"{told}; {_before_words(explained)}" if found.before is not None else told


def missing_sentences(missing: Sequence[Missing]) -> list[str]:
    """Return a sentence for every pickup's peak that isn't there, alike ones as one."""
    whose: dict[str, list[str]] = {}
    for each in missing:
        whose.setdefault(_missing_words(each), []).append(each.input)
    return [
        f"the {_of_pickups(inputs)} own peak{words}" for words, inputs in whose.items()
    ]


def _of_pickups(inputs: Sequence[str]) -> str:
    if len(inputs) > 1:
        return "pickups'"
    return "pickup's" if inputs[0] == "in" else f"{inputs[0]} pickup's"


def _missing_words(missing: Missing) -> str:
    told = " is missing at every setting" if missing.always else " is missing"
    if missing.cause is not None:
        words = missing.cause.words
        if not missing.cause.is_around:
            words = f"{words[:-1]} at the input)"
        told += f"; it is {words} on the pickup's inductance"
    peak = missing.back or missing.alone
    where = f"{format_frequency(peak.frequency_hz)}, {format_db(peak.level_db)}"
    if missing.back is not None:
        return f"{told}: behind a buffer it is back ({where})"
    return f"{told}; alone it stands at {where}"


def turned_words(found: Explanation, tracked: TrackedFeature) -> str:
    """Return what is turned to see a feature, by the panel's words ("Bass at 10")."""
    told = []
    for name, at in tracked.setting.items():
        if at != found.setting[name]:
            where = format_position(at) if isinstance(at, float) else at
            told.append(f"{label(found.side.chain, name)} at {where}")
    return " and ".join(told)


def _stays_words(tracked: TrackedFeature) -> str:
    low, high = tracked.range_hz
    span = f"{format_frequency(low)} to {format_frequency(high)}"
    moves = high / low > 2**_TOLD_OCTAVES
    if tracked.always:
        return ", at every setting" + (f" ({span})" if moves else "")
    return f" ({span} as the controls turn)" if moves else ""


def named_causes(feature: Feature, causes: Causes) -> list[Cause]:
    """Return the causes that a sentence names: the strongest, one of two pickups'."""
    named: list[Cause] = []
    strongest = max(
        (abs(c.frequency_shift) for c in causes.causes if _is_decisive(feature, c)),
        default=0.0,
    )
    for cause in causes.causes:
        shift = abs(cause.frequency_shift)
        is_decisive = _is_decisive(feature, cause)
        if shift < _NAMED_SHIFT or any(_is_alike(cause, other) for other in named):
            continue
        if not is_decisive and (
            shift < _NAMED_SHARE * strongest or _is_half_of_a_ratio(cause, causes)
        ):
            continue
        named.append(cause)
    return named[:_MOST_NAMED]


def _is_decisive(feature: Feature, cause: Cause) -> bool:
    """Return whether the feature is gone, or elsewhere, without a part."""
    return cause.left is not None and cause.left.octaves(feature) > _TOLD_OCTAVES


def _is_alike(cause: Cause, other: Cause) -> bool:
    """Return whether both are the same of two pickups that are alike."""
    return (
        cause.who.is_around
        and other.who.is_around
        and cause.who.part.partition(" (")[0] == other.who.part.partition(" (")[0]
        and cause.who.value.quantity == other.who.value.quantity
        and cause.who.value.amount == other.who.value.amount
    )


def _is_half_of_a_ratio(cause: Cause, causes: Causes) -> bool:
    return any(
        abs(cause.frequency_shift + other.frequency_shift)
        <= _CANCELS * abs(cause.frequency_shift)
        and abs(cause.level_shift + other.level_shift)
        <= _CANCELS * abs(cause.level_shift)
        for other in causes.causes
        if other is not cause
    )


def _height_cause(causes: Causes, named: Sequence[Cause]) -> Cause | None:
    others = [
        cause
        for cause in causes.causes
        if cause not in named and not _is_half_of_a_ratio(cause, causes)
    ]
    tall = max(others, key=lambda cause: abs(cause.level_shift), default=None)
    if tall is None or abs(tall.level_shift) < _NAMED_HEIGHT:
        return None
    return tall


def _joined(feature: Feature, named: Sequence[Cause], causes: Causes) -> str:
    words = [_cause_words(cause, causes) for cause in named]
    kinds = [cause.who.value.quantity for cause in named[:2]]
    if feature.kind in ("high-pass", "low-pass") and len(set(kinds)) > 1:
        return f"{words[0]} against {_listed(words[1:])}"
    return _listed(words)


def _cause_words(cause: Cause, causes: Causes) -> str:
    """Return a cause's words, what two pickups share as one."""
    shared = [c for c in causes.causes if c is not cause and _is_alike(c, cause)]
    if not shared:
        return cause.who.words
    return cause.who.words.rpartition(" of ")[0].replace("pickup's", "pickups'")


def _listed(words: Sequence[str]) -> str:
    if len(words) == 1:
        return words[0]
    return f"{', '.join(words[:-1])} and {words[-1]}"


def _clauses(feature: Feature, causes: Causes, named: Sequence[Cause]) -> list[str]:
    """Return what is left without this or that, what changes most first.

    That it is gone is said of one thing only.
    """
    lefts = [(left, "") for left in causes.around]
    if any(cause.who.part.startswith("pickup") for cause in named):
        # without the pickup there is no resonance: that says nothing
        lefts = [(left, "") for left, _ in lefts if left.how != "ideal source"]
    own = [cause for cause in named if not cause.who.is_around]
    own.sort(key=lambda cause: cause.who.value.quantity != "capacitance")
    lefts += [
        (cause.left, cause.who.part)
        for cause in own
        if cause.left is not None and _is_natural(cause)
    ]
    told = [(left, ref) for left, ref in lefts if left.octaves(feature) > _TOLD_OCTAVES]
    told.sort(key=lambda pair: -pair[0].octaves(feature))
    gone = [pair for pair in told if pair[0].feature is None][:1]
    moved = [pair for pair in told if pair[0].feature is not None]
    return [
        f"{without_words(left, ref)} {left_words(left)}"
        for left, ref in (gone + moved)[:_MOST_CLAUSES]
    ]


def _is_natural(cause: Cause) -> bool:
    """Return whether a player would leave a part out so: nobody bridges a resistor."""
    is_bridged = cause.left is not None and cause.left.how == "bridged"
    return not (is_bridged and cause.who.value.quantity == "resistance")


def _more_line(explained: Explained) -> str:
    """Return how far 10 % more of each part moves a feature."""
    told: dict[str, str] = {}
    for cause in explained.causes.causes:
        name = cause.who.part
        if cause.who.is_around:
            name = cause.who.words.partition(" (")[0]
        words = _percent(100 * (_MORE**cause.frequency_shift - 1))
        if explained.feature.kind in ("peak", "dip", "shelf"):
            words += f" and {format_db(to_db(_MORE**cause.level_shift))}"
        told.setdefault(name, words)
    shown = [f"{name} {words}" for name, words in told.items()][:_MOST_NAMED]
    return f"10 % more of a part moves it: {', '.join(shown)}"


def _percent(share: float) -> str:
    text = f"{share:+.1f} %".replace("-", "−")
    return text if float(f"{share:.1f}") else "0 %"
