# SPDX-License-Identifier: GPL-3.0-or-later
"""What is known of a take beside its sound: how the instrument was tuned."""

import re

from tonebench.errors import RequestError

_NOTE = re.compile(r"([A-G])([#b]?)(-?\d)")
_SEMITONES_FROM_A = {"C": -9, "D": -7, "E": -5, "F": -4, "G": -2, "A": 0, "B": 2}
_ALTERED = {"": 0, "#": 1, "b": -1}


def open_strings_hz(tuning: str) -> tuple[float, ...]:
    """Return the pitches of the open strings of a tuning such as "E1 A1 D2 G2".

    f = 440·2^((m − 69)/12), A4 = 440 Hz (ISO 16).

    Examples
    --------
    >>> [round(hz, 4) for hz in open_strings_hz("B0 E1")]
    [30.8677, 41.2034]
    """
    found = []
    for word in tuning.split():
        match = _NOTE.fullmatch(word)
        if not match:
            raise RequestError(
                f"tuning: '{word}' is no note; write it like 'E1 A1 D2 G2'"
            )
        letter, altered, octave = match.groups()
        semitones = _SEMITONES_FROM_A[letter] + _ALTERED[altered]
        found.append(440 * 2 ** (int(octave) - 4 + semitones / 12))
    return tuple(found)
