# SPDX-License-Identifier: GPL-3.0-or-later
"""Which single part brings a circuit to an aim, with which value, and at what price.

Of the value that meets the aim exactly the nearest that are sold are drawn anew, and
what they reach and change elsewhere is read from their own curves. The sentences are
made elsewhere.
"""

import math
from dataclasses import dataclass, replace

from tonebench.circuit.controls import Settings
from tonebench.circuit.eseries import nearest as nearest_sold
from tonebench.network.ports import Value
from tonebench.plan.comparison import Side
from tonebench.study.aim import Aim
from tonebench.study.aim_search import AimSearch, Aside
from tonebench.study.blamed import Blamed, blamed
from tonebench.study.curve_search import CurveSearch
from tonebench.study.feature_search import FeatureSearch
from tonebench.study.stability import require_stable


@dataclass(frozen=True, slots=True)
class Way:
    """One part that meets an aim.

    Attributes
    ----------
    who : Blamed
        The part as it is.
    exact : float
        The value that would meet the aim exactly.
    e12, e24 : float
        The nearest values that are sold.
    reached_e12, reached_e24 : float or None
        What these reach, in the aim's unit; None where the feature is gone.
    aside : Aside
        What else changes with the E24 value.
    """

    who: Blamed
    exact: float
    e12: float
    e24: float
    reached_e12: float | None
    reached_e24: float
    aside: Aside


@dataclass(frozen=True, slots=True)
class Aimed:
    """An aim, what is reached now, and all ways to it, the least side effect first.

    `now` is None where there is no such feature; where it `is_there`, there is nothing
    to be done.
    """

    side: Side
    setting: Settings
    aim: Aim
    now: float | None
    is_there: bool
    ways: tuple[Way, ...]


def ways_to(side: Side, aim: Aim, changes: Settings | None = None) -> Aimed:
    """Return every single part that brings a circuit to an aim.

    Parameters
    ----------
    side : Side
        The circuit and its hook-up; "flat" is judged behind an ideal source.
    aim : Aim
    changes : mapping, optional
        Where controls stand.

    Raises
    ------
    RequestError
        If the circuit is silent at this setting.
    CircuitError
        If it oscillates at it.
    """
    setting = side.chain.setting(changes or {})
    require_stable(side.chain, setting)
    if aim.what == "flat":
        bare = replace(side.hookup, pickups={}, source_ohm=0.0, cable_farad=0.0)
        side = replace(side, hookup=bare)
        knobs = {knob.name for knob in side.circuit.knobs}
        setting = {k: 5.0 if k in knobs else at for k, at in setting.items()}
    kind = FeatureSearch if aim.is_of_feature else CurveSearch
    search: AimSearch = kind(side, aim, setting)
    if search.is_there:
        return Aimed(side, setting, aim, search.now, True, ())
    found = [way for value in search.values() if (way := _way(search, value))]
    found.sort(key=lambda way: (way.aside.price, way.who.part))
    return Aimed(side, setting, aim, search.now, False, tuple(found))


def _way(search: AimSearch, value: Value) -> Way | None:
    """Return how one part meets the aim, if it can."""
    exact = search.met_by(value)
    if exact is None:
        return None
    e12, e24 = (nearest_sold(exact, series) for series in ("E12", "E24"))
    if math.isclose(e24, value.amount, rel_tol=1e-6):
        return None  # it is that part already
    reached = search.figure(value, e24)
    if reached is None or not search.is_met(reached):
        return None
    who = blamed(search.chain, value)
    aside = search.aside(value, e24)
    return Way(who, exact, e12, e24, search.figure(value, e12), reached, aside)
