# SPDX-License-Identifier: GPL-3.0-or-later
"""Peaks, dips, roll-offs and shelves of one exact curve: where, how high, how sharp.

Read off the product form of a response, whose slope is known in closed form, so that
nothing hangs on a grid. It knows nothing of knobs, of parts, or of what is good.

The curve is cut where its slope is least into *stations* with *runs* between them. A
run of less than 0.5 dB belongs to its station. A station between a rise and a fall is a
peak, or a plateau where it is broad; a run between two stations is a shelf, and one
that never ends a roll-off.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tonebench.network.roots import Roots
from tonebench.study.stations import (
    HALF_POWER_DB,
    Curve,
    Station,
    crossing,
    find_stations,
)
from tonebench.study.tips import Tip, find_tips, sharpness

Kind = Literal["peak", "dip", "high-pass", "low-pass", "shelf"]

#: What is looked for: a little more than what is heard.
LOWEST_HZ, HIGHEST_HZ = 10.0, 24_000.0
#: The frequency in the middle between 20 Hz and 20 kHz: a shelf's level is that of its
#: outer side against the side of the middle.
MIDDLE_HZ = 630.0
#: A dip deeper than this is a notch; its bandwidth is that at −3 dB.
_DEEP_DB = 40.0
#: A peak between two roll-offs is told against the curve this far away.
_SIDE_OCTAVES = 2.0


@dataclass(frozen=True, slots=True)
class Feature:
    """One feature of a curve.

    Attributes
    ----------
    kind : {"peak", "dip", "high-pass", "low-pass", "shelf"}
    frequency_hz : float
        Of a peak or dip its tip; of a roll-off where it is 3.01 dB below its passband;
        of a shelf where half of its step, in dB, is done.
    level_db : float
        Of a peak or dip its height over the higher (depth below the lower) of the
        levels beside it; of a shelf how far its outer side, away from 630 Hz, lies
        above the other; of a roll-off the gain of its passband.
    gain_db : float
        Gain at `frequency_hz`, over the source's own voltage.
    q : float or None
        Of a peak or dip f/bandwidth at half its height in dB (as the bell of the Audio
        EQ Cookbook counts), of a notch at −3 dB, of the resonance of a roll-off from
        its height; of a roll-off of second or higher order the Q of its pole pair; None
        otherwise.
    slope_db_per_octave : float
        Of a roll-off three octaves outside of its corner, of a shelf at its steepest,
        as the frequency rises; 0 of a peak or dip.
    reference_hz : tuple of float
        Where the levels were read that it is told against: for a roll-off its passband,
        for a shelf its lower and its upper side, for a peak or dip the level beside it;
        for a band-pass, which has none, two octaves away on the higher side.
    """

    kind: Kind
    frequency_hz: float
    level_db: float
    gain_db: float
    q: float | None
    slope_db_per_octave: float
    reference_hz: tuple[float, ...]


def find_features(
    roots: Roots, lowest_hz: float = LOWEST_HZ, highest_hz: float = HIGHEST_HZ
) -> tuple[Feature, ...]:
    """Return the features of a response between two frequencies, by frequency.

    Parameters
    ----------
    roots : Roots
        One input's product form, as `find_roots` returns it; silent: no features.
    lowest_hz, highest_hz : float
        Features outside are left out; the curve is read a good deal further.
    """
    if roots.is_silent:
        return ()
    curve = Curve(roots)
    found = _features(curve, find_stations(curve))
    return tuple(
        sorted(
            (f for f in found if lowest_hz <= f.frequency_hz <= highest_hz),
            key=lambda feature: feature.frequency_hz,
        )
    )


def _features(curve: Curve, row: list[Station]) -> list[Feature]:
    tips = find_tips(curve, row)
    found = [_tip_feature(curve, row, tip) for tip in tips]
    inside = {tip.place for tip in tips}
    for k in range(len(row) - 1):
        below, above = row[k], row[k + 1]
        if below.is_open and above.is_open:
            continue
        if below.is_open or above.is_open:
            found += _roll_off(curve, row, k, inside)
        elif k not in inside and k + 1 not in inside:
            found.append(_shelf(curve, below, above))
    return found


# -- peaks and dips --------------------------------------------------------------------


def _tip_feature(curve: Curve, row: list[Station], tip: Tip) -> Feature:
    here = row[tip.place]
    if tip.bases:
        at_u, height_db = row[tip.bases[0]].edge_towards(here), tip.height_db
    else:
        sides = here.tip_u + np.array([-_SIDE_OCTAVES, _SIDE_OCTAVES])
        levels = curve.level_db(sides)
        at_u, height_db = float(sides[levels.argmax()]), here.level_db - levels.max()
    return Feature(
        "peak" if tip.sign > 0 else "dip",
        2.0**here.tip_u,
        float(height_db),
        here.level_db,
        _tip_q(curve, row, tip),
        0.0,
        (2.0**at_u,),
    )


def _tip_q(curve: Curve, row: list[Station], tip: Tip) -> float:
    here, height_db = row[tip.place].level_db, tip.height_db
    if not tip.bases:
        q = sharpness(curve, row, tip.place, here - HALF_POWER_DB)
    elif tip.is_resonance:
        return _resonance_q(curve, row, tip)
    elif height_db < -_DEEP_DB:
        q = sharpness(curve, row, tip.place, here - height_db - HALF_POWER_DB)
    else:
        q = sharpness(curve, row, tip.place, here - height_db / 2)
    return tip.sharpness if q is None else q


def _resonance_q(curve: Curve, row: list[Station], tip: Tip) -> float:
    """Return the Q of a tip that falls off on one side.

    The maximum of a second-order roll-off is Q/√(1 − 1/(4Q²)) over its passband
    (textbook), which is solved for Q; where the tip is much broader than that, it has
    another cause, and its bandwidth counts.
    """
    down_db = min(tip.height_db / 2, HALF_POWER_DB)
    width = sharpness(curve, row, tip.place, row[tip.place].level_db - down_db)
    by_width = tip.sharpness if width is None else width
    square = 10 ** (tip.height_db / 10)
    by_height = math.sqrt((square + math.sqrt(square * square - square)) / 2)
    return by_width if by_width < by_height / 2 else by_height


# -- runs ------------------------------------------------------------------------------


def _roll_off(
    curve: Curve, row: list[Station], k: int, tips: set[int]
) -> list[Feature]:
    """Return the roll-off between an open end and the first station inside of it."""
    is_low = row[k].is_open
    inward = range(k + 1, len(row)) if is_low else range(k, -1, -1)
    end, first = (row[k], row[k + 1]) if is_low else (row[k + 1], row[k])
    level = [
        row[i]
        for i in inward
        if i not in tips and not tips >= {i - 1, i + 1} and not row[i].is_open
    ]
    reference = next(
        (s for s in level if s.level_db - HALF_POWER_DB < first.level_db), first
    )
    u = crossing(
        curve,
        first.edge_towards(end),
        end.tip_u,
        reference.level_db - HALF_POWER_DB,
    )
    if u is None:
        return []
    far = u - 3 if is_low else u + 3
    slope = float(curve.slopes(np.array([far]))[0][0])
    if slope * (1 if is_low else -1) <= 0:
        return []
    return [
        Feature(
            "high-pass" if is_low else "low-pass",
            2.0**u,
            reference.level_db,
            reference.level_db - HALF_POWER_DB,
            _pole_q(curve.roots, 2.0**u) if abs(slope) > 9 else None,
            slope,
            (2.0 ** reference.edge_towards(end),),
        )
    ]


def _pole_q(roots: Roots, hz: float) -> float | None:
    """Return the Q of the pole pair nearest to a frequency; two real poles count."""
    size = np.abs(roots.poles)
    near = roots.poles[np.argsort(np.abs(np.log(size[size > 0] / (2 * math.pi * hz))))]
    if not len(near):
        return None
    if near[0].imag != 0:
        return float(abs(near[0]) / (-2 * near[0].real))
    real = near[near.imag == 0][:2]
    if len(real) < 2:
        return None
    return float(math.sqrt(abs(real[0] * real[1])) / -(real[0] + real[1]).real)


def _shelf(curve: Curve, below: Station, above: Station) -> Feature:
    half_db = (below.level_db + above.level_db) / 2
    low, high = below.edge_towards(above), above.edge_towards(below)
    u = crossing(curve, low, high, half_db)
    u = (low + high) / 2 if u is None else u
    step_db = above.level_db - below.level_db
    slopes = curve.slopes(np.linspace(low, high, 65))[0]
    steepest = float(slopes[np.argmax(np.abs(slopes))])
    return Feature(
        "shelf",
        2.0**u,
        step_db if 2.0**u > MIDDLE_HZ else -step_db,
        half_db,
        None,
        steepest,
        (2.0**low, 2.0**high),
    )
