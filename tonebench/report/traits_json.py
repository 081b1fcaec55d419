# SPDX-License-Identifier: GPL-3.0-or-later
"""What the knobs do as plain values: what ``traits --json`` prints.

Silence, and whatever isn't there, is null. Knows no words.
"""

import math
from collections.abc import Iterable

from tonebench.circuit.controls import Knob
from tonebench.report.tables import SCHEMA
from tonebench.study.card import Card, InputCard
from tonebench.study.knobs import KnobTrait
from tonebench.study.tracked import TrackedFeature
from tonebench.study.traits import Traits


def traits_json(traits: Traits) -> dict[str, object]:
    """Return all traits as values for JSON."""
    circuit = traits.chain.circuit
    return {
        "schema": SCHEMA,
        "circuit": circuit.name,
        "title": circuit.title,
        "chain": traits.chain.line,
        "settings": dict(traits.setting),
        "knobs": {
            name: _control(trait)
            for name, trait in traits.controls.items()
            if isinstance(trait.control, Knob)
        },
        "switches": {
            name: _control(trait)
            for name, trait in traits.controls.items()
            if not isinstance(trait.control, Knob)
        },
        "features": [_feature(each) for each in traits.features],
        "interactions": [
            {
                "turn": each.turn,
                "changes": each.changes,
                "change_db": _finite(each.db),
                "at_hz": each.at_hz,
                "at": each.at,
            }
            for each in traits.interactions
        ],
        "card": _card(traits.card),
    }


def _control(trait: KnobTrait) -> dict[str, object]:
    return {
        "label": trait.control.label or trait.control.name,
        "kind": trait.kind,
        "min_db": _finite(trait.cut.level_db),
        "max_db": _finite(trait.boost.level_db),
        "at_hz": trait.largest.at_hz,
        "min_at_hz": trait.cut.at_hz,
        "max_at_hz": trait.boost.at_hz,
        "min_at": trait.cut_at,
        "max_at": trait.boost_at,
        "silences": trait.cut.level_db == -math.inf,
        "shape": trait.shape,
        "flattest": trait.flattest,
        "centre_within_db": trait.centre_within_db,
        "quarters_db": _all_finite(trait.quarters_db),
        "moves_hz": list(trait.moves_hz) if trait.moves_hz else None,
        "together_with": [dict(where) for where in trait.where if where],
        "positions": [
            {
                "position": place.position,
                "change_db": _finite(place.change.level_db) if place.change else None,
                "shape": place.change.shape if place.change else None,
                "centre_hz": place.change.centre_hz if place.change else None,
                "q": place.change.q if place.change else None,
            }
            for place in trait.places
        ],
    }


def _feature(tracked: TrackedFeature) -> dict[str, object]:
    here = tracked.here
    return {
        "input": tracked.input,
        "kind": here.kind,
        "frequency_hz": here.frequency_hz,
        "level_db": here.level_db,
        "gain_db": here.gain_db,
        "q": here.q if here.q is None else _finite(here.q),
        "slope_db_per_octave": here.slope_db_per_octave or None,
        "always": tracked.always,
        "share": tracked.share,
        "range_hz": list(tracked.range_hz),
        "range_db": list(tracked.range_db),
        "is_here": tracked.is_here,
        "settings": dict(tracked.setting),
    }


def _card(card: Card) -> dict[str, object]:
    head = card.headroom
    return {
        "inputs": {each.input: _input(each) for each in card.inputs},
        "output_ohm": card.output_ohm,
        "output_at": dict(card.output_at),
        "treble_lost": [
            {
                "knob": each.knob,
                "input": each.input,
                "position": 7,
                "lost_db": each.lost_db,
                "bleed": list(each.bleed),
                "without_bleed_db": each.without_db,
            }
            for each in card.treble
        ],
        "hiss_v": card.hiss_v,
        "treble_hiss_v": card.treble_hiss_v,
        "treble_at": dict(card.treble_at) if card.treble_at else None,
        "largest_input_v": head and _finite(head.jack_v),
        "clips_first": head and head.ref,
        "clips_at_hz": head and head.at_hz,
    }


def _input(card: InputCard) -> dict[str, object]:
    peak = card.resonance
    return {
        "resonance": peak
        and {
            "peak_hz": peak.peak_hz,
            "peak_db": peak.peak_db,
            "q": peak.q,
            "corner_hz": peak.corner_hz,
        },
        "loads": [
            {
                "frequency_hz": each.frequency_hz,
                "input_ohm": each.input_ohm,
                "source_ohm": each.source_ohm,
                "ratio": each.ratio,
            }
            for each in card.loads
        ],
        "gain_db": _finite(card.gain_db),
        "inverts": card.inverts,
        "corner_hz": card.corner_hz,
        "lost_db": {name: _finite(lost) for name, lost in card.lost_db.items()},
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _all_finite(values: Iterable[float]) -> list[float | None]:
    return [_finite(value) for value in values]
