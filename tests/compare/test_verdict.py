# SPDX-License-Identifier: GPL-3.0-or-later
"""Sentences about a comparison, for curves and sounds whose answer is plain."""

import math
from pathlib import Path

import numpy as np
import pytest
from commands import DIVIDER, LOW_PASS, LOW_PASS_HZ, VOLUME, drawn
from sounds import Real, sine, write_float

from tonebench.audio.take import Take
from tonebench.circuit.circuit import STRAIGHT, Circuit
from tonebench.circuit.files import read_circuit
from tonebench.compare.measured import MeasuredPair, measure
from tonebench.compare.verdict import (
    MatchedCurves,
    curve_sentence,
    matched_curves,
    verdict,
)
from tonebench.plan.comparison import Comparison, Match, Pairing, Side

#: With the frequencies in it that a sentence should then tell.
HZ = np.unique([*np.geomspace(30, 16_000, 441), 40, 80, 100, 500, 4000])


def ran(
    folder: Path,
    a: Circuit,
    b: Circuit,
    pairing: Pairing,
    mode: str = "loudness",
    seconds: float = 3.0,
) -> MeasuredPair:
    take = write_float(folder / "take.wav", sine(1000, seconds))
    comparison = Comparison(
        "t", (Take(take),), Side(a), Side(b), (pairing,), Match(mode, LOW_PASS_HZ)
    )
    return measure(comparison).pairs[0]


def sentences(
    folder: Path,
    text_b: str,
    mode: str = "loudness",
    seconds: float = 3.0,
    **b: float,
) -> tuple[str, str, str]:
    """Return the verdict on straight against a circuit, 1 kHz being played."""
    circuit = read_circuit(drawn(folder, "box", text_b))
    pair = ran(folder, STRAIGHT, circuit, Pairing("one", b=b), mode, seconds)
    return verdict(pair, LOW_PASS_HZ)


def bump(hz: float, height_db: float) -> Real:
    return np.asarray(height_db * np.exp(-((np.log(HZ / hz) / 0.1) ** 2)))


def test_a_verdict_says_what_differs_what_the_levels_were_and_what_is_left(
    tmp_path: Path,
) -> None:
    differs, levels, left = sentences(tmp_path, DIVIDER)
    assert differs == "Only the circuit differs: straight against box."
    assert levels == (
        "Without matching, switching to B: −6.0 dB by loudness, −6.0 dB by RMS, "
        "−6.0 dB at 1.59 kHz; A is turned down by 6.0 dB to match loudness."
    )
    assert left == "At one level the curves of A and B are the same."


@pytest.mark.parametrize(
    ("mode", "told"),
    [
        ("rms", "A is turned down by 6.0 dB to match RMS."),
        (
            "frequency",
            "A is turned down by 6.0 dB to match the gain at one frequency.",
        ),
        ("none", "not matched, as asked for."),
    ],
)
def test_a_verdict_says_how_it_was_matched(
    tmp_path: Path, mode: str, told: str
) -> None:
    assert sentences(tmp_path, DIVIDER, mode)[1].endswith(f"; {told}")


def test_a_verdict_on_a_short_take_says_that_rms_was_gone_by(tmp_path: Path) -> None:
    told = sentences(tmp_path, DIVIDER, seconds=0.1)[1]
    assert told == (
        "Without matching, switching to B: −6.0 dB by RMS, −6.0 dB at 1.59 kHz; "
        "A is turned down by 6.0 dB to match RMS."
    )


def test_a_verdict_on_a_silent_side_says_so(tmp_path: Path) -> None:
    _, levels, left = sentences(tmp_path, VOLUME, volume=0)
    assert levels == "Levels: not matched: B is silent."
    assert left == "There are no two curves to compare: a side is silent."


