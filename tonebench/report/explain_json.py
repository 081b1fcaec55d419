# SPDX-License-Identifier: GPL-3.0-or-later
"""An explanation as the plain values that ``explain --json`` prints."""

import math

from tonebench.report.explain_words import explained_sentence, missing_sentences
from tonebench.report.feature_words import without_words
from tonebench.study.causes import Cause, Left
from tonebench.study.explain import Explained, Explanation
from tonebench.study.features import Feature
from tonebench.study.missing import Missing

SCHEMA = 1


def explanation_json(found: Explanation) -> dict[str, object]:
    """Return an explanation as plain values."""
    chain = found.side.chain
    values: dict[str, object] = {
        "schema": SCHEMA,
        "circuit": chain.circuit.name,
        "title": chain.circuit.title,
        "chain": chain.line,
        "settings": dict(found.setting),
        "features": [
            explained_json(explained)
            | _was(found, explained)
            | {"sentence": explained_sentence(found, explained)}
            for explained in found.explained
        ],
        "missing": [_missing(missing) for missing in found.missing],
    }
    if found.before is not None:
        values["before"] = [feature_json(feature) for feature in found.before]
    if found.moved is not None:
        is_told = math.isfinite(found.moved.gain_db)
        values["change"] = {
            "gain_db": found.moved.gain_db if is_told else None,
            "most": [
                {"frequency_hz": hz, "change_db": db} for hz, db in found.moved.most
            ],
            "gone": [feature_json(feature) for feature in found.moved.gone],
        }
    return values


def _was(found: Explanation, explained: Explained) -> dict[str, object]:
    """Return what a feature was before the change; nothing if there was no change."""
    if found.before is None:
        return {}
    return {"was": None if explained.was is None else feature_json(explained.was)}


def feature_json(feature: Feature) -> dict[str, object]:
    """Return a feature as plain values."""
    return {
        "kind": feature.kind,
        "frequency_hz": float(feature.frequency_hz),
        "level_db": float(feature.level_db),
        "gain_db": float(feature.gain_db),
        "q": None if feature.q is None else float(feature.q),
        "slope_db_per_octave": float(feature.slope_db_per_octave),
    }


def explained_json(explained: Explained) -> dict[str, object]:
    """Return a feature with its causes."""
    return {
        **feature_json(explained.feature),
        "input": explained.tracked.input,
        "settings": dict(explained.tracked.setting),
        "always": explained.tracked.always,
        "range_hz": [float(hz) for hz in explained.tracked.range_hz],
        "causes": [_cause(cause) for cause in explained.causes.causes],
        "hookup": [_left(left, "") for left in explained.causes.around],
    }


def _cause(cause: Cause) -> dict[str, object]:
    who = cause.who
    return {
        "part": who.part,
        "quantity": who.value.quantity,
        "value": who.value.amount,
        "words": who.words,
        "frequency_shift": cause.frequency_shift,
        "level_shift": cause.level_shift,
        "without": None if cause.left is None else _left(cause.left, who.part),
    }


def _left(left: Left, ref: str) -> dict[str, object]:
    after = left.feature
    return {
        "how": left.how,
        "words": without_words(left, ref),
        "gone": after is None,
        "frequency_hz": None if after is None else float(after.frequency_hz),
        "level_db": None if after is None else float(after.level_db),
    }


def _missing(missing: Missing) -> dict[str, object]:
    return {
        "input": missing.input,
        "always": missing.always,
        "alone": feature_json(missing.alone),
        "cause": None if missing.cause is None else missing.cause.part,
        "behind_a_buffer": None if missing.back is None else feature_json(missing.back),
        "sentence": missing_sentences([missing])[0],
    }
