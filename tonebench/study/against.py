# SPDX-License-Identifier: GPL-3.0-or-later
"""Where B differs from A, and which part, pickup, lead or load is behind it.

The difference is cut into stretches where it exceeds 1 dB; for each, every part of A
and of B is changed by itself, exactly, and so are the hook-ups: what takes most of the
difference away and does least elsewhere is behind it. No words are made here.
"""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.controls import Settings
from tonebench.plan.comparison import Side
from tonebench.study.blamed import Blamed
from tonebench.study.changes import Entry, Heard, Letter
from tonebench.study.hearing import erb_grid
from tonebench.study.without import How

Real = NDArray[np.float64]

_POINTS = 192
#: A difference below this is not told of.
LEAST_DB = 1.0
_MOST_DIFFERENCES = 4
_LEAST_POINTS = 3
#: Where both are so much quieter than at their loudest, nobody hears a difference.
_UNHEARD_DB = 45.0
#: A change that takes away less than this share explains nothing.
_LEAST_SHARE = 0.4
#: Decibels that a change adds elsewhere count as much as decibels that are left.
_ELSEWHERE = 1.0


@dataclass(frozen=True, slots=True)
class Change:
    """One thing changed in A or in B, and what is then left of a difference.

    Attributes
    ----------
    letter : {"a", "b"}
    who : Blamed or None
        The part; None for a change of the hook-up or of a knob.
    how : str
        "opened", "shorted", "valued" (another value of the part, `amount`), one of
        the hook-ups of `without`, "turned" (`knob` back to where it starts), or
        "exchanged" (`knob` names what of the hook-up is then as on the other side).
    left_db : float
        Rms of the difference in the stretch after the change.
    elsewhere_db : float
        By how much the rms of the difference grows elsewhere.
    """

    letter: Letter
    who: Blamed | None
    how: How | Literal["shorted", "valued", "turned", "exchanged"]
    amount: float
    knob: str
    left_db: float
    elsewhere_db: float


@dataclass(frozen=True, slots=True)
class Difference:
    """A stretch of frequencies where B is louder or quieter than A.

    `worst_db` at `worst_hz` is B − A, gains brought equal; `part` is the part behind it
    and `around` the hook-up behind it, None where there is none.
    """

    low_hz: float
    high_hz: float
    worst_hz: float
    worst_db: float
    rms_db: float
    part: Change | None
    around: Change | None


@dataclass(frozen=True, slots=True, eq=False)
class Against:
    """All that is different between two sides; `gain_db` is how much louder B is."""

    a: Side
    b: Side
    settings_a: Settings
    settings_b: Settings
    gain_db: float
    differences: tuple[Difference, ...]
    frequency_hz: Real
    difference_db: Real


def against(
    a: Side,
    b: Side,
    changes_a: Settings | None = None,
    changes_b: Settings | None = None,
) -> Against:
    """Return where B differs from A and why, the largest difference first.

    Raises
    ------
    RequestError
        If A or B is silent at its setting.
    CircuitError
        If A or B oscillates at it.
    """
    hz = erb_grid(_POINTS)
    sides = {"a": Heard(a, changes_a or {}, hz), "b": Heard(b, changes_b or {}, hz)}
    difference, gain_db = _difference(sides["a"].level, sides["b"].level)
    stretches = sorted(
        _stretches(difference), key=lambda at: -float(np.abs(difference[at]).max())
    )
    changes = [*sides["a"].changes("a", b), *sides["b"].changes("b", a)]
    found = []
    for at in stretches[:_MOST_DIFFERENCES]:
        others = [
            change
            for entry, letter, level in changes
            if (change := _judged(entry, letter, level, sides, difference, at))
        ]
        worst = at.start + int(np.argmax(np.abs(difference[at])))
        found.append(
            Difference(
                float(hz[at.start]),
                float(hz[at.stop - 1]),
                float(hz[worst]),
                float(difference[worst]),
                _rms(difference[at]),
                _best([c for c in others if c.who is not None]),
                _best([c for c in others if c.who is None]),
            )
        )
    return Against(
        a,
        b,
        sides["a"].setting,
        sides["b"].setting,
        gain_db,
        tuple(found),
        hz,
        difference,
    )


def _difference(level_a: Real, level_b: Real) -> tuple[Real, float]:
    """Return B − A where it is heard, its median taken as gain, and that gain."""
    heard = np.maximum(level_a - level_a.max(), level_b - level_b.max()) > -_UNHEARD_DB
    plain = level_b - level_a
    gain_db = float(np.median(plain[heard])) if heard.any() else 0.0
    return np.where(heard, plain - gain_db, 0.0), gain_db


def _stretches(difference: Real) -> Iterator[slice]:
    """Yield the stretches where a difference keeps its sign and exceeds 1 dB."""
    sign = np.where(np.abs(difference) >= LEAST_DB, np.sign(difference), 0)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], sign, [0]])))
    for start, stop in itertools.pairwise(edges.tolist()):
        if sign[start] != 0 and stop - start >= _LEAST_POINTS:
            yield slice(start, stop)


def _judged(
    entry: Entry,
    letter: Letter,
    level: Real,
    sides: dict[str, Heard],
    difference: Real,
    at: slice,
) -> Change | None:
    """Return what a change leaves of a difference; None if it explains nothing."""
    if not np.all(np.isfinite(level)):
        return None
    levels = {key: heard.level for key, heard in sides.items()} | {letter: level}
    after, _ = _difference(levels["a"], levels["b"])
    rest = np.ones(len(after), bool)
    rest[at] = False
    left_db = _rms(after[at])
    if left_db > (1 - _LEAST_SHARE) * _rms(difference[at]):
        return None
    elsewhere = max(0.0, _rms(after[rest]) - _rms(difference[rest]))
    who, how, amount, knob = entry
    return Change(letter, who, how, amount, knob, left_db, elsewhere)  # type: ignore[arg-type]  # one of the words above


def _best(changes: list[Change]) -> Change | None:
    return min(
        changes, key=lambda c: c.left_db + _ELSEWHERE * c.elsewhere_db, default=None
    )


def _rms(values: Real) -> float:
    return float(np.sqrt(np.mean(values**2))) if len(values) else 0.0
