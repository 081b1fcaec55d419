# SPDX-License-Identifier: GPL-3.0-or-later
"""What one knob or switch does: cut, boost, both, level or frequency; how much, where.

Told against the control's own position with the flattest curve, never against 0 dB, on
the exact curves of the whole chain. Knows no names and no words.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.controls import Control, Knob, Settings
from tonebench.study.families import (
    FLAT_HZ,
    LEAST_DB,
    QUARTERS,
    Family,
    Position,
    centre_within_db,
    families_of,
    family_of,
    flattest_of,
    quarters,
)
from tonebench.study.moving import moves_of, still_db
from tonebench.study.shapes import Change, Extreme, Shape, change_of, extreme
from tonebench.study.turned import HEARD_HZ, Turned

Real = NDArray[np.float64]
Kind = Literal["cut", "boost", "both", "level", "frequency", "nothing"]

#: A control that turns everything down this far turns it off.
SILENT_DB = -60.0
#: Where a level control must do at least half of what it does anywhere.
_MIDDLE_HZ, _LEVEL_RATIO = 630.0, 8.0
_LEVEL_SHARE = 0.5
_EVEN_HZ = 500.0


@dataclass(frozen=True, slots=True)
class Place:
    """What one position does against the flattest one; `change` None if silent."""

    position: Position
    change: Change | None


@dataclass(frozen=True, slots=True)
class KnobTrait:
    """What one control does.

    Attributes
    ----------
    control : Knob or SwitchControl
    kind : {"cut", "boost", "both", "level", "frequency", "nothing"}
    flattest : float or str
        The position with the flattest curve, that all is told against; of several that
        are equal within 0.5 dB where it starts, or its centre.
    cut, boost : Extreme
        The greatest cut and boost; −inf dB where nothing is left.
    cut_at, boost_at : float or str
        The positions where they are met.
    where : tuple of mappings
        How the other controls stand; several where it acts only together with one.
    places : tuple of Place
        What some of its positions do.
    centre_within_db : float or None
        Half the spread of the circuit's own curve, 40 Hz to 10 kHz, with a knob at 5.
    quarters_db : tuple of float
        What each quarter of a knob's turn adds at the frequency of its greatest change;
        infinite next to silence.
    moves_hz : tuple of float or None
        From where to where a frequency control moves things.
    off : tuple of (str, float or str)
        Which inputs a level control turns off, and where.
    """

    control: Control
    kind: Kind
    flattest: Position
    cut: Extreme
    boost: Extreme
    cut_at: Position
    boost_at: Position
    where: tuple[Settings, ...]
    places: tuple[Place, ...] = ()
    centre_within_db: float | None = None
    quarters_db: tuple[float, ...] = ()
    moves_hz: tuple[float, float] | None = None
    off: tuple[tuple[str, Position], ...] = ()

    @property
    def shape(self) -> Shape | None:
        """The shape of the greatest change that is told of a position."""
        changes = [place.change for place in self.places if place.change is not None]
        most = max(changes, key=lambda each: abs(each.level_db), default=None)
        return None if most is None or self.kind == "nothing" else most.shape

    @property
    def largest(self) -> Extreme:
        """The greater of boost and cut."""
        is_boost = self.boost.level_db > -self.cut.level_db
        return self.boost if is_boost else self.cut


def knob_trait(turned: Turned, control: Control) -> KnobTrait:
    """Return what one control of a chain does."""
    bare = family_of(turned.bare, control, {}, FLAT_HZ)
    reference = flattest_of(turned, bare, control)
    families = families_of(turned, control, reference)
    is_alone = len(families) == 1 and not families[0].others
    cut, cut_at = _greatest(families, reference, -1.0)
    boost, boost_at = _greatest(families, reference, 1.0)
    kind = _kind(cut, boost)
    moves = None
    if kind != "nothing":
        if _is_level(families[0], reference):
            kind = "level"
        elif moves := moves_of(turned, control, families, reference, is_alone):
            kind = "frequency"
    own = _silenced(families) if kind == "level" else None
    if kind == "level":
        cut, cut_at = _greatest(families, reference, -1.0, own)
        boost, boost_at = _greatest(families, reference, 1.0, own)
        cut, boost = Extreme(cut.level_db, None), Extreme(boost.level_db, None)
    trait = KnobTrait(
        control=control,
        kind=kind,
        flattest=reference,
        cut=cut,
        boost=boost,
        cut_at=cut_at,
        boost_at=boost_at,
        where=tuple(family.others for family in families),
        places=_places(
            families[-1],
            control,
            own,
            still_db(turned) if moves and not is_alone else families[-1].at(reference),
        ),
        centre_within_db=centre_within_db(bare, control),
        moves_hz=moves,
        off=_off(turned, families[-1], own or ()),
    )
    return _with_quarters(trait, families, reference)


def _silenced(families: Sequence[Family]) -> list[int] | None:
    """Return the inputs that a control turns off somewhere; None if it is none."""
    off = np.asarray(np.isneginf(families[0].levels_db)).all(axis=2).any(axis=0)
    return np.flatnonzero(off).tolist() or None


def _off(
    turned: Turned, family: Family, inputs: Sequence[int]
) -> tuple[tuple[str, Position], ...]:
    silent = family.levels_db.max(axis=2) == -np.inf
    return tuple(
        (name, family.positions[int(silent[:, k].argmax())])
        for k, name in enumerate(turned.network.inputs)
        if k in inputs and silent[:, k].any()
    )


def _greatest(
    families: Sequence[Family],
    reference: Position,
    sign: float,
    inputs: Sequence[int] | None = None,
) -> tuple[Extreme, Position]:
    best, best_at = Extreme(0.0, None), reference
    for family in families:
        for position, changes in zip(
            family.positions, family.changes(reference), strict=True
        ):
            for change in changes if inputs is None else changes[list(inputs)]:
                if np.isnan(change).any():
                    continue
                found = extreme(change, HEARD_HZ, sign)
                if sign * found.level_db > sign * best.level_db:
                    best, best_at = found, position
    return best, best_at


def _kind(cut: Extreme, boost: Extreme) -> Kind:
    cuts, boosts = cut.level_db <= -LEAST_DB, boost.level_db >= LEAST_DB
    if cuts and boosts:
        return "both"
    return "cut" if cuts else "boost" if boosts else "nothing"


def _is_level(family: Family, reference: Position) -> bool:
    """Whether a control turns all frequencies up or down, or off."""
    changes = family.changes(reference)
    heard = np.nan_to_num(changes, nan=0)
    if np.any(heard.max(axis=2) < SILENT_DB):
        return True
    inside = np.abs(np.log(HEARD_HZ / _MIDDLE_HZ)) <= math.log(_LEVEL_RATIO)
    size = np.abs(heard).max(axis=2)
    k = np.unravel_index(int(size.argmax()), size.shape)
    strongest = heard[k]
    sign = np.sign(strongest[np.argmax(np.abs(strongest))])
    return bool(np.all(sign * strongest[inside] >= _LEVEL_SHARE * size[k]))


def _places(
    family: Family,
    control: Control,
    inputs: Sequence[int] | None,
    against_db: Real,
) -> tuple[Place, ...]:
    shown: Sequence[Position] = quarters(control) or family.positions
    found = []
    for position in shown:
        if position not in family.positions:
            continue
        with np.errstate(invalid="ignore"):
            change = family.at(position) - against_db
        change = change if inputs is None else change[list(inputs)]
        finite = [each for each in change if np.isfinite(each).all()]
        if not finite:
            found.append(Place(position, None))
            continue
        most = max(finite, key=lambda each: float(np.abs(each).max()))
        found.append(Place(position, change_of(most, HEARD_HZ)))
    return tuple(found)


def _with_quarters(
    trait: KnobTrait, families: Sequence[Family], reference: Position
) -> KnobTrait:
    if not isinstance(trait.control, Knob) or trait.kind in ("nothing", "frequency"):
        return trait
    family = families[-1]
    at_hz = trait.largest.at_hz or _EVEN_HZ
    k = int(np.argmin(np.abs(np.log(HEARD_HZ / at_hz))))
    with np.errstate(invalid="ignore"):
        size = np.nan_to_num(np.abs(family.changes(reference)), nan=0, posinf=1e9)
    source = int(size.max(axis=(0, 2)).argmax())
    if not set(QUARTERS) <= set(family.positions):
        return trait
    levels = [float(family.at(q)[source, k]) for q in QUARTERS]
    steps = tuple(
        math.nan if math.isinf(a) and math.isinf(b) else b - a
        for a, b in itertools.pairwise(levels)
    )
    return replace(trait, quarters_db=steps)
