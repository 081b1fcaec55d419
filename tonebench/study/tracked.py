# SPDX-License-Identifier: GPL-3.0-or-later
"""Features followed over all settings: how far they wander, and whether they stay.

Features of one kind at neighbouring settings (one control one step apart) are the same
feature when each is the other's nearest, within an octave and a half. Silent settings,
and those without an answer, are left out. Knows no parts and no words.
"""

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tonebench.circuit.controls import Knob, Settings
from tonebench.errors import CircuitError
from tonebench.network.roots import Roots, find_roots
from tonebench.study.between import ROLL_OFFS, SAME_OCTAVES, Between
from tonebench.study.features import HIGHEST_HZ, LOWEST_HZ, Feature, find_features
from tonebench.study.turned import Turned, places

#: Features are followed a good deal beyond what is heard.
_FOLLOWED_HZ = (1.0, 100_000.0)
_MOST_SETTINGS = 500
_LOOK_HZ = np.geomspace(5, 40_000, 24)
#: Shelves are one and the same within this, whichever way they go.
_SAME_SHELF_OCTAVES = 0.5


@dataclass(frozen=True, slots=True)
class TrackedFeature:
    """One feature over all settings of the knobs and switches.

    Attributes
    ----------
    input : str
        Whose curve it belongs to.
    here : Feature
        As it is at `setting`.
    setting : mapping
        Where the controls were asked to stand; or, if it isn't there then, the first
        setting at which it is.
    is_here : bool
        Whether it is there where the controls were asked to stand.
    always : bool
        Whether it stays at every setting that isn't silent.
    share : float
        At which share of those settings it is there.
    range_hz, range_db : tuple of float
        The least and greatest frequency and level over all settings.
    """

    input: str
    here: Feature
    setting: Settings
    is_here: bool
    always: bool
    share: float
    range_hz: tuple[float, float]
    range_db: tuple[float, float]


def track_features(turned: Turned) -> tuple[TrackedFeature, ...]:
    """Return every feature that any setting has, by input and frequency."""
    settings = all_settings(turned)
    known: Known = {}
    found = _found(turned, settings, known)
    looked = Between(
        turned.network, turned.controls, lambda roots: _features(roots, known)
    )
    tracked: list[TrackedFeature] = []
    for k, name in enumerate(turned.network.inputs):
        heard = {
            at: features[k] for at, features in found.items() if features[k] is not None
        }
        tracked += _followed(turned, settings, (k, name), heard, looked)
    return tuple(tracked)


def all_settings(turned: Turned) -> dict[tuple[int, ...], Settings]:
    """Return settings by their steps: the one asked for, and all combinations.

    Knobs stand at 0, 5, 10 and where they are asked to; where that makes too many
    combinations, at 0 and 10, and at last one control is turned at a time.
    """
    controls = turned.controls
    for count in (3, 2):
        choices = [
            _with_start(places(control, count), turned.start[control.name])
            for control in controls
        ]
        if math.prod(map(len, choices)) <= _MOST_SETTINGS:
            break
    else:
        return _one_at_a_time(turned, choices)
    return {
        steps: {
            control.name: choice[step]
            for control, choice, step in zip(controls, choices, steps, strict=True)
        }
        for steps in itertools.product(*(range(len(choice)) for choice in choices))
    }


def _with_start(positions: list[float | str], start: float | str) -> list[float | str]:
    if start in positions:
        return positions
    return sorted([*positions, start], key=lambda position: float(position))


def _one_at_a_time(
    turned: Turned, choices: Sequence[Sequence[float | str]]
) -> dict[tuple[int, ...], Settings]:
    start = tuple(
        list(choice).index(turned.start[control.name])
        for control, choice in zip(turned.controls, choices, strict=True)
    )
    found: dict[tuple[int, ...], Settings] = {start: turned.start}
    for k, control in enumerate(turned.controls):
        for step, position in enumerate(choices[k]):
            steps = (*start[:k], step, *start[k + 1 :])
            found[steps] = {**turned.start, control.name: position}
    return found


Found = dict[tuple[int, ...], list[tuple[Feature, ...] | None]]
#: The features of a response by its shape.
Known = dict[tuple[float, ...], tuple[Feature, ...]]


def _found(
    turned: Turned, settings: dict[tuple[int, ...], Settings], known: Known
) -> Found:
    """Return the features by setting and input; None where an input is silent."""
    found: Found = {}
    error: CircuitError | None = None
    for steps, setting in settings.items():
        try:
            roots = find_roots(turned.network, setting)
        except CircuitError as unsolved:
            error = unsolved
            continue
        found[steps] = [
            None if each.is_silent else _features(each, known) for each in roots
        ]
    if not found and error is not None:
        raise error
    return found


