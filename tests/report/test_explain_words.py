# SPDX-License-Identifier: GPL-3.0-or-later
"""Sentences of an explanation, made from figures that are known beforehand."""

import pytest

from tonebench.circuit.controls import Settings
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Hookup, Pickup
from tonebench.network.ports import Value
from tonebench.plan.comparison import Side
from tonebench.report.aim_words import aimed_words
from tonebench.report.explain_words import (
    explanation_words,
    missing_sentences,
    named_causes,
)
from tonebench.report.feature_words import feature_words, left_words, without_words
from tonebench.report.nearest_words import position_words
from tonebench.study.aim import parse_aim
from tonebench.study.blamed import Blamed
from tonebench.study.causes import Cause, Causes, Left
from tonebench.study.explain import explain
from tonebench.study.features import Feature
from tonebench.study.missing import Missing
from tonebench.study.ways import ways_to

NONE: Settings = {}


def feature(kind: str, hz: float, level_db: float = 6.0) -> Feature:
    return Feature(kind, hz, level_db, level_db, 1.0, 0.0, ())  # type: ignore[arg-type]


PEAK, CORNER = feature("peak", 3690.0, 9.94), feature("high-pass", 49.0, -1.0)


def blame(part: str, words: str, quantity: str = "resistance") -> Blamed:
    value = Value(part, quantity, 1.0)  # type: ignore[arg-type]
    return Blamed(part, value, words, part in ("load", "cable", "pickup"))


@pytest.mark.parametrize(
    ("told", "words"),
    [
        (PEAK, "peak at 3.69 kHz, +9.9 dB"),
        (feature("dip", 795.0, -10.9), "dip at 795 Hz, −10.9 dB"),
        (CORNER, "high-pass at 49 Hz"),
        (feature("low-pass", 4320.0), "low-pass at 4.32 kHz"),
        (feature("shelf", 100.0, -3.0), "shelf below 100 Hz, −3.0 dB"),
        (feature("shelf", 2000.0, 4.0), "shelf above 2 kHz, +4.0 dB"),
    ],
)
def test_features_are_told_by_kind_place_and_level(told: Feature, words: str) -> None:
    assert feature_words(told) == words


@pytest.mark.parametrize(
    ("left", "words"),
    [
        (Left("bridged", None), "with C6 bridged it is gone"),
        (Left("opened", None), "without C6 it is gone"),
        (Left("no load", feature("high-pass", 16.3)), "without the load it is at 16.3"),
        (Left("buffer", PEAK), "behind a buffer it is at 3.69 kHz, +9.9 dB"),
        (Left("no cable", PEAK), "without the lead it is at 3.69 kHz"),
        (Left("ideal source", None), "with an ideal source instead it is gone"),
    ],
)
def test_what_is_left_is_told_with_what_was_left_out(left: Left, words: str) -> None:
    assert f"{without_words(left, 'C6')} {left_words(left)}".startswith(words)


def test_missing_peaks_of_alike_pickups_are_one_sentence() -> None:
    load = blame("load", "the load (10 kΩ)")
    neck, bridge = (
        Missing(name, PEAK, True, load, None) for name in ("neck", "bridge")
    )
    assert missing_sentences([neck, bridge]) == [
        "the pickups' own peak is missing at every setting; it is the load (10 kΩ) on "
        "the pickup's inductance; alone it stands at 3.69 kHz, +9.9 dB"
    ]
    assert missing_sentences([neck])[0].startswith("the neck pickup's own peak")


def test_a_missing_peak_names_the_part_and_the_buffer_that_brings_it_back() -> None:
    missing = Missing("in", PEAK, False, blame("R2", "R2 (68 kΩ)"), PEAK)
    assert missing_sentences([missing]) == [
        "the pickup's own peak is missing; it is R2 (68 kΩ at the input) on the "
        "pickup's inductance: behind a buffer it is back (3.69 kHz, +9.9 dB)"
    ]


def test_parts_that_matter_as_a_ratio_alone_are_not_named() -> None:
    """R3 and R4 move the corner by opposite amounts: only both together matter."""
    causes = Causes(
        (
            Cause(blame("C6", "C6", "capacitance"), -1.0, 0.0, Left("bridged", None)),
            Cause(blame("R3", "R3"), -1.3, -1.0, None),
            Cause(blame("R4", "R4"), 1.3, 1.0, None),
            Cause(blame("load", "the load"), -0.7, 0.0, None),
            Cause(blame("R1", "R1"), 0.4, -0.7, None),
        ),
        (),
    )
    named = [cause.who.part for cause in named_causes(CORNER, causes)]
    assert named == ["C6", "load"]


@pytest.mark.parametrize(
    ("at", "words"),
    [(7.5, "7½"), (7.51, "7½"), (3.3333, "3.3"), (10.0, "10"), (0.24, "¼"), (5.0, "5")],
)
def test_positions_are_told_as_they_can_be_set(at: float, words: str) -> None:
    assert position_words(at) == words


def test_an_explanation_without_features_is_one_plain_sentence() -> None:
    told = explanation_words(explain(Side(read_circuit("straight"))))
    assert told.splitlines()[-1] == (
        "nothing stands out: no peak, dip, shelf or roll-off from 10 Hz to 24 kHz"
    )


def test_two_inputs_are_named_and_alike_pickups_told_as_one() -> None:
    coil = Pickup("sedge", 6100.0, 2.2, 120e-12, losses_ohm=330e3)
    hookup = Hookup({"": coil}, cable_farad=700e-12, load_ohm=1e6)
    told = explanation_words(
        explain(Side(read_circuit("dunlin"), hookup), {"tone": 10})
    )
    assert "neck and bridge: peak at 4.48 kHz" in told
    assert "the pickups' inductance (2.2 H)" in told


@pytest.mark.parametrize(
    ("aim", "setting", "words"),
    [
        ("peak=800", {"bell": 10}, "peak at 800 Hz: now 801 Hz; it is there already"),
        ("peak=800", NONE, "peak at 800 Hz: there is none now"),
        ("low-pass=3k", NONE, "low-pass at 3 kHz: there is none now; no part"),
        ("bell=6dB", NONE, "Bell with a range of ±6.0 dB: now ±11."),
        ("flat", NONE, "flat with all knobs at 5: now ±0."),
    ],
)
def test_an_aim_is_told_with_what_is_reached_now(
    aim: str, setting: Settings, words: str
) -> None:
    side = Side(read_circuit("whimbrel"))
    told = aimed_words(ways_to(side, parse_aim(aim, side), setting))
    assert words in told
