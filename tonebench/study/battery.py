# SPDX-License-Identifier: GPL-3.0-or-later
"""What a battery's reading means for the player: fine, nearly, or change it.

Compares the headroom at the reading with how hard strings are played, and reckons how
long a fresh battery lasts down to where that matters. Says nothing in words.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tonebench.circuit.circuit import Supply
from tonebench.circuit.controls import Knob, Settings
from tonebench.errors import RequestError
from tonebench.study.headroom import Headroom, HeadroomMeter, swings

#: Peaks at the jack of a passive instrument: the loudest notes, and usual ones (common
#: practice, no source: 0.1 to 0.3 V is typical, hard strokes pass 1 V).
LOUDEST_V, USUAL_V = 1.0, 0.3
#: What a 9 V alkaline block holds, in ampere hours, by how hard it is drawn on (common
#: practice, no source).
BLOCK_AH = (0.4, 0.6)
_BLOCK_V = 9.0
#: What is left in an alkaline block at a voltage under light load, as a share (common
#: practice, no source).
_LEFT = (
    (5.4, 0.0),
    (6.0, 0.08),
    (6.6, 0.2),
    (7.2, 0.42),
    (7.8, 0.7),
    (8.4, 0.9),
    (9.3, 1.0),
)
#: Below this share of its supply a circuit isn't counted on.
_LEAST_SHARE = 0.6
#: A reading above this share of the supply is of another battery.
_MOST_SHARE = 1.2

State = Literal["fine", "loudest", "change"]


@dataclass(frozen=True, slots=True)
class KnobLimit:
    """From where on a knob makes the loudest notes clip, the others as they are.

    It clips from `position` up to 10 where `is_above`, else from 0 up to `position`.
    """

    knob: Knob
    position: float
    is_above: bool


@dataclass(frozen=True, slots=True)
class Reading:
    """What a reading means at one setting.

    Attributes
    ----------
    volts : float
        The reading.
    state : {"fine", "loudest", "change"}
        No note clips with any knob alone; only the loudest do, with some knobs turned;
        notes clip with the knobs as they are, or nothing works any more.
    headroom : Headroom
        As the knobs are, at this reading.
    loudest_v : float
        The peak of the loudest notes at the jack that this is told against.
    limits, fresh_limits : tuple of KnobLimit
        Where knobs make the loudest notes clip: now, and with a fresh battery.
    is_flat : bool
        Whether a battery is flat at this reading, whatever clips.
    is_of_take : bool
        Whether the loudest notes are a take's, told as the tone that fills as much.
    """

    volts: float
    state: State
    headroom: Headroom
    loudest_v: float
    limits: tuple[KnobLimit, ...]
    fresh_limits: tuple[KnobLimit, ...]
    is_flat: bool
    is_of_take: bool = False


@dataclass(frozen=True, slots=True)
class Life:
    """How long a fresh battery lasts.

    Attributes
    ----------
    hours : tuple of float
        Least and most, down to `until_v`.
    until_v : float
        Where it ends, in volts.
    is_by_clipping : bool
        Whether it ends because the loudest notes clip as the knobs are, rather than
        because a battery is flat there.
    """

    hours: tuple[float, float]
    until_v: float
    is_by_clipping: bool


def read_battery(
    meter: HeadroomMeter,
    changes: Settings,
    volts: float,
    loudest_v: float = LOUDEST_V,
) -> Reading:
    """Return what a battery's reading means.

    Parameters
    ----------
    meter : HeadroomMeter
        Of the chain; it must be able to clip.
    changes : mapping
        Positions of controls; those left out stand where they start.
    volts : float
        The reading, while the circuit is on.
    loudest_v : float
        The peak of the loudest notes at the jack.

    Raises
    ------
    RequestError
        If the reading can't be of this circuit's battery, or nothing can clip.
    """
    circuit = meter.chain.circuit
    if circuit.supply is None or not meter.can_clip:
        raise RequestError(
            f"{circuit.name} has no {'op-amp' if circuit.supply else 'supply'}, "
            "so a battery's reading says nothing of it"
        )
    drawn_v = circuit.supply.volts
    if not 0 < volts <= _MOST_SHARE * drawn_v:
        raise RequestError(
            f"battery must be above 0 V and at most {_MOST_SHARE * drawn_v:.3g} V, "
            f"since {circuit.name} is drawn for {drawn_v:g} V, got {volts:g}"
        )
    here = meter.at(changes, volts)
    assert here is not None  # it can clip
    limits = knob_limits(meter, changes, volts, loudest_v)
    fresh = knob_limits(meter, changes, max(volts, drawn_v), loudest_v)
    state: State = "loudest" if limits else "fine"
    is_flat = volts < _LEAST_SHARE * drawn_v
    if here.jack_v < loudest_v or is_flat:
        state = "change"
    return Reading(volts, state, here, loudest_v, limits, fresh, is_flat)


def knob_limits(
    meter: HeadroomMeter, changes: Settings, volts: float, loudest_v: float
) -> tuple[KnobLimit, ...]:
    """Return from where on each knob, turned alone, makes the loudest notes clip.

    Knobs with which they clip wherever they stand have no limit, nor have those that
    don't matter.
    """
    limits = []
    for knob in meter.chain.circuit.knobs:
        stands = float(meter.chain.setting(changes)[knob.name])
        for end in (0.0, 10.0):
            at = _limit(meter, {**changes}, knob.name, (stands, end), volts, loudest_v)
            if at is not None:
                limits.append(KnobLimit(knob, at, is_above=end > stands))
    return tuple(limits)


def _limit(
    meter: HeadroomMeter,
    changes: dict[str, float | str],
    name: str,
    way: tuple[float, float],
    volts: float,
    loudest_v: float,
) -> float | None:
    """Return where on its way from where it stands a knob first makes notes clip."""

    def takes(position: float) -> bool:
        found = meter.at({**changes, name: position}, volts)
        return found is None or found.jack_v >= loudest_v

    inside, outside = way
    if inside == outside or not takes(inside) or takes(outside):
        return None
    for _ in range(6):
        middle = (inside + outside) / 2
        inside, outside = (middle, outside) if takes(middle) else (inside, middle)
    return inside


def battery_life(
    meter: HeadroomMeter, changes: Settings, loudest_v: float = LOUDEST_V
) -> Life | None:
    """Return how long a fresh battery lasts; None if draw or battery aren't known.

    It ends where the loudest notes clip as the knobs are, or, if they clip anyway or
    not even then, where a circuit isn't counted on any more.
    """
    supply = meter.chain.circuit.supply
    if supply is None or not supply.draw_ampere:
        return None
    blocks = round(supply.volts / _BLOCK_V)
    if blocks < 1 or abs(supply.volts - blocks * _BLOCK_V) > 1e-6:
        return None
    until = _LEAST_SHARE * supply.volts
    clips_at = _clips_at(meter, changes, loudest_v, supply)
    is_by_clipping = clips_at is not None and until < clips_at < supply.volts
    until = clips_at if is_by_clipping and clips_at is not None else until
    volts, left = np.array(_LEFT).T
    used = 1 - float(np.interp(until / blocks, volts, left))
    hours = [used * capacity / supply.draw_ampere for capacity in BLOCK_AH]
    return Life((hours[0], hours[1]), until, is_by_clipping)


def _clips_at(
    meter: HeadroomMeter, changes: Settings, loudest_v: float, supply: Supply
) -> float | None:
    """Return the battery's volts at which the loudest notes begin to clip."""
    low, high = 0.0, supply.volts

    def takes(volts: float) -> bool:
        found = meter.at(changes, volts)
        return found is None or found.jack_v >= loudest_v

    if not takes(high):
        return high
    if not any(swings(meter.chain.circuit, high).values()):
        return None
    for _ in range(10):
        middle = (low + high) / 2
        low, high = (low, middle) if takes(middle) else (middle, high)
    return high


def loudest_first(limits: Sequence[KnobLimit]) -> tuple[KnobLimit, ...]:
    """Return the limits that leave least, first."""
    return tuple(
        sorted(limits, key=lambda at: at.position if at.is_above else 10 - at.position)
    )
