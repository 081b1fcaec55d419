# SPDX-License-Identifier: GPL-3.0-or-later
"""Features looked for between the settings of a grid, where they are at their extremes.

Where a feature is highest, lowest, faintest or strongest on the grid, the places half
way to its neighbours are looked at too, and closer and closer while that goes on
getting more extreme. Knows no parts and no words.
"""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from tonebench.circuit.controls import Control, Knob, Settings
from tonebench.errors import CircuitError
from tonebench.network.nodal import Network
from tonebench.network.roots import Roots, find_roots
from tonebench.study.features import Feature

Steps = tuple[int, ...]

#: How far apart a feature's places may be at neighbouring settings, in octaves.
SAME_OCTAVES = 1.5
#: Roll-offs: there is one of a kind at most.
ROLL_OFFS = ("high-pass", "low-pass")
#: What counts as more extreme: octaves, and dB.
_LEAST_OCTAVES, _LEAST_DB = 0.03, 0.3
_MOST_LOOKS = 60
_ROUNDS = 3


@dataclass(frozen=True, slots=True)
class Seen:
    """A feature as it is at some settings, and how many of those are without it."""

    features: tuple[Feature, ...]
    missing: int


class Between:
    """Looks at single settings between those of a grid, each once, not too many."""

    def __init__(
        self,
        network: Network,
        controls: Sequence[Control],
        read: Callable[[Roots], tuple[Feature, ...]],
    ) -> None:
        self.network, self.controls, self.read = network, controls, read
        self.known: dict[tuple[float | str, ...], list[Roots] | None] = {}

    def features(self, setting: Settings, k: int) -> tuple[Feature, ...] | None:
        """Return the features of one input; None if it is silent, or not looked at."""
        key = tuple(setting[control.name] for control in self.controls)
        if key not in self.known:
            if len(self.known) >= _MOST_LOOKS:
                return None
            try:
                self.known[key] = list(find_roots(self.network, setting))
            except CircuitError:
                self.known[key] = None
        roots = self.known[key]
        if roots is None or roots[k].is_silent:
            return None
        return self.read(roots[k])

    def seen(
        self,
        settings: Mapping[Steps, Settings],
        members: Mapping[Steps, Feature],
        k: int,
    ) -> Seen:
        """Look at one feature of input `k` around its extremes.

        Parameters
        ----------
        settings : mapping
            The settings of the grid by their steps.
        members : mapping
            The feature at those where it is.
        """
        found: list[Feature] = []
        missing = 0
        for measure, least in _measures(members):
            at = max(members, key=lambda at: measure(members[at]))
            for axis, control in enumerate(self.controls):
                if not isinstance(control, Knob):
                    continue
                for step in (-1, 1):
                    beside = (*at[:axis], at[axis] + step, *at[axis + 1 :])
                    if beside not in members:
                        continue
                    away = abs(measure(members[beside]) - measure(members[at]))
                    if away < least:
                        continue
                    ends = settings[at], settings[beside]
                    features, gone = self._closer(
                        ends, control.name, members[at], k, (measure, least)
                    )
                    found += features
                    missing += gone
        return Seen(tuple(found), missing)

    def _closer(
        self,
        ends: tuple[Settings, Settings],
        name: str,
        feature: Feature,
        k: int,
        how: tuple[Callable[[Feature], float], float],
    ) -> tuple[list[Feature], int]:
        """Halve the way from an extreme to its neighbour while that finds more."""
        measure, least = how
        at, there = (float(end[name]) for end in ends)
        found: list[Feature] = []
        step = (there - at) / 2
        tried = [at + step]
        for turn in range(_ROUNDS):
            best, best_at = feature, at
            for position in tried:
                features = self.features({**ends[0], name: position}, k)
                if features is None:
                    continue
                same = _same(feature, features)
                if same is None:
                    return found, 1
                found.append(same)
                if measure(same) > measure(best):
                    best, best_at = same, position
            if turn and measure(best) < measure(feature) + least:
                break
            feature, at, step = best, best_at, step / 2
            tried = (
                [at - step, at + step] if at != float(ends[0][name]) else [at + step]
            )
        return found, 0


def _place(sign: float, feature: Feature) -> float:
    return sign * math.log2(feature.frequency_hz)


def _size(sign: float, feature: Feature) -> float:
    return sign * abs(feature.level_db)


def _measures(
    members: Mapping[Steps, Feature],
) -> Iterator[tuple[Callable[[Feature], float], float]]:
    """Yield what is made greatest, and by how much it must grow to count."""
    first = next(iter(members.values()))
    for sign in (-1.0, 1.0):
        yield partial(_place, sign), _LEAST_OCTAVES
        if first.kind not in ROLL_OFFS:
            yield partial(_size, sign), _LEAST_DB


def _same(feature: Feature, among: Sequence[Feature]) -> Feature | None:
    """Return the feature among others that is the same one at another setting."""
    alike = [each for each in among if each.kind == feature.kind]
    if not alike or feature.kind in ROLL_OFFS:
        return alike[0] if alike else None

    def octaves(each: Feature) -> float:
        return abs(math.log2(each.frequency_hz / feature.frequency_hz))

    nearest = min(alike, key=octaves)
    return nearest if octaves(nearest) <= SAME_OCTAVES else None
