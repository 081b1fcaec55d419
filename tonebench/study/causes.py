# SPDX-License-Identifier: GPL-3.0-or-later
"""Which parts cause a feature, how much each matters, and what is left without it.

How much: exact sensitivities of the feature's frequency and level. What is left: the
chain drawn anew without the part. What is gone without a part counts most. Words are
made elsewhere.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tonebench.network.nodal import Network
from tonebench.network.ports import Ports
from tonebench.network.sensitivity import Shift, crossing_shifts, tip_shifts
from tonebench.study.blamed import Blamed, blamed
from tonebench.study.features import MIDDLE_HZ, Feature
from tonebench.study.without import Counterfactuals, How, Solved

#: A part that matters less than this is none of a feature's causes.
LEAST_WEIGHT = 0.05
_MOST_CAUSES = 8
#: Counterfactuals are asked of this many parts; each is a circuit solved anew.
_MOST_ASKED = 4
#: What is left of a feature is looked for within so many octaves.
_REACH_OCTAVES = {"high-pass": 4.0, "low-pass": 4.0}
_REACH_OF_OTHERS = 1.5
#: Without a part that the sound must pass, nothing sensible is left.
_MOST_CHANGE_DB = 10.0
#: Less than this is no change, as shares of frequency and in dB.
_SAME_SHARE, _SAME_DB = 0.02, 0.25
#: A part counts so many times more if the feature is gone, or far away, without it.
_GONE, _FAR_AWAY, _FAR_OCTAVES = 3.0, 2.0, 1 / 3
#: The tip of a resonance hangs on more than its height does.
_FREQUENCY_COUNTS = 2.0


@dataclass(frozen=True, slots=True)
class Left:
    """What is left of a feature without something; `feature` None where it is gone."""

    how: How
    feature: Feature | None

    def octaves(self, before: Feature) -> float:
        """Return how far the feature has moved; inf if it is gone."""
        if self.feature is None:
            return math.inf
        return abs(math.log2(self.feature.frequency_hz / before.frequency_hz))

    def is_as_before(self, before: Feature) -> bool:
        """Return whether nothing has changed to speak of."""
        after = self.feature
        return (
            after is not None
            and self.octaves(before) < _SAME_SHARE
            and abs(after.level_db - before.level_db) < _SAME_DB
        )


@dataclass(frozen=True, slots=True)
class Cause:
    """One number that a feature hangs on.

    Attributes
    ----------
    who : Blamed
        The part, or what of the hook-up it is.
    frequency_shift, level_shift : float
        Relative shift of frequency and level per relative change of the number: −1
        moves the feature down by 1 % for 1 % more.
    left : Left or None
        What is left without the part; None where that says nothing (the sound itself
        passes through it), or wasn't asked.
    """

    who: Blamed
    frequency_shift: float
    level_shift: float
    left: Left | None

    def weight(self, feature: Feature) -> float:
        """Return how much this counts as a cause of the feature."""
        weight = _weight(feature, self.frequency_shift, self.level_shift)
        if self.left is None:
            return weight
        if self.left.feature is None:
            return _GONE * weight
        is_far = self.left.octaves(feature) > _FAR_OCTAVES
        return _FAR_AWAY * weight if is_far else weight


@dataclass(frozen=True, slots=True)
class Causes:
    """All that is known of why a feature is there.

    `around` tells what is left of it with another hook-up.
    """

    causes: tuple[Cause, ...]
    around: tuple[Left, ...]


def causes_of(feature: Feature, others: Counterfactuals) -> Causes:
    """Return the causes of a feature of a side at a setting, the strongest first."""
    chain = others.side.chain
    ranked = sorted(
        feature_shifts(others.here, feature),
        key=lambda shift: -_weight(feature, shift.frequency, shift.level),
    )
    found = []
    for place, shift in enumerate(ranked[:_MOST_CAUSES]):
        if _weight(feature, shift.frequency, shift.level) < LEAST_WEIGHT:
            break
        who = blamed(chain, shift.value)
        left = _left_without(feature, who, others) if place < _MOST_ASKED else None
        found.append(Cause(who, shift.frequency, shift.level, left))
    found.sort(key=lambda cause: -cause.weight(feature))
    around = tuple(
        Left(how, left_of(feature, solved)) for how, solved in others.all_around()
    )
    return Causes(tuple(found), around)


def feature_shifts(here: Solved, feature: Feature) -> list[Shift]:
    """Return what every number of a chain does to a feature, exactly.

    For a peak or dip the tip and its height over the level beside it; for a roll-off
    its corner and the gain of its passband; for a shelf where half its step is done,
    and the step.
    """
    at_hz = [feature.frequency_hz, *feature.reference_hz]
    ports = Ports(Network(here.chain), here.setting, at_hz, here.drive)
    if feature.kind in ("peak", "dip"):
        return tip_shifts(ports, 0, 1 if feature.reference_hz else None)
    if feature.kind == "shelf":
        rises = abs(ports.transfer[2]) > abs(ports.transfer[1])
        upper_first = rises == (feature.level_db > 0)
        weights = (-1.0, 1.0) if upper_first else (1.0, -1.0)
        return crossing_shifts(ports, 0, (1, 2), weights)
    return crossing_shifts(ports, 0, (1,), (1.0,))


def _weight(feature: Feature, frequency: float, level: float) -> float:
    """Return how much a number matters: a roll-off is where it is, not how loud."""
    if feature.kind in ("high-pass", "low-pass"):
        return abs(frequency)
    if feature.kind == "shelf":
        return math.hypot(frequency, level)
    return math.hypot(_FREQUENCY_COUNTS * frequency, level)


def left_of(feature: Feature, other: Solved) -> Feature | None:
    """Return the feature of another curve that a feature has become, if any."""
    reach = _REACH_OCTAVES.get(feature.kind, _REACH_OF_OTHERS)
    same = [f for f in other.features if f.kind == feature.kind]

    def distance(found: Feature) -> float:
        return abs(math.log2(found.frequency_hz / feature.frequency_hz))

    nearest = min(same, key=distance, default=None)
    return nearest if nearest is not None and distance(nearest) <= reach else None


def _left_without(
    feature: Feature, who: Blamed, others: Counterfactuals
) -> Left | None:
    """Return what is left without a part: opened or bridged, what disturbs less."""
    found = []
    for how, solved in _ways(who, others):
        if solved is None:
            continue
        disturbed = _disturbed_db(feature, others.here, solved)
        if disturbed <= _MOST_CHANGE_DB:
            left = Left(how, left_of(feature, solved))
            found.append((left.is_as_before(feature), disturbed, left))
    return min(found, key=lambda way: way[:2])[2] if found else None


def _ways(who: Blamed, others: Counterfactuals) -> Iterator[tuple[How, Solved | None]]:
    if who.is_around:
        head = who.part.partition(" (")[0]
        if (how := _AROUND.get(head)) is not None:
            yield how, others.around(how)
        return
    yield "opened", others.part(who.value.ref, "opened")
    yield "bridged", others.part(who.value.ref, "bridged")


_AROUND: dict[str, How] = {
    "pickup": "ideal source",
    "cable": "no cable",
    "load": "no load",
    "load capacitance": "no load",
}


def _disturbed_db(feature: Feature, here: Solved, other: Solved) -> float:
    """Return how much the gain changes where the feature's level is told from."""
    at_hz = np.array(feature.reference_hz or (MIDDLE_HZ,))
    before, after = here.roots.response(at_hz), other.roots.response(at_hz)
    with np.errstate(divide="ignore"):
        change = 20 * np.log10(np.abs(after) / np.abs(before))
    return float(np.abs(change).min())
