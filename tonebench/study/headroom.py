# SPDX-License-Identifier: GPL-3.0-or-later
"""How much a circuit takes before one of its op-amps clips, setting by setting.

An op-amp rests at `bias` and swings until it stops short of a rail. Told in volts at
the jack, so that it holds behind any pickup. A circuit without op-amps, or without a
supply, never clips here. Says nothing in words.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.controls import Knob, Settings, SwitchControl
from tonebench.circuit.hookup import Chain
from tonebench.circuit.parts import OpAmp
from tonebench.errors import CircuitError
from tonebench.network.inside import Inside

#: Where strings are strong enough to clip anything (common practice, no source).
HEADROOM_HZ: NDArray[np.float64] = np.geomspace(30, 5000, 45)
_MOST_CORNERS = 256


@dataclass(frozen=True, slots=True)
class Headroom:
    """The largest peak at the jack before an op-amp clips, at one setting.

    Attributes
    ----------
    setting : mapping
        The position of every control.
    jack_v : float
        Peak volts at the jack, of a single tone where it takes least.
    ref : str
        The op-amp that clips first.
    at_hz : float
        The frequency of that tone.
    swing_v : float
        How far that op-amp swings to either side.
    """

    setting: Settings
    jack_v: float
    ref: str
    at_hz: float
    swing_v: float


def slew_needed(peak_v: float, frequency_hz: float) -> float:
    """Return how fast an op-amp must slew for a sine, in V/s: 2π·f·V (textbook).

    Examples
    --------
    >>> round(slew_needed(3.0, 20e3) / 1e6, 3)
    0.377
    """
    return 2 * math.pi * frequency_hz * peak_v


def swings(circuit: Circuit, volts: float | None = None) -> dict[str, float]:
    """Return how far each op-amp swings to either side, in volts; not below 0.

    Parameters
    ----------
    circuit : Circuit
        Without a supply: nothing is returned.
    volts : float, optional
        What the battery gives now; the bias keeps its share of it.
    """
    supply = circuit.supply
    if supply is None:
        return {}
    now = supply.volts if volts is None else volts
    share = supply.bias_volts / supply.volts
    side = min(share, 1 - share) * now
    return {
        part.ref: max(0.0, side - part.short_of_rail_v)
        for part in circuit.parts
        if isinstance(part, OpAmp)
    }


class HeadroomMeter:
    """Tells the headroom of one chain at any setting and supply."""

    def __init__(self, chain: Chain) -> None:
        self.chain = chain
        parts = chain.circuit.parts
        self._op_amps = [part for part in parts if isinstance(part, OpAmp)]
        entries = jacks(chain)
        outs = [part.out for part in self._op_amps]
        self._jacks = len(entries)
        self._inside = Inside(chain, [*entries, *outs])

    @property
    def can_clip(self) -> bool:
        """Whether there are op-amps with a supply that is known."""
        return bool(self._op_amps) and self.chain.circuit.supply is not None

    def gains(self, changes: Settings) -> NDArray[np.float64]:
        """Return volts at each op-amp's output per volt at the jack, (op-amps, F)."""
        volts = np.abs(self._inside.response(changes, HEADROOM_HZ))
        jack, outputs = volts[: self._jacks].max(axis=0), volts[self._jacks :]
        return np.asarray(outputs / np.maximum(jack, 1e-15))

    def at(self, changes: Settings, volts: float | None = None) -> Headroom | None:
        """Return the headroom at a setting; None if nothing can clip."""
        if not self.can_clip:
            return None
        swing = swings(self.chain.circuit, volts)
        limits = np.array([swing[part.ref] for part in self._op_amps])
        gains = np.maximum(self.gains(changes), 1e-9)
        jack_v = limits[:, None] / gains
        worst, at = np.unravel_index(int(jack_v.argmin()), jack_v.shape)
        part = self._op_amps[int(worst)]
        return Headroom(
            setting=self.chain.setting(changes),
            jack_v=float(jack_v[worst, at]),
            ref=part.ref,
            at_hz=float(HEADROOM_HZ[at]),
            swing_v=swing[part.ref],
        )

    def least(
        self, settings: Sequence[Settings], volts: float | None = None
    ) -> Headroom | None:
        """Return the least headroom of several settings; those unsolved left out."""
        found = []
        for changes in settings:
            try:
                here = self.at(changes, volts)
            except CircuitError:
                continue
            if here is not None:
                found.append(here)
        return min(found, key=lambda here: here.jack_v, default=None)


def jacks(chain: Chain) -> list[str]:
    """Return the nodes where the instrument is plugged in, behind what drives them."""
    behind = {
        part.across[0]: part.across[1]
        for part in chain.parts
        if part.ref.startswith(("pickup.", "source.")) and hasattr(part, "across")
    }
    return [behind.get(source.node, source.node) for source in chain.sources]


def headroom(
    chain: Chain, changes: Settings, volts: float | None = None
) -> Headroom | None:
    """Return the largest peak at the jack before an op-amp clips; None if none can.

    Parameters
    ----------
    chain : Chain
        The circuit with its hook-up; the circuit's own op-amps are looked at.
    changes : mapping
        Positions of controls; those left out stand where they start.
    volts : float, optional
        What the battery gives now; default: the circuit's supply.
    """
    return HeadroomMeter(chain).at(changes, volts)


def one_turned(chain: Chain, changes: Settings) -> tuple[Settings, ...]:
    """Return settings with one control at an end, the others as they are."""
    found: list[Settings] = []
    for control in chain.circuit.controls:
        found += [{**changes, control.name: end} for end in _ends(control)]
    return tuple(found)


def corners(chain: Chain) -> tuple[Settings, ...]:
    """Return settings with every control at an end, 256 at most."""
    controls = chain.circuit.controls
    every = itertools.product(*(_ends(control) for control in controls))
    some = itertools.islice(every, _MOST_CORNERS)
    names = [control.name for control in controls]
    return tuple(dict(zip(names, ends, strict=True)) for ends in some)


def _ends(control: Knob | SwitchControl) -> Sequence[float | str]:
    return (0.0, 10.0) if isinstance(control, Knob) else control.positions
