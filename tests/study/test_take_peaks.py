# SPDX-License-Identifier: GPL-3.0-or-later
"""Takes in volts at the op-amps: sines of known level through stages of known gain."""

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from sounds import write_float

from tonebench.audio.take import Take
from tonebench.circuit.circuit import Circuit, Supply
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Chain, Hookup, join
from tonebench.circuit.parts import OpAmp, Resistor
from tonebench.errors import RequestError
from tonebench.plan.take_files import read_take_file
from tonebench.study.headroom_words import clipping_notice
from tonebench.study.hiss import hiss
from tonebench.study.played import played
from tonebench.study.take_peaks import take_peaks

Drawn = Callable[..., Circuit]
RATE = 48_000


@pytest.fixture
def stage(drawn: Drawn) -> Chain:
    """Gain 10 on 9 V, 1.5 V short of each rail: it swings 3 V."""
    parts = (
        Resistor("R0", ("in", "gnd"), 1e6),
        Resistor("R1", ("m", "gnd"), 1e3),
        Resistor("R2", ("out", "m"), 9e3),
        OpAmp("U1", "in", "m", "out", short_of_rail_v=1.5),
    )
    return join(replace(drawn(*parts), supply=Supply(9.0, 4.5)))


@pytest.fixture
def sine(tmp_path: Path) -> Path:
    """A second of 1 kHz that peaks at half of full scale."""
    path = tmp_path / "sine.wav"
    t = np.arange(RATE) / RATE
    write_float(path, 0.5 * np.sin(2 * math.pi * 1000 * t), RATE)
    return path


@pytest.mark.parametrize(
    ("full_scale_v", "clips"), [(0.5, False), (0.59, False), (0.61, True), (2.0, True)]
)
def test_a_sine_clips_where_ten_times_its_peak_passes_three_volts(
    stage: Chain, sine: Path, full_scale_v: float, clips: bool
) -> None:
    take = Take(sine, full_scale_v=full_scale_v)
    (peak,) = take_peaks(take, stage, {})
    assert peak.ref == "U1"
    assert peak.peak_v == pytest.approx(10 * 0.5 * full_scale_v, rel=2e-3)
    assert peak.swing_v == pytest.approx(3.0)
    assert peak.is_clipped is clips
    notice = clipping_notice(take, stage, {})
    assert bool(notice) is clips
    (bound,) = take_peaks(take, stage, {}, is_bound_enough=True)
    assert bound.is_clipped is clips
    assert bound.peak_v >= peak.peak_v * (1 - 1e-9)


def test_the_notice_says_what_would_be_needed(stage: Chain, sine: Path) -> None:
    told = clipping_notice(Take(sine, full_scale_v=2.0), stage, {})
    assert told == (
        "a real drawn on 9 V would clip on this take and the clip doesn't: U1 would "
        "need 10 V and swings 3 V"
    )
    on_7 = clipping_notice(Take(sine, full_scale_v=0.5), stage, {}, 7.0)
    assert "on 7 V" in on_7
    assert on_7.endswith("swings 2 V")


def test_nothing_is_said_of_a_take_that_is_not_calibrated(
    stage: Chain, sine: Path
) -> None:
    take = Take(sine)
    assert clipping_notice(take, stage, {}) == ""
    with pytest.raises(RequestError, match=r"sine\.wav: how many volts full scale is"):
        take_peaks(take, stage, {})
    with pytest.raises(RequestError, match="isn't known"):
        played(take, stage, {}, hiss(stage, {}))


def test_a_passive_circuit_clips_on_nothing(sine: Path, with_pickup: Hookup) -> None:
    chain = join(read_circuit("dunlin"), with_pickup)
    take = Take(sine, full_scale_v=20.0)
    assert take_peaks(take, chain, {}) == ()
    assert clipping_notice(take, chain, {}) == ""


def test_a_take_is_held_against_the_hiss(stage: Chain, sine: Path) -> None:
    """0.5 V peak by ten is 3.536 V rms, over the hiss of the same stage."""
    quiet = hiss(stage, {}, 300.0)
    found = played(Take(sine, full_scale_v=1.0), stage, {}, quiet)
    assert found.jack_peak_v == pytest.approx(0.5, rel=2e-3)
    assert found.output_rms_v == pytest.approx(5 / math.sqrt(2), rel=2e-3)
    wanted = 20 * math.log10(found.output_rms_v / quiet.weighted_v)
    assert found.over_hiss_db == pytest.approx(wanted, abs=1e-9)
    assert found.nearest is not None
    assert found.nearest.is_clipped


def test_a_stereo_take_drives_two_inputs(with_pickup: Hookup) -> None:
    chain = join(read_circuit("dunlin"), with_pickup)
    take = read_take_file("harbour-two")
    found = played(take, chain, {}, hiss(chain, {}))
    assert found.nearest is None
    assert 0.05 < found.jack_peak_v < 1