def test_a_verdict_on_one_circuit_twice_finds_nothing(tmp_path: Path) -> None:
    pair = ran(tmp_path, STRAIGHT, STRAIGHT, Pairing("one"))
    assert verdict(pair, LOW_PASS_HZ) == (
        "Nothing differs: A and B are the same.",
        "Without matching, switching to B: 0.0 dB by loudness, 0.0 dB by RMS, "
        "0.0 dB at 1.59 kHz; loudness is the same already.",
        "At one level the curves of A and B are the same.",
    )


def test_matched_curves_are_the_responses_with_the_gains_on_them(
    tmp_path: Path,
) -> None:
    """First-order low-pass against straight, matched where it lies 3.01 dB down."""
    circuit = read_circuit(drawn(tmp_path, "low-pass", LOW_PASS))
    pair = ran(tmp_path, STRAIGHT, circuit, Pairing("one"), "frequency")
    curves = matched_curves(pair, HZ)
    low_pass_db = -10 * np.log10(1 + (HZ / LOW_PASS_HZ) ** 2)
    np.testing.assert_allclose(curves.a_db, -10 * math.log10(2), atol=1e-9)
    np.testing.assert_allclose(curves.b_db, low_pass_db, atol=1e-9)
    np.testing.assert_allclose(
        curves.difference_db, low_pass_db + 10 * math.log10(2), atol=1e-9
    )


@pytest.mark.parametrize(
    ("difference_db", "told"),
    [
        (bump(80, 3), "low end +3.0 dB at 80 Hz"),
        (bump(80, -3), "low end −3.0 dB at 80 Hz"),
        (bump(500, 0.8), "middle +0.8 dB at 500 Hz"),
        (bump(4000, -10.8), "treble −10.8 dB at 4 kHz"),
        (
            bump(80, -1) + bump(500, 2) + bump(4000, -3),
            "low end −1.0 dB at 80 Hz, middle +2.0 dB at 500 Hz, "
            "treble −3.0 dB at 4 kHz",
        ),
    ],
)
def test_curves_are_told_in_low_end_middle_and_treble(
    difference_db: Real, told: str
) -> None:
    flat = np.zeros_like(HZ)
    sentence = curve_sentence(MatchedCurves(HZ, flat, difference_db))
    assert sentence == f"At one level B has, against A: {told}."


def test_the_worst_place_of_a_band_is_told() -> None:
    both = bump(40, 1.0) + bump(100, -2.5)
    sentence = curve_sentence(MatchedCurves(HZ, np.zeros_like(HZ), both))
    assert sentence == "At one level B has, against A: low end −2.5 dB at 100 Hz."


def test_small_differences_are_told_as_a_bound() -> None:
    curves = MatchedCurves(HZ, np.zeros_like(HZ), bump(500, 0.3))
    told = "At one level the curves stay within 0.3 dB of each other."
    assert curve_sentence(curves) == told


def test_what_is_far_below_everything_else_is_not_told() -> None:
    """Where both lie 30 dB under the highest point, little is heard (own choice)."""
    falling = np.where(HZ > 4000, -40.0, 0.0)
    curves = MatchedCurves(HZ, falling, falling + np.where(HZ > 4000, 8.0, 0.0))
    assert "treble" not in curve_sentence(curves)
    louder = MatchedCurves(HZ, falling, falling + np.where(HZ > 4000, 15.0, 0.0))
    assert "treble +15.0 dB" in curve_sentence(louder)


def test_what_lies_between_the_curves_everywhere_is_told_first() -> None:
    curves = MatchedCurves(HZ, np.zeros_like(HZ), bump(80, -3) - 4.0)
    assert curve_sentence(curves, "Not matched,") == (
        "Not matched, B has, against A: −4.0 dB nearly everywhere, "
        "low end −7.0 dB at 80 Hz."
    )


def test_silence_on_one_side_leaves_no_curves_to_compare() -> None:
    silent = np.full_like(HZ, -np.inf)
    for a, b in ((silent, np.zeros_like(HZ)), (silent, silent)):
        curves = MatchedCurves(HZ, a, b)
        assert np.isnan(curves.difference_db).all()
        assert curve_sentence(curves).endswith("a side is silent.")
