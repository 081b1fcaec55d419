# SPDX-License-Identifier: GPL-3.0-or-later
"""How much one control changes what another one does.

What a knob does is its curve at one end against the other; turning a second knob may
change that. Knows no words.
"""

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.controls import Control, Knob
from tonebench.study.families import LEAST_DB
from tonebench.study.turned import HEARD_HZ, Turned

#: Every third of the frequencies that are heard is close enough here.
_HZ = HEARD_HZ[::3]
#: A knob that is silent at 0 is told from here.
_FROM = 2.5


@dataclass(frozen=True, slots=True)
class Interaction:
    """Turning `turn` changes what `changes` does by as much as `db`, at `at_hz`.

    `at` is the position of `turn` where that is so, against where it stands.
    """

    turn: str
    changes: str
    db: float
    at_hz: float
    at: float | str


def interactions(turned: Turned) -> tuple[Interaction, ...]:
    """Return every pair of controls that change one another, the greatest first."""
    ends = {control.name: _ends(turned, control) for control in turned.controls}
    found = []
    for turn, other in itertools.permutations(turned.controls, 2):
        if one := _interaction(turned, turn, ends[turn.name], other, ends[other.name]):
            found.append(one)
    return tuple(sorted(found, key=lambda each: -each.db))


def _ends(turned: Turned, control: Control) -> list[float | str]:
    """Return a control's positions, its ends for a knob; silent ones left out."""
    choices: list[float | str] = (
        [0.0, _FROM, 5.0, 10.0]
        if isinstance(control, Knob)
        else list(control.positions)
    )
    levels = turned.levels_db([{control.name: p} for p in choices], _HZ)
    heard = [
        position
        for position, level in zip(choices, levels, strict=True)
        if np.isfinite(level).all()
    ]
    if _FROM in heard and 0.0 in heard:
        heard.remove(_FROM)
    return heard


def _interaction(
    turned: Turned,
    turn: Control,
    places: list[float | str],
    other: Control,
    ends: list[float | str],
) -> Interaction | None:
    if len(places) < 2 or len(ends) < 2:
        return None
    start = turned.start[turn.name]
    stands = [start, *(place for place in places if place != start)]
    settings = [{turn.name: place, other.name: end} for place in stands for end in ends]
    levels = turned.levels_db(settings, _HZ)
    levels = levels.reshape(len(stands), len(ends), *levels.shape[1:])
    with np.errstate(invalid="ignore"):
        effects = levels - levels[:, :1]
        changed: NDArray[np.float64] = np.abs(effects - effects[:1])
    changed = np.where(np.isfinite(changed), changed, 0.0)
    k = np.unravel_index(int(changed.argmax()), changed.shape)
    if changed[k] < LEAST_DB:
        return None
    return Interaction(
        turn=turn.name,
        changes=other.name,
        db=float(changed[k]),
        at_hz=float(_HZ[k[-1]]),
        at=stands[int(k[0])],
    )
