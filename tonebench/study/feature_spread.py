# SPDX-License-Identifier: GPL-3.0-or-later
"""Where a curve's features lie in builds whose parts are a little off.

Features are looked for one build at a time, so only in some of them. Knows nothing of
which part is behind one.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tonebench.network.builds import Builds
from tonebench.study.features import Feature, find_features
from tonebench.study.tolerance import PartTolerance, factors, nine_of_ten

Real = NDArray[np.float64]

#: Builds whose features are looked for.
_FEATURE_BUILDS = 80
#: Two features of one kind are the same one while they are this near.
_SAME_OCTAVES = 1.0


@dataclass(frozen=True, slots=True)
class FeatureSpread:
    """Where a feature lies in nine builds of ten, and in which share it is there."""

    drawn: Feature
    frequency_hz: tuple[float, float]
    level_db: tuple[float, float]
    there: float


def feature_spread(
    many: Builds, parts: Sequence[PartTolerance], off: Real
) -> tuple[FeatureSpread, ...]:
    """Return where the drawing's features lie in the first of some builds.

    Parameters
    ----------
    many : Builds
        The network, its parts varying.
    parts : sequence of PartTolerance
        Their tolerances, in the order of its designators.
    off : ndarray, shape (B, parts)
        How far each part of each build is off, −1 to 1 of its tolerance.
    """
    drawn = find_features(many.roots(np.ones((1, len(many.refs)))).one(0))
    some = many.roots(factors(parts, off[:_FEATURE_BUILDS]))
    there = [find_features(some.one(k)) for k in range(len(some.gains))]
    found = []
    for feature in drawn:
        same = [near for features in there if (near := _nearest(feature, features))]
        if same:
            hz = nine_of_ten(np.array([near.frequency_hz for near in same]))
            level = nine_of_ten(np.array([near.level_db for near in same]))
            share = len(same) / len(there)
            found.append(FeatureSpread(feature, hz, level, share))
    return tuple(found)


def _nearest(drawn: Feature, features: Sequence[Feature]) -> Feature | None:
    """Return which of a build's features is the drawn one, if it has it."""
    same = [f for f in features if f.kind == drawn.kind]

    def octaves(feature: Feature) -> float:
        return abs(math.log2(feature.frequency_hz / drawn.frequency_hz))

    nearest = min(same, key=octaves, default=None)
    if nearest is None or octaves(nearest) > _SAME_OCTAVES:
        return None
    return nearest
