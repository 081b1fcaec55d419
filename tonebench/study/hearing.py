# SPDX-License-Identifier: GPL-3.0-or-later
"""What the ear weighs: places spread as it hears, octave bands, and their names.

Knows no circuits.
"""

import math

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]

LOWEST_HZ, HIGHEST_HZ = 20.0, 20_000.0
#: The octave bands from 31.5 Hz to 16 kHz by their exact middles (IEC 61260-1: powers
#: of 10^0.3 around 1 kHz).
OCTAVES_HZ = tuple(1000 * 10 ** (0.3 * k) for k in range(-5, 5))
_NOMINAL_HZ = (31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16000)
#: What players call the bands, by their upper ends (common practice, no source).
BAND_NAMES = (
    (45.0, "the lowest notes' fundamentals"),
    (90.0, "low end"),
    (180.0, "bass"),
    (355.0, "low mids"),
    (1400.0, "mids"),
    (2800.0, "high mids"),
    (5600.0, "presence"),
    (math.inf, "top end"),
)


def erb_number(frequency_hz: float) -> float:
    """Return the ERB-number of a frequency: how many ears' filters lie below it.

    21.4·lg(1 + 0.00437·f), f in Hz (B. R. Glasberg, B. C. J. Moore, "Derivation of
    auditory filter shapes from notched-noise data", Hearing Research 47, 1990).

    Examples
    --------
    >>> round(erb_number(1000), 2)
    15.62
    """
    return 21.4 * math.log10(1 + 0.00437 * frequency_hz)


def erb_grid(
    count: int, lowest_hz: float = LOWEST_HZ, highest_hz: float = HIGHEST_HZ
) -> Real:
    """Return frequencies at equal distances of ERB-number, both ends among them.

    A plain mean over them is weighted as the ear hears.
    """
    numbers = np.linspace(erb_number(lowest_hz), erb_number(highest_hz), count)
    hz = (10 ** (numbers / 21.4) - 1) / 0.00437
    hz[0], hz[-1] = lowest_hz, highest_hz
    return np.asarray(hz)


def octave_of(frequency_hz: float) -> float | None:
    """Return the nominal middle of the octave band a frequency lies in, if any.

    Examples
    --------
    >>> octave_of(40), octave_of(900), octave_of(5)
    (31.5, 1000, None)
    """
    k = round(math.log10(frequency_hz / 1000) / 0.3)
    return _NOMINAL_HZ[k + 5] if -5 <= k <= 4 else None


def band_name(frequency_hz: float) -> str:
    """Return what players call the band that a frequency lies in.

    Common practice, no source.

    Examples
    --------
    >>> band_name(62), band_name(4000)
    ('low end', 'presence')
    """
    return next(name for end, name in BAND_NAMES if frequency_hz <= end)
