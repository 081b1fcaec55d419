# SPDX-License-Identifier: GPL-3.0-or-later
"""What a circuit does to each harmonic of a note, stiff strings included.

A string's harmonics are a little sharp: f_n = n·f₀·√(1 + B·n²). How strong they are in
themselves is the player's; here is what becomes of them. Knows no recording.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.take import open_strings_hz
from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain
from tonebench.errors import RequestError
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.study.stability import require_stable

Real = NDArray[np.float64]

#: B of an open string (common practice, no source), and of an open low B: at its octave
#: it is four times as much, and the tenth partial a semitone sharp (J. A. Kemp, SN
#: Applied Sciences 2, 636, 2020: about 100 cents, so B there is 1.22e-3).
USUAL_STIFFNESS, LOW_STIFFNESS = 1e-4, 3e-4
_LOW_HZ = 40.0
_MOST_STIFFNESS = 0.1
#: Harmonics are told up to here, where fingers and strings still reach.
_UP_TO_HZ = 8000.0
_MOST_HARMONICS = 64


@dataclass(frozen=True, slots=True, eq=False)
class NoteLevels:
    """Each harmonic of one note, through A and perhaps through B.

    Attributes
    ----------
    note : str
        As it was asked for ("B0").
    fundamental_hz, stiffness : float
        The pitch without stiffness, and B.
    frequency_hz : ndarray, shape (N,)
        Of harmonic 1, 2, 3, …
    levels_db : tuple of ndarray, shape (N,)
        By side: the output over the pickup's own voltage, in dB.
    """

    note: str
    fundamental_hz: float
    stiffness: float
    frequency_hz: Real
    levels_db: tuple[Real, ...]

    @property
    def offset_db(self) -> float:
        """B − A nearly everywhere: the median over the harmonics."""
        return float(np.median(self.levels_db[1] - self.levels_db[0]))

    @property
    def difference_db(self) -> Real:
        """B − A of each harmonic, that offset taken out, shape (N,)."""
        return self.levels_db[1] - self.levels_db[0] - self.offset_db


def harmonics_hz(fundamental_hz: float, stiffness: float, count: int) -> Real:
    """Return the frequencies of the first harmonics of a stiff string.

    f_n = n·f₀·√(1 + B·n²) (H. Fletcher, J. Acoust. Soc. Am. 36, 1964).

    Examples
    --------
    >>> harmonics_hz(100.0, 0.0, 3).tolist()
    [100.0, 200.0, 300.0]
    """
    n = np.arange(1, count + 1)
    return np.asarray(n * fundamental_hz * np.sqrt(1 + stiffness * n**2))


def note_levels(
    notes: Sequence[str],
    sides: Sequence[tuple[Chain, Settings]],
    stiffness: float | None = None,
) -> tuple[NoteLevels, ...]:
    """Return the harmonics of notes through one chain, or through A and B.

    Parameters
    ----------
    notes : sequence of str
        Notes such as "B0" or "F#1".
    sides : sequence of (Chain, Settings)
        A, or A and B. Several inputs are driven together.
    stiffness : float, optional
        B of the string; default: what is usual for the note.

    Raises
    ------
    RequestError
        If a note isn't one, nothing comes out, or the stiffness can't be a string's.
    CircuitError
        If a side oscillates.
    """
    if stiffness is not None and not 0 <= stiffness <= _MOST_STIFFNESS:
        raise RequestError(
            f"stiffness must be from 0 to {_MOST_STIFFNESS:g}, got {stiffness:g}; "
            "a string has about 0.0001"
        )
    for chain, setting in sides:
        require_stable(chain, chain.setting(setting))
    networks = [(Network(chain), setting) for chain, setting in sides]
    found = []
    for note in notes:
        (pitch_hz,) = _pitch(note)
        usual = LOW_STIFFNESS if pitch_hz < _LOW_HZ else USUAL_STIFFNESS
        bend = usual if stiffness is None else stiffness
        hz = harmonics_hz(pitch_hz, bend, _MOST_HARMONICS)
        hz = hz[: max(1, int(np.sum(hz <= _UP_TO_HZ)))]
        levels = [_level_db(network, setting, hz) for network, setting in networks]
        found.append(NoteLevels(note, pitch_hz, bend, hz, tuple(levels)))
    return tuple(found)


def _pitch(note: str) -> tuple[float]:
    try:
        (pitch_hz,) = open_strings_hz(note)
    except ValueError:
        raise RequestError(
            f"'{note}' is no note; write it like B0, F#1 or Eb2"
        ) from None
    return (pitch_hz,)


def _level_db(network: Network, setting: Settings, hz: Real) -> Real:
    magnitude = np.abs(response(network, setting, hz).sum(axis=0))
    if not magnitude.any():
        name = network.chain.circuit.name
        raise RequestError(f"nothing comes out of {name} here; turn something up")
    return np.asarray(20 * np.log10(np.maximum(magnitude, 1e-15)))


def cents_sharp(stiffness: float, number: int) -> float:
    """Return how sharp a harmonic is, in cents: 1200·log2 √(1 + B·n²).

    Examples
    --------
    >>> round(cents_sharp(1e-4, 10), 3)
    8.613
    """
    return 600 * math.log2(1 + stiffness * number**2)
