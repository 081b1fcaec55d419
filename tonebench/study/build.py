# SPDX-License-Identifier: GPL-3.0-or-later
"""The check sheet of a build as one value: parts, spread, hiss, headroom, battery.

Only calls what computes each of them, at one setting and at those beside it. Says
nothing in words.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from tonebench.audio.take import Take
from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain
from tonebench.errors import RequestError
from tonebench.study.battery import (
    LOUDEST_V,
    Life,
    Reading,
    battery_life,
    read_battery,
)
from tonebench.study.headroom import Headroom, HeadroomMeter, corners, one_turned
from tonebench.study.hiss import Hiss, hiss, treble_setting
from tonebench.study.parts_list import PartLine, parts_list
from tonebench.study.played import Played, played
from tonebench.study.spread import BUILDS, Spread, spread
from tonebench.study.stability import require_stable
from tonebench.study.tolerance import asked_shares, tolerances

#: A tired battery's share of its volts, for the headroom beside the fresh one's.
TIRED = 0.8


@dataclass(frozen=True, slots=True)
class HeadroomCard:
    """Headroom as the knobs are, at its least, and with a tired battery.

    `one` is the least with one control turned to an end, `any` with all of them
    anywhere at their ends; `tired` is as the knobs are, at `tired_v` volts.
    """

    here: Headroom
    one: Headroom | None
    any: Headroom | None
    tired: Headroom
    tired_one: Headroom | None
    tired_v: float


@dataclass(frozen=True, slots=True)
class Build:
    """What a build of a circuit will be like, at one setting of its knobs.

    `treble` is the hiss with the knob up that lifts treble most, `headroom`, `reading`
    and `life` are None where there is no op-amp or no supply, `played` without a take.
    """

    chain: Chain
    setting: Settings
    parts: tuple[PartLine, ...]
    spread: Spread
    hiss: Hiss
    treble: Hiss | None
    headroom: HeadroomCard | None
    life: Life | None
    reading: Reading | None
    take: Take | None
    played: Played | None


def build(
    chain: Chain,
    changes: Settings | None = None,
    *,
    asked_tolerances: Mapping[str, str] | None = None,
    builds: int = BUILDS,
    take: Take | None = None,
    battery_v: float | None = None,
) -> Build:
    """Return what a build of a chain's circuit will be like.

    Parameters
    ----------
    chain : Chain
        The circuit with its hook-up.
    changes : mapping, optional
        Positions of controls; those left out stand where they start.
    asked_tolerances : mapping, optional
        Tolerances as a person writes them, by designator or kind ("5%").
    builds : int
        How many are drawn by lot.
    take : Take, optional
        What is played; calibrated, so that it can be held against noise and headroom.
    battery_v : float, optional
        A meter's reading of the battery.

    Raises
    ------
    RequestError
        For a tolerance or a reading that can't be; if nothing comes out.
    CircuitError
        If the setting leaves the circuit without a solution, or it oscillates.
    """
    changes, circuit = changes or {}, chain.circuit
    if not circuit.parts:
        raise RequestError(f"{circuit.name} has no parts, so there is nothing to build")
    setting = chain.setting(changes)
    require_stable(chain, setting)
    parts = tolerances(circuit, asked_shares(circuit, asked_tolerances or {}))
    treble = treble_setting(chain, changes)
    quiet = hiss(chain, changes)
    meter = HeadroomMeter(chain)
    heard = None if take is None else played(take, chain, changes, quiet)
    loudest_v = LOUDEST_V if heard is None else _as_a_tone(meter, changes, heard)
    reading = None
    if battery_v is not None:
        reading = read_battery(meter, changes, battery_v, loudest_v)
        reading = replace(reading, is_of_take=heard is not None)
    return Build(
        chain=chain,
        setting=setting,
        parts=parts_list(chain, changes, parts),
        spread=spread(chain, changes, parts, builds=builds),
        hiss=quiet,
        treble=None if treble is None else hiss(chain, treble),
        headroom=_headroom(meter, changes),
        life=battery_life(meter, changes, loudest_v) if meter.can_clip else None,
        reading=reading,
        take=take,
        played=heard,
    )


def _as_a_tone(meter: HeadroomMeter, changes: Settings, heard: Played) -> float:
    """Return the single tone at the jack that fills an op-amp as a take does.

    Headroom is told of the tone that clips first; a take of the same peak, whose
    strength lies elsewhere, needs less of it. Exact at this setting, near beside it.
    """
    here, near = meter.at(changes), heard.nearest
    if here is None or near is None:
        return heard.jack_peak_v
    return here.jack_v * near.peak_v / near.swing_v


def _headroom(meter: HeadroomMeter, changes: Settings) -> HeadroomCard | None:
    here, supply = meter.at(changes), meter.chain.circuit.supply
    if here is None or supply is None:
        return None
    tired_v = TIRED * supply.volts
    tired = meter.at(changes, tired_v)
    assert tired is not None  # it can clip
    turned = one_turned(meter.chain, changes)
    return HeadroomCard(
        here=here,
        one=meter.least(turned),
        any=_told_short(meter, changes, meter.least(corners(meter.chain))),
        tired=tired,
        tired_one=meter.least(turned, tired_v),
        tired_v=tired_v,
    )


def _told_short(
    meter: HeadroomMeter, changes: Settings, least: Headroom | None
) -> Headroom | None:
    """Leave controls as they are that don't matter to the least headroom."""
    if least is None:
        return None
    setting, start = dict(least.setting), meter.chain.setting(changes)
    for name in setting:
        kept = meter.at({**setting, name: start[name]})
        if kept is not None and kept.jack_v <= 1.01 * least.jack_v:
            setting, least = {**setting, name: start[name]}, kept
    return least