def _features(roots: Roots, known: Known) -> tuple[Feature, ...]:
    """Return the features of a response; one that differs in level alone is known."""
    level_db = 20 * np.log10(np.maximum(np.abs(roots.response(_LOOK_HZ)), 1e-20))
    key = tuple(np.round(level_db - level_db[12], 7).tolist())
    if key not in known:
        features = find_features(roots, *_FOLLOWED_HZ)
        known[key] = tuple(_moved(each, -float(level_db[12])) for each in features)
    return tuple(_moved(each, float(level_db[12])) for each in known[key])


def _moved(feature: Feature, by_db: float) -> Feature:
    level = feature.level_db
    if feature.kind in ("high-pass", "low-pass"):
        level += by_db
    return replace(feature, level_db=level, gain_db=feature.gain_db + by_db)


Member = tuple[tuple[int, ...], int]


def _followed(
    turned: Turned,
    settings: dict[tuple[int, ...], Settings],
    source: tuple[int, str],
    heard: dict[tuple[int, ...], tuple[Feature, ...] | None],
    looked: Between,
) -> list[TrackedFeature]:
    by_steps = {at: features for at, features in heard.items() if features is not None}
    above: dict[Member, Member] = {
        (at, k): (at, k)
        for at, features in by_steps.items()
        for k in range(len(features))
    }

    def top(member: Member) -> Member:
        while above[member] != member:
            member = above[member]
        return member

    for at, features in by_steps.items():
        for axis in range(len(at)):
            beside = (*at[:axis], at[axis] + 1, *at[axis + 1 :])
            for i, j in _pairs(features, by_steps.get(beside, ())):
                above[top((at, i))] = top((beside, j))
    groups: dict[Member, list[Member]] = {}
    for member in above:
        groups.setdefault(top(member), []).append(member)
    tracked = [
        _tracked(turned, settings, source, by_steps, group, looked)
        for group in _shelves_joined(by_steps, groups.values())
    ]
    audible = [each for each in tracked if each is not None]
    return sorted(audible, key=lambda each: each.here.frequency_hz)


def _shelves_joined(
    by_steps: dict[tuple[int, ...], tuple[Feature, ...]],
    groups: Iterable[list[Member]],
) -> list[list[Member]]:
    """Join shelves at one place: a tilt is a shelf that goes both ways."""
    kept: list[list[Member]] = []
    for group in groups:
        first = by_steps[group[0][0]][group[0][1]]
        for other in kept if first.kind == "shelf" else ():
            at, k = other[0]
            near = by_steps[at][k]
            ratio = near.frequency_hz / first.frequency_hz
            taken = {at for at, _ in other} & {at for at, _ in group}
            if (
                near.kind == "shelf"
                and not taken
                and abs(math.log2(ratio)) <= _SAME_SHELF_OCTAVES
            ):
                other += group
                break
        else:
            kept.append(group)
    return kept


def _pairs(one: Sequence[Feature], other: Sequence[Feature]) -> list[tuple[int, int]]:
    def nearest(feature: Feature, among: Sequence[Feature]) -> int | None:
        apart = [
            abs(math.log2(each.frequency_hz / feature.frequency_hz))
            if each.kind == feature.kind
            else math.inf
            for each in among
        ]
        if feature.kind in ROLL_OFFS:  # there is one at most
            return next((k for k, d in enumerate(apart) if math.isfinite(d)), None)
        least = min(apart, default=math.inf)
        return apart.index(least) if least <= SAME_OCTAVES else None

    pairs = ((i, nearest(feature, other)) for i, feature in enumerate(one))
    return [(i, j) for i, j in pairs if j is not None and nearest(other[j], one) == i]


def _tracked(
    turned: Turned,
    settings: dict[tuple[int, ...], Settings],
    source: tuple[int, str],
    by_steps: dict[tuple[int, ...], tuple[Feature, ...]],
    group: Sequence[Member],
    looked: Between,
) -> TrackedFeature | None:
    members = {at: by_steps[at][k] for at, k in group}
    seen = looked.seen(settings, members, source[0])
    everywhere = [*members.values(), *seen.features]
    hz = [feature.frequency_hz for feature in everywhere]
    if not any(LOWEST_HZ <= each <= HIGHEST_HZ for each in hz):
        return None
    levels = [feature.level_db for feature in everywhere]
    start = next((at for at in members if settings[at] == turned.start), None)
    at = min(members, key=lambda at: _steps_away(turned, settings[at]))
    at = start if start is not None else at
    return TrackedFeature(
        input=source[1],
        here=members[at],
        setting=settings[at],
        is_here=start is not None,
        always=len(members) == len(by_steps) and not seen.missing,
        share=len(members) / (len(by_steps) + seen.missing),
        range_hz=(min(hz), max(hz)),
        range_db=(min(levels), max(levels)),
    )


def _steps_away(turned: Turned, setting: Settings) -> tuple[int, float]:
    """Return how many controls are elsewhere than asked for, and how far."""
    away = [
        abs(float(setting[c.name]) - float(turned.start[c.name]))
        if isinstance(c, Knob)
        else 1.0
        for c in turned.controls
        if setting[c.name] != turned.start[c.name]
    ]
    return len(away), sum(away)
