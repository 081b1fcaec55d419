# SPDX-License-Identifier: GPL-3.0-or-later
"""How much a circuit hisses, as the ear weighs it, and which part makes most of it.

Weighs the network's noise with the A curve of IEC 61672-1 and adds it up over what is
heard. Knows no words, and no take.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonebench.circuit.controls import Knob, Settings
from tonebench.circuit.hookup import Chain
from tonebench.network.nodal import Network
from tonebench.network.noise import ROOM_KELVIN, Origin, noise
from tonebench.network.response import response
from tonebench.units import DBU_VOLTS_RMS, to_db

Real = NDArray[np.float64]

#: What noise is added up over, 20 Hz to 20 kHz.
HISS_HZ: Real = np.geomspace(20, 20_000, 481)
#: Treble is looked at here, and told against the middle.
_MIDDLE_HZ, _TREBLE_HZ = 500.0, 5_000.0
_LEAST_TREBLE_DB = 1.0


@dataclass(frozen=True, slots=True)
class Share:
    """What one source adds to the A-weighted noise alone, in volts rms."""

    ref: str
    origin: Origin
    weighted_v: float


@dataclass(frozen=True, slots=True, eq=False)
class Hiss:
    """The noise at the output at one setting.

    Attributes
    ----------
    setting : mapping
        The position of every control.
    frequency_hz, density_v : ndarray, shape (F,)
        The spectrum at the output, in V/√Hz.
    weighted_v, plain_v : float
        Volts rms from 20 Hz to 20 kHz, A-weighted and as it is.
    shares : tuple of Share
        By source, the loudest first.
    """

    setting: Settings
    frequency_hz: Real
    density_v: Real
    weighted_v: float
    plain_v: float
    shares: tuple[Share, ...]

    @property
    def weighted_dbu(self) -> float:
        """The A-weighted noise in dBu."""
        return to_db(self.weighted_v / DBU_VOLTS_RMS)


def a_weighting_db(frequency_hz: ArrayLike) -> Real:
    """Return the A weighting of IEC 61672-1 (Annex E), 0 dB at 1 kHz.

    Examples
    --------
    >>> float(a_weighting_db(1000.0).round(12))
    0.0
    """
    square = np.asarray(frequency_hz, dtype=float) ** 2

    def raw(f2: Real) -> Real:
        top = _F4**2 * f2**2
        middle = np.sqrt((f2 + _F2**2) * (f2 + _F3**2))
        return np.asarray(top / ((f2 + _F1**2) * middle * (f2 + _F4**2)))

    return np.asarray(20 * np.log10(raw(square) / raw(np.array(1e6))))


def _corners() -> tuple[float, float, float, float]:
    """Return the pole frequencies in Hz, from the standard's design goals."""
    low, high, middle = 10**1.5, 10**3.9, 1000.0
    c = low**2 * high**2
    d = math.sqrt(0.5)
    b = (middle**2 + c / middle**2 - d * (low**2 + high**2)) / (1 - d)
    root = math.sqrt(b**2 - 4 * c)
    fourth = 10**2.45
    return (
        math.sqrt((-b - root) / 2),
        fourth * (3 - math.sqrt(5)) / 2,
        fourth * (3 + math.sqrt(5)) / 2,
        math.sqrt((-b + root) / 2),
    )


_F1, _F2, _F3, _F4 = _corners()


def hiss(
    chain: Chain, changes: Settings, temperature_kelvin: float = ROOM_KELVIN
) -> Hiss:
    """Return the noise of a chain at one setting, its strings at rest."""
    network = Network(chain)
    found = noise(network, changes, HISS_HZ, temperature_kelvin)
    weight = 10 ** (a_weighting_db(HISS_HZ) / 10)
    by_source: dict[tuple[str, Origin], float] = {}
    for source in found.sources:
        key = source.ref, source.origin
        added = _added_up(source.power * weight)
        by_source[key] = by_source.get(key, 0.0) + added
    ranked = sorted(by_source.items(), key=lambda entry: -entry[1])
    return Hiss(
        setting=network.setting(changes),
        frequency_hz=HISS_HZ,
        density_v=np.sqrt(found.power),
        weighted_v=math.sqrt(_added_up(found.power * weight)),
        plain_v=math.sqrt(_added_up(found.power)),
        shares=tuple(Share(*key, math.sqrt(power)) for key, power in ranked if power),
    )


def _added_up(power: Real) -> float:
    return float(np.trapezoid(power, HISS_HZ))


def treble_setting(chain: Chain, changes: Settings) -> Settings | None:
    """Return the setting with the knob at the end that lifts treble most.

    Treble is lifted where 5 kHz rises by 1 dB or more, and by 1 dB more than 500 Hz
    does; None if no knob does that from where it stands.
    """
    network = Network(chain)
    start = _two_levels(network, changes)
    best: tuple[float, Settings] | None = None
    for control in _knobs(network.chain):
        for end in (0.0, 10.0):
            turned = {**changes, control.name: end}
            middle, treble = (_two_levels(network, turned) - start).tolist()
            is_lift = treble >= max(_LEAST_TREBLE_DB, middle + _LEAST_TREBLE_DB)
            if is_lift and (best is None or treble > best[0]):
                best = treble, turned
    return None if best is None else best[1]


def _knobs(chain: Chain) -> Sequence[Knob]:
    return [control for control in chain.controls if isinstance(control, Knob)]


def _two_levels(network: Network, setting: Settings) -> Real:
    answer = response(network, setting, [_MIDDLE_HZ, _TREBLE_HZ]).sum(axis=0)
    return np.asarray(20 * np.log10(np.maximum(np.abs(answer), 1e-15)))
