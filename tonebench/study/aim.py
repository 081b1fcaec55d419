# SPDX-License-Identifier: GPL-3.0-or-later
"""What a builder aims at: a corner, a peak, a knob's range, or flat at the centre.

Reads an aim as it is written, and reads off a circuit how far it is from it. Which part
would bring it there is found in `ways`.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.controls import no_such
from tonebench.errors import RequestError, ValueTextError
from tonebench.network.roots import Roots
from tonebench.plan.comparison import Side
from tonebench.study.features import Feature, find_features
from tonebench.units import parse_value

Real = NDArray[np.float64]
What = Literal["frequency", "level", "range", "flat"]

KINDS = ("high-pass", "low-pass", "peak", "dip", "shelf")
#: A feature may come from far outside of what is heard.
_LOWEST_HZ, _HIGHEST_HZ = 0.5, 300e3
#: Where knobs' ranges, and changes, are judged.
HEARD_HZ = np.geomspace(20, 20_000, 151)
#: Where "flat at the centre" is judged: what an instrument's notes and their attack
#: fill (common practice, no source).
_FLAT = (HEARD_HZ >= 40) & (HEARD_HZ <= 10_000)
_AIM_HINT = (
    "write it like high-pass=25, peak=3.5k, peak=6dB, bass=12dB for a knob's range, "
    "or flat"
)


@dataclass(frozen=True, slots=True)
class Aim:
    """What is aimed at.

    `what` "frequency" (Hz) or "level" (dB) of the feature `of`; "range", the greatest
    boost or cut in dB of the knob `of` from its centre; "flat", the least deviation in
    dB with all knobs at 5 (`wanted` is 0).
    """

    what: What
    of: str
    wanted: float

    @property
    def is_of_feature(self) -> bool:
        """Whether a feature is aimed at, not the whole curve."""
        return self.what in ("frequency", "level")


def parse_aim(text: str, side: Side) -> Aim:
    """Read an aim: ``high-pass=25``, ``peak=3k5``, ``peak=6dB``, ``bass=12dB``, flat.

    Raises
    ------
    RequestError
        If it is none; the message says how to write one.
    """
    name, sign, value = (part.strip() for part in text.partition("="))
    if name == "flat" and not sign:
        return Aim("flat", "", 0.0)
    if not (name and sign and value):
        raise RequestError(f"cannot read '{text}' as an aim; {_AIM_HINT}")
    if name in KINDS:
        if re.search(r"db$", value, re.IGNORECASE):
            return _level_aim(name, value)
        try:
            hz = parse_value(value, "Hz")
        except ValueTextError as error:
            raise RequestError(
                f"cannot read '{value}' as a frequency; {_AIM_HINT}"
            ) from error
        if not 10 <= hz <= 24_000:
            raise RequestError(
                f"{name}: the frequency must be from 10 Hz to 24 kHz, got {hz:g}"
            )
        return Aim("frequency", name, hz)
    knobs = [knob.name for knob in side.circuit.knobs]
    if name not in knobs:
        known = [*KINDS, "flat", *knobs]
        raise RequestError(no_such("feature or knob to aim at", name, known))
    wanted = _db(value)
    if not wanted > 0:
        raise RequestError(f"{name}: a range must be above 0 dB, got {wanted:g}")
    return Aim("range", name, wanted)


def _level_aim(name: str, value: str) -> Aim:
    if name in ("high-pass", "low-pass"):
        raise RequestError(
            f"a {name} is aimed at by its frequency, got '{value}'; write {name}=100"
        )
    return Aim("level", name, _db(value))


def _db(text: str) -> float:
    number = re.fullmatch(r"([+−-]?\d*\.?\d+)\s*(?:db)?", text, re.IGNORECASE)
    if number is None:
        raise RequestError(f"cannot read '{text}' as decibels; write it like 6dB")
    return float(number[1].replace("−", "-"))


def meant_feature(aim: Aim, roots: Roots) -> Feature | None:
    """Return the feature of a curve that an aim means, if there is one.

    Of several the one nearest to the frequency aimed at, or the tallest.
    """
    found = [
        feature
        for feature in find_features(roots, _LOWEST_HZ, _HIGHEST_HZ)
        if feature.kind == aim.of
    ]
    if aim.what == "level":
        return max(found, key=lambda f: abs(f.level_db), default=None)
    return min(
        found, key=lambda f: abs(np.log(f.frequency_hz / aim.wanted)), default=None
    )


def feature_figure(aim: Aim, feature: Feature) -> float:
    """Return the figure of a feature that an aim is about."""
    return float(feature.level_db if aim.what == "level" else feature.frequency_hz)


def curve_figure(aim: Aim, levels: Sequence[Real]) -> float:
    """Return the figure of whole curves, levels in dB over `HEARD_HZ`.

    For a range the curves with the knob at 0, 5 and 10; else the one curve.
    """
    if aim.what == "range":
        low, centre, high = levels
        return float(max(np.abs(low - centre).max(), np.abs(high - centre).max()))
    inside = levels[0][_FLAT]
    return float(inside.max() - inside.min()) / 2


def effect_hz(levels: Sequence[Real]) -> float:
    """Return where a knob changes most, from curves with it at 0, 5 and 10."""
    low, centre, high = levels
    change = np.maximum(np.abs(low - centre), np.abs(high - centre))
    return float(HEARD_HZ[int(np.argmax(change))])
