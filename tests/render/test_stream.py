# SPDX-License-Identifier: GPL-3.0-or-later
"""A take behind circuits and a cabinet: against scipy's convolution of the whole."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from commands import DIVIDER, LOW_PASS, MIXER, VOLUME, drawn
from numpy.typing import NDArray
from scipy.signal import oaconvolve
from sounds import RATE, impulse, noise, write_float

from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Hookup, join
from tonebench.errors import AudioError
from tonebench.plan.after import ImpulseResponse
from tonebench.plan.moves import Changes
from tonebench.render.after import ready
from tonebench.render.route import Route, route
from tonebench.render.runner import RoutesRunner
from tonebench.render.stream import played

Real = NDArray[np.float64]


def cut(take: Real, frames: int) -> Iterator[Real]:
    for start in range(0, len(take), frames):
        yield take[start : start + frames]


def outputs(routes: list[Route], take: Real, frames: int = 65536) -> list[Real]:
    """Return what comes out of every route; the take comes with it, frame by frame."""
    blocks, found = zip(*played(routes, cut(take, frames)), strict=True)
    assert np.array_equal(np.concatenate(blocks), take)
    return [np.concatenate(pieces) for pieces in zip(*found, strict=True)]


def plan(
    folder: Path,
    text: str,
    response: Real | None,
    channels: int = 1,
    changes: Changes | None = None,
    rate: int = RATE,
) -> Route:
    """Return the route of a drawn circuit with a cabinet after it."""
    circuit = read_circuit(drawn(folder, "one", text))
    chain = join(circuit, Hookup())
    made = route(chain, changes or {}, RATE, channels)
    if response is None:
        return made
    steps = [ImpulseResponse(write_float(folder / "cab.wav", response, rate))]
    after = ready(steps, RATE, made.channels_out)
    return Route(
        made.cascades,
        made.channels_in,
        made.is_summed,
        made.lead_frames,
        designs=made.designs,
        after=after,
    )


def cabinet(taps: int = 3000, channels: int = 1) -> Real:
    shape = noise(taps, channels, seed=7) * np.exp(-np.arange(taps) / 400)[:, None]
    return shape.astype(np.float32).astype(float)


@pytest.mark.parametrize("channels", [1, 2])
def test_a_clip_is_what_scipy_makes_of_the_clip_without_it(
    tmp_path: Path, channels: int
) -> None:
    take = noise(150_001, channels)
    (bare,) = outputs([plan(tmp_path, LOW_PASS, None, channels)], take)
    for own in {1, channels}:
        response = cabinet(channels=own)
        (found,) = outputs([plan(tmp_path, LOW_PASS, response, channels)], take)
        expected = oaconvolve(bare, np.broadcast_to(response, (3000, channels)), axes=0)
        assert found == pytest.approx(expected[: len(take)], abs=1e-13)


def test_a_turning_knob_is_heard_through_the_cabinet(tmp_path: Path) -> None:
    take, moves = noise(100_000), {"volume": [[0, 0], [1, 10]]}
    (bare,) = outputs([plan(tmp_path, VOLUME, None, changes=moves)], take)
    (found,) = outputs([plan(tmp_path, VOLUME, cabinet(), changes=moves)], take)
    expected = oaconvolve(bare, cabinet(), axes=0)[: len(take)]
    assert found == pytest.approx(expected, abs=1e-13)
    # a knob that turns is not what a knob that stands gives behind the same cabinet
    (still,) = outputs([plan(tmp_path, VOLUME, cabinet())], take)
    assert np.abs(still - found).max() > 0.01


def test_several_inputs_are_summed_before_the_cabinet(tmp_path: Path) -> None:
    take = noise(80_000, 2)
    (found,) = outputs([plan(tmp_path, MIXER, cabinet(), 2)], take)
    # a mixer of three equal resistors: (left + right) / 3
    expected = oaconvolve(take.sum(axis=1, keepdims=True) / 3, cabinet(), axes=0)
    assert found == pytest.approx(expected[: len(take)], abs=1e-9)


@pytest.mark.parametrize("frames", [1, 17, 509, 100_000])
@pytest.mark.parametrize("text", [LOW_PASS, VOLUME])
def test_no_block_size_changes_a_bit(tmp_path: Path, frames: int, text: str) -> None:
    length = 3000 if frames == 1 else 140_000
    take = noise(length, 2)
    changes = {"volume": [[0, 3], [1, 10]]} if text is VOLUME else {}
    # at another rate, so that the response answers ahead as well
    made = plan(tmp_path, text, cabinet(), 2, changes, rate=44_100)
    (whole,) = outputs([made], take)
    (found,) = outputs([made], take, frames)
    assert np.array_equal(found, whole)


def test_several_routes_stay_aligned_with_each_other_and_the_take(
    tmp_path: Path,
) -> None:
    take = impulse(100_000, (0, 0.5), (70_000, 0.25))[:, None]
    half = plan(tmp_path, DIVIDER, impulse(500, (300, 1.0))[:, None])
    whole = plan(tmp_path, VOLUME, impulse(500, (300, 1.0))[:, None])
    found = outputs([half, whole], take)
    # a divider of two equal resistors, and 90 kΩ of 100 kΩ
    for output, gain in zip(found, (0.5, 0.9), strict=True):
        expected = impulse(100_000, (300, 0.5 * gain), (70_300, 0.25 * gain))
        assert output[:, 0] == pytest.approx(expected, abs=1e-9)


def test_a_click_as_response_changes_nothing(tmp_path: Path) -> None:
    take = noise(70_000)
    bare = RoutesRunner([plan(tmp_path, LOW_PASS, None)]).process(take)[0]
    (found,) = outputs([plan(tmp_path, LOW_PASS, np.ones((1, 1)))], take)
    assert found == pytest.approx(bare, abs=1e-15)


def test_a_response_at_another_rate_delays_nothing(tmp_path: Path) -> None:
    take = impulse(20_000, (10_000, 0.5))[:, None]
    response = impulse(10, (0, 1.0))[:, None]
    (found,) = outputs([plan(tmp_path, DIVIDER, response, rate=96_000)], take)
    assert int(np.argmax(np.abs(found))) == 10_000


def test_a_response_of_other_channels_is_refused(tmp_path: Path) -> None:
    with pytest.raises(AudioError, match="has 2 channels, but the clip it is for has"):
        plan(tmp_path, DIVIDER, cabinet(channels=2))
    with pytest.raises(AudioError, match="give an impulse response of 1 or 2"):
        plan(tmp_path, DIVIDER, cabinet(channels=3), channels=2)
