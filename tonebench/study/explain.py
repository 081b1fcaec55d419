# SPDX-License-Identifier: GPL-3.0-or-later
"""Why a circuit with its hook-up sounds as it does: every feature with its causes.

The features are those of `traits`: at the setting asked for, and what comes up when
controls are turned. Each with what causes it and what is left of it without this or
that; and the pickup's own peak, where it is missing. The sentences are made elsewhere.
"""

from dataclasses import dataclass, replace

from tonebench.circuit.controls import Settings
from tonebench.errors import RequestError
from tonebench.plan.comparison import Side
from tonebench.study.causes import Causes, causes_of
from tonebench.study.changed import Moved, moved, was
from tonebench.study.features import HIGHEST_HZ, LOWEST_HZ, Feature
from tonebench.study.missing import Missing, missing_peaks
from tonebench.study.stability import require_stable
from tonebench.study.tracked import TrackedFeature, all_settings, track_features
from tonebench.study.turned import Turned
from tonebench.study.without import Counterfactuals, solved

#: A feature that is there at a lesser share of all settings is left out.
_LEAST_SHARE = 0.1


@dataclass(frozen=True, slots=True)
class Explained:
    """A feature over all settings, and why it is there.

    `was` is what it was before parts were changed; None if it wasn't there, or none
    were.
    """

    tracked: TrackedFeature
    causes: Causes
    was: Feature | None = None

    @property
    def feature(self) -> Feature:
        """The feature as it is at its setting."""
        return self.tracked.here


@dataclass(frozen=True, slots=True)
class Explanation:
    """All that stands out in a circuit's curve, and what is missing from it.

    If parts were changed, `before` are the features of the circuit as it was drawn, and
    `moved` is what the change did to the curve.
    """

    side: Side
    setting: Settings
    explained: tuple[Explained, ...]
    missing: tuple[Missing, ...]
    before: tuple[Feature, ...] | None = None
    moved: Moved | None = None


def explain(
    side: Side, changes: Settings | None = None, drawn: Side | None = None
) -> Explanation:
    """Return why the features of a circuit are there.

    Parameters
    ----------
    side : Side
        The circuit and its hook-up.
    changes : mapping, optional
        Where controls stand; with any, only the features there are explained.
    drawn : Side, optional
        The same before parts were changed.

    Raises
    ------
    CircuitError
        If the setting has no solution, or the circuit oscillates at it.
    RequestError
        If the circuit is silent at the setting.
    """
    setting = side.chain.setting(changes or {})
    require_stable(side.chain, setting)
    if solved(side.chain, setting).roots.is_silent:
        raise RequestError(
            f"{side.circuit.name} is silent at this setting: nothing to explain"
        )
    turned = Turned(side.chain, setting)
    known: dict[tuple[str, tuple[tuple[str, object], ...]], Counterfactuals] = {}
    told = []
    for tracked in track_features(turned):
        if not _is_told(tracked, bool(changes)):
            continue
        key = (tracked.input, tuple(sorted(tracked.setting.items())))
        if key not in known:
            known[key] = Counterfactuals(side, tracked.setting, tracked.input)
        before = None
        if drawn is not None:
            at = (tracked.setting, tracked.input, tracked.here)
            before = was(drawn.chain, *at)
        told.append(Explained(tracked, causes_of(tracked.here, known[key]), before))
    told.sort(key=lambda each: not each.tracked.is_here)
    everywhere = list(all_settings(turned).values())
    missing = missing_peaks(side, setting, everywhere)
    found = Explanation(side, setting, tuple(told), missing)
    if drawn is None:
        return found
    return replace(
        found,
        before=solved(drawn.chain, setting).features,
        moved=moved(drawn.chain, side.chain, setting),
    )


def _is_told(tracked: TrackedFeature, is_only_here: bool) -> bool:
    if not LOWEST_HZ <= tracked.here.frequency_hz <= HIGHEST_HZ:
        return False
    return tracked.is_here or (not is_only_here and tracked.share >= _LEAST_SHARE)
