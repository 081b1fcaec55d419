# SPDX-License-Identifier: GPL-3.0-or-later
"""A take as a frozen value: a dry recording, and what is known of how it was made.

What already loaded the pickup is kept as a hook-up; how it is taken out of the sound is
`render/`'s. Reads no sound itself.
"""

import re
from dataclasses import dataclass, replace
from pathlib import Path

from tonebench.circuit.circuit import STRAIGHT
from tonebench.circuit.hookup import Chain, Hookup, join
from tonebench.errors import RequestError, ValueTextError
from tonebench.units import DBU_VOLTS_RMS, parse_value

_DBU = re.compile(r"([+−-]?\d{1,3}(?:\.\d+)?)\s*dBu")
_NOTE = re.compile(r"([A-G])([#b]?)(-?\d)")
_SEMITONES_FROM_A = {"C": -9, "D": -7, "E": -5, "F": -4, "G": -2, "A": 0, "B": 2}
_ALTERED = {"": 0, "#": 1, "b": -1}


@dataclass(frozen=True, slots=True)
class Take:
    """A dry recording.

    Attributes
    ----------
    audio : Path
        The recording.
    title, instrument, tuning : str
        For people; `tuning` names the open strings, lowest first ("E1 A1 D2 G2").
    full_scale_v : float or None
        Volts at the instrument's jack, peak, at digital full scale; None: uncalibrated.
    recorded : Hookup or None
        What loaded the pickup while the take was made; None: the take counts as the
        pickup's own voltage.
    """

    audio: Path
    title: str = ""
    instrument: str = ""
    tuning: str = ""
    full_scale_v: float | None = None
    recorded: Hookup | None = None

    def __post_init__(self) -> None:
        open_strings_hz(self.tuning)  # refuses what isn't a tuning
        _ = self.loads  # refuses what doesn't fit together

    @property
    def name(self) -> str:
        """What the take is called in file names and manifests."""
        return self.audio.stem

    @property
    def loads(self) -> tuple[Chain, ...]:
        """What loaded each pickup of the take; one chain if they were mixed before."""
        return () if self.recorded is None else loads_of(self.recorded)


def loads_of(recorded: Hookup) -> tuple[Chain, ...]:
    """Return what loaded each pickup; one chain if they were mixed before.

    Raises
    ------
    RequestError
        If it doesn't fit together, as `join` does.
    """
    if recorded.before:
        return (join(STRAIGHT, recorded),)
    return tuple(
        join(STRAIGHT, replace(recorded, pickups={"": pickup}))
        for pickup in recorded.pickups.values()
    )


def parse_full_scale(text: str) -> float:
    """Read a level at digital full scale, as volts peak or dBu, into volts peak.

    In dBu it is the level of the sine that just reaches full scale; 0 dBu is √0.6 V
    rms.

    Examples
    --------
    >>> parse_full_scale("2.75V")
    2.75
    >>> round(parse_full_scale("+8dBu"), 4)
    2.7516
    """
    if match := _DBU.fullmatch(text.strip()):
        level_dbu = float(match[1].replace("−", "-"))
        volts = DBU_VOLTS_RMS * 10 ** (level_dbu / 20) * 2**0.5
    else:
        try:
            volts = parse_value(text, "V")
        except ValueTextError as error:
            raise RequestError(
                f"full_scale: cannot read '{text}' as a level; write it like '2.75V' "
                "or '+8dBu'"
            ) from error
    if not 1e-3 <= volts <= 100:
        raise RequestError(f"full_scale must be from 1 mV to 100 V, got '{text}'")
    return float(volts)


def parse_rms(text: str) -> float:
    """Read what a meter shows, volts RMS or dBu, into volts RMS.

    Examples
    --------
    >>> parse_rms("775mV")
    0.775
    >>> round(parse_rms("0dBu"), 4)
    0.7746
    """
    if _DBU.fullmatch(text.strip()):
        volts = parse_full_scale(text) / 2**0.5
    else:
        try:
            volts = parse_value(text, "V")
        except ValueTextError as error:
            raise RequestError(
                f"--meter: cannot read '{text}' as a meter's reading; write it like "
                "'0.775V' or '-2.2dBu'"
            ) from error
    if not 1e-3 <= volts <= 50:
        raise RequestError(f"--meter must be from 1 mV to 50 V RMS, got '{text}'")
    return float(volts)


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
