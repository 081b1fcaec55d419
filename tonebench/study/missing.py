# SPDX-License-Identifier: GPL-3.0-or-later
"""The pickup's own peak where a circuit has damped it away, and what did that.

A curve shows what is there; a player misses what isn't. The pickup with its lead alone,
into a buffer, has a peak; whether it is still there is asked at the pickup's terminals,
so that no tone control can hide or feign it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.circuit import STRAIGHT
from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import BUFFER_OHM, Chain, Hookup, Pickup, join
from tonebench.circuit.parts import Inductor
from tonebench.errors import CircuitError
from tonebench.network.batch import responses
from tonebench.network.nodal import Network
from tonebench.network.ports import Ports
from tonebench.network.sensitivity import level_slopes
from tonebench.plan.comparison import Side
from tonebench.study.blamed import Blamed, blamed
from tonebench.study.causes import left_of
from tonebench.study.features import Feature
from tonebench.study.without import chain_without, solved

#: A peak lower than this is not heard as one (common practice, no source).
LEAST_PEAK_DB = 1.0
#: What gives back this share of the damped decibels is what damped them.
_SHARE = 0.5
#: A coil in a passive harness sees half of the lead, or twice its inductance.
_NEAR = 1.5
#: The peak's height is told against the level so many times below it.
_BELOW = 16.0


@dataclass(frozen=True, slots=True)
class Missing:
    """A pickup's own peak that isn't there.

    Attributes
    ----------
    input : str
        The input that the pickup stands at.
    alone : Feature
        The peak of the pickup and its lead into a buffer.
    always : bool
        Whether it is missing at every setting that was looked at.
    cause : Blamed or None
        What damps it; None where no single part does.
    back : Feature or None
        The peak at the output once a buffer stands at the input, if that brings it.
    """

    input: str
    alone: Feature
    always: bool
    cause: Blamed | None
    back: Feature | None


def missing_peaks(
    side: Side, setting: Settings, everywhere: Sequence[Settings]
) -> tuple[Missing, ...]:
    """Return the peaks of pickups that are missing at a setting.

    Parameters
    ----------
    side : Side
        The circuit and its hook-up.
    setting : mapping
        Positions of controls.
    everywhere : sequence of mappings
        The settings at which `always` is judged.
    """
    found = []
    for entry in side.chain.sources:
        pickups = side.hookup.pickups
        pickup = pickups.get(entry.input, pickups.get(""))
        if not isinstance(pickup, Pickup):
            continue
        alone = _alone(side, pickup)
        if alone is None:
            continue
        seen = _seen_at_pickup(side.chain, entry.input)
        if seen is None:
            continue
        is_missing = _is_missing(seen, [setting, *everywhere], alone)
        if not is_missing[0]:
            continue
        cause = _cause(side.chain, seen, setting, alone)
        back = _back(side, setting, alone)
        found.append(Missing(entry.input, alone, bool(is_missing.all()), cause, back))
    return tuple(found)


def _alone(side: Side, pickup: Pickup) -> Feature | None:
    """Return the peak of a pickup with its wire and lead into a buffer."""
    hookup = side.hookup
    around = Hookup(
        {"": pickup},
        cable_farad=hookup.cable_farad,
        inner_farad=hookup.inner_farad,
        load_ohm=BUFFER_OHM,
    )
    peaks = [
        feature
        for feature in solved(join(STRAIGHT, around), {}).features
        if feature.kind == "peak" and feature.level_db >= LEAST_PEAK_DB
    ]
    return max(peaks, key=lambda feature: feature.level_db, default=None)


def _seen_at_pickup(chain: Chain, name: str) -> Chain | None:
    """Return a chain whose output is one pickup's terminal."""
    for part in chain.parts:
        if part.ref == f"pickup.{name}" and isinstance(part, Inductor):
            return replace(chain, output=part.across[1])
    return None


def _is_missing(
    seen: Chain, settings: Sequence[Settings], alone: Feature
) -> NDArray[np.bool_]:
    """Return at which settings nothing near the peak's place stands above the rest."""
    near_hz = alone.frequency_hz * np.exp2(np.linspace(-_NEAR, _NEAR, 73))
    at_hz = np.append(near_hz, alone.frequency_hz / _BELOW)
    size = np.abs(responses(Network(seen), settings, at_hz).sum(axis=1))
    with np.errstate(divide="ignore", invalid="ignore"):
        rise_db = 20 * np.log10(size[:, :-1].max(axis=1) / size[:, -1])
    return np.asarray(~(rise_db >= LEAST_PEAK_DB))


def _cause(
    chain: Chain, seen: Chain, setting: Settings, alone: Feature
) -> Blamed | None:
    """Return the part whose value matters most where the peak should be.

    Opened, it must give back at least half of what was lost.
    """
    ports = Ports(Network(seen), setting, [alone.frequency_hz])
    slopes = level_slopes(ports)[:, 0]
    here_db = 20 * math.log10(abs(ports.transfer[0]))
    lost_db = alone.gain_db - here_db
    for k in np.argsort(-np.abs(slopes)):
        value = ports.values[int(k)]
        who = blamed(chain, value)
        if who.part.startswith(("pickup", "cable", "inner wire")):
            continue
        opened = ports.without(value.ref, "opened")
        if opened is None or abs(opened[0]) == 0:
            continue
        if 20 * math.log10(abs(opened[0])) - here_db >= _SHARE * lost_db:
            return who
    return None


def _back(side: Side, setting: Settings, alone: Feature) -> Feature | None:
    chain = chain_without(side, "buffer")
    if chain is None:
        return None
    try:
        found = left_of(alone, solved(chain, setting))
    except CircuitError:
        return None
    return found if found and found.level_db >= LEAST_PEAK_DB else None
