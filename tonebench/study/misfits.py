# SPDX-License-Identifier: GPL-3.0-or-later
"""Which feature is behind a misfit: what one curve has there and the other has not.

Knows curves and features, no parts.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain
from tonebench.errors import CircuitError
from tonebench.study.features import Feature
from tonebench.study.nearest import Misfit
from tonebench.study.without import solved

#: Two features this near to each other, in octaves and dB, are the same.
_SAME_OCTAVES, _SAME_DB = 0.15, 1.0
#: A feature is behind a misfit no further away than this.
_NEAR_OCTAVES = 1.0


@dataclass(frozen=True, slots=True)
class Behind:
    """A misfit with the feature behind it, and on which side that is; None: neither."""

    misfit: Misfit
    letter: Literal["a", "b"]
    feature: Feature | None


def features_behind(
    a: Chain,
    setting_a: Settings,
    b: Chain,
    setting_b: Settings,
    misfits: Sequence[Misfit],
) -> tuple[Behind, ...]:
    """Return every misfit with the feature that A or B alone has near to it."""
    of_a, of_b = _features(a, setting_a), _features(b, setting_b)
    alone: list[tuple[Literal["a", "b"], Feature]] = []
    alone += [("a", f) for f in of_a if not any(_is_same(f, g) for g in of_b)]
    alone += [("b", f) for f in of_b if not any(_is_same(f, g) for g in of_a)]
    found = []
    for misfit in misfits:
        near = [
            (abs(math.log2(f.frequency_hz / misfit.frequency_hz)), letter, f)
            for letter, f in alone
            if _fits(letter, f, misfit)
        ]
        near = [entry for entry in near if entry[0] <= _NEAR_OCTAVES]
        if near:
            _, letter, feature = min(near, key=lambda entry: entry[0])
            found.append(Behind(misfit, letter, feature))
        else:
            found.append(Behind(misfit, "a", None))
    return tuple(found)


def _features(chain: Chain, setting: Settings) -> tuple[Feature, ...]:
    try:
        return solved(chain, setting).features
    except CircuitError:
        return ()


def _is_same(one: Feature, other: Feature) -> bool:
    return (
        one.kind == other.kind
        and abs(math.log2(one.frequency_hz / other.frequency_hz)) < _SAME_OCTAVES
        and (
            one.kind in ("high-pass", "low-pass")
            or abs(one.level_db - other.level_db) < _SAME_DB
        )
    )


def _fits(letter: Literal["a", "b"], feature: Feature, misfit: Misfit) -> bool:
    """Return whether a feature works the way a misfit goes: B − A."""
    raises = {
        "peak": True,
        "dip": False,
        "shelf": feature.level_db > 0,
        "high-pass": False,
        "low-pass": False,
    }[feature.kind]
    outside = {
        "high-pass": misfit.frequency_hz < 1.5 * feature.frequency_hz,
        "low-pass": misfit.frequency_hz > feature.frequency_hz / 1.5,
    }.get(feature.kind, True)
    return outside and (misfit.difference_db > 0) == (raises == (letter == "b"))
