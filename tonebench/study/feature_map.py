# SPDX-License-Identifier: GPL-3.0-or-later
"""How the features of a curve move while one knob is turned from 0 to 10.

A feature at one position and one of its kind at the next are the same while they are
near in frequency. Draws nothing.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.controls import Knob, Settings, no_such
from tonebench.circuit.hookup import Chain
from tonebench.errors import RequestError
from tonebench.network.nodal import Network
from tonebench.network.roots import Roots, find_roots
from tonebench.study.features import Feature, find_features
from tonebench.study.stability import require_stable

_POSITIONS = np.linspace(0, 10, 41)
_HZ = np.geomspace(10, 24_000, 121)
#: From one position to the next a feature moves by less than this (octaves), and may
#: be missing at one of them; roll-offs, of which there is one at most, are always one.
_STEP_OCTAVES, _NEAR = 0.7, 0.51
_ONE_AT_MOST = ("high-pass", "low-pass")


@dataclass(frozen=True, slots=True)
class Track:
    """One feature over a knob: where it is there, its positions and what it is like."""

    kind: str
    positions: tuple[float, ...]
    features: tuple[Feature, ...]


@dataclass(frozen=True, slots=True, eq=False)
class FeatureMap:
    """All features over one knob, the other controls as they are.

    Attributes
    ----------
    knob : Knob
        The one that is turned.
    setting : mapping
        The position of every control; the knob's own is what changes are told against.
    tracks : tuple of Track
        The features.
    positions, frequency_hz : ndarray, shapes (P,) and (F,)
        Where the curves were looked at.
    change_db : ndarray, shape (P, F)
        Gain against that of the setting; NaN where one of both is silent.
    """

    knob: Knob
    setting: Settings
    tracks: tuple[Track, ...]
    positions: NDArray[np.float64]
    frequency_hz: NDArray[np.float64]
    change_db: NDArray[np.float64]


def feature_map(chain: Chain, knob: str, changes: Settings) -> FeatureMap:
    """Follow every feature while a knob is turned, several inputs driven together.

    Raises
    ------
    RequestError
        If there is no such knob in the chain.
    CircuitError
        If a position leaves the circuit without a solution, or it oscillates.
    """
    knobs = {c.name: c for c in chain.controls if isinstance(c, Knob)}
    if knob not in knobs:
        raise RequestError(no_such("knob", knob, knobs))
    network = Network(chain)
    require_stable(chain, network.setting(changes))
    tracks: list[tuple[list[float], list[Feature]]] = []
    levels = []
    for position in _POSITIONS.tolist():
        roots = find_roots(network, {**changes, knob: position}, drive="together")[0]
        levels.append(_level_db(roots))
        for feature in find_features(roots):
            same = [t for t in tracks if t[1][-1].kind == feature.kind]
            if feature.kind not in _ONE_AT_MOST:
                same = [t for t in same if position - t[0][-1] < _NEAR]
            same = [t for t in same if t[0][-1] < position]
            near = min(same, key=lambda t: _octaves(t[1][-1], feature), default=None)
            is_far = near and _octaves(near[1][-1], feature) > _STEP_OCTAVES
            if near is None or (is_far and feature.kind not in _ONE_AT_MOST):
                tracks.append(([position], [feature]))
                continue
            near[0].append(position)
            near[1].append(feature)
    as_set = _level_db(find_roots(network, changes, drive="together")[0])
    return FeatureMap(
        knob=knobs[knob],
        setting=network.setting(changes),
        tracks=tuple(Track(f[0].kind, tuple(p), tuple(f)) for p, f in tracks),
        positions=_POSITIONS,
        frequency_hz=_HZ,
        change_db=np.array(levels) - as_set,
    )


def _level_db(roots: Roots) -> NDArray[np.float64]:
    magnitude = np.abs(roots.response(_HZ))
    return 20 * np.log10(np.where(magnitude > 0, magnitude, np.nan))


def _octaves(a: Feature, b: Feature) -> float:
    return abs(math.log2(a.frequency_hz / b.frequency_hz))
