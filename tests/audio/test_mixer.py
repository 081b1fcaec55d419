# SPDX-License-Identifier: GPL-3.0-or-later
"""Clips side by side: what comes out is the clip to the last bit, and keeps step."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tonebench.audio.mixer import FADE_S, Mixer
from tonebench.errors import AudioError, RequestError

RATE = 8_000
FADE = round(FADE_S * RATE)
LENGTH = 5_000
SEAM = RATE * 5 // 1000


def noise(seed: int, frames: int = LENGTH, channels: int = 2) -> NDArray[np.float32]:
    """Return 24-bit noise, which 32-bit floats hold exactly."""
    values = np.random.default_rng(seed).integers(-(2**23), 2**23, (frames, channels))
    return (values / 2**23).astype(np.float32)


A, B = noise(1), noise(2)


def playing(level_db: float = 0.0) -> Mixer:
    mixer = Mixer({"a": A, "b": B}, RATE)
    mixer.turn_to(level_db)
    mixer.process(FADE)  # the level gets there before the sound begins
    mixer.play()
    return mixer


def whole(clip: NDArray[np.float32], start: int, frames: int) -> NDArray[np.float32]:
    """Return a clip over and over, dipped at its seam as the docstring promises."""
    places = (start + np.arange(frames)) % len(clip)
    edge = np.minimum(np.minimum(places, len(clip) - 1 - places) / SEAM, 1)
    return np.asarray(clip[places] * edge[:, None], np.float32)


def test_it_starts_silent_and_thirty_decibels_down() -> None:
    mixer = Mixer({"a": A, "b": B}, RATE)
    assert not mixer.process(1000).any()
    mixer.play()
    heard = mixer.process(2000)
    np.testing.assert_allclose(
        heard[FADE:], whole(A, 0, 2000)[FADE:] * 10 ** (-30 / 20), rtol=1e-6, atol=1e-9
    )


def test_behind_its_fade_a_clip_comes_out_to_the_last_bit_around_its_seam() -> None:
    heard = playing().process(3 * LENGTH)
    np.testing.assert_array_equal(heard[FADE:], whole(A, 0, 3 * LENGTH)[FADE:])
    ramp = (np.arange(1, FADE + 1) / FADE)[:, None]
    np.testing.assert_allclose(heard[:FADE], whole(A, 0, FADE) * ramp, atol=1e-6)


def test_a_switch_keeps_step_and_crosses_over_in_fifty_milliseconds() -> None:
    mixer = playing()
    mixer.process(1000)
    mixer.choose("b")
    heard = mixer.process(2000)
    np.testing.assert_array_equal(heard[FADE:], whole(B, 1000 + FADE, 2000 - FADE))
    share = (np.arange(1, FADE + 1) / FADE)[:, None]
    crossed = A[1000 : 1000 + FADE] * (1 - share) + B[1000 : 1000 + FADE] * share
    np.testing.assert_allclose(heard[:FADE], crossed, atol=1e-6)


def test_a_pause_fades_out_and_the_sound_goes_on_where_it_was() -> None:
    mixer = playing()
    mixer.process(1000)
    mixer.pause()
    assert not mixer.process(FADE + 500)[FADE:].any()
    assert not mixer.is_playing
    mixer.play()
    heard = mixer.process(1000)[FADE:]
    # FADE − 1 frames were heard while it faded; the last one of the ramp is silent
    np.testing.assert_array_equal(heard, whole(A, 999 + 2 * FADE, 1000 - FADE))


def test_a_restart_fades_out_and_begins_with_the_first_frame() -> None:
    mixer = playing()
    mixer.choose("b")
    mixer.process(1000)
    mixer.restart()
    heard = mixer.process(2 * FADE + 1000)
    np.testing.assert_array_equal(heard[2 * FADE :], whole(B, FADE, 1000))
    step = np.abs(heard[FADE - 2 : FADE + 2]).max()
    assert step < 3 / FADE


def test_other_clips_come_in_silence_and_wait_to_be_played() -> None:
    mixer = playing()
    mixer.process(1000)
    mixer.exchange({"x": B, "y": A})
    assert mixer.voice == "x"
    assert not mixer.process(FADE + 100)[FADE:].any()
    mixer.play()
    heard = mixer.process(1000)
    np.testing.assert_array_equal(heard[FADE:], whole(B, FADE, 1000 - FADE))


def test_a_clip_counts_as_heard_once_it_was_fully_there() -> None:
    mixer = playing()
    mixer.process(2 * FADE - 2)
    assert not mixer.was_heard("a")
    mixer.process(1)
    assert mixer.was_heard("a")
    assert not mixer.was_heard("b")
    mixer.restart()
    mixer.process(3 * FADE)
    assert mixer.was_heard("a")
    mixer.exchange({"a": A, "b": B})
    assert not mixer.was_heard("a")
    mixer.process(2 * FADE)
    assert not mixer.was_heard("a")


@given(st.lists(st.integers(1, 700), min_size=1, max_size=12), st.data())
@settings(deadline=None, max_examples=40)
def test_blocks_of_any_size_give_the_same_bits(
    sizes: list[int], data: st.DataObject
) -> None:
    steps = st.sampled_from(["a", "b", "pause", "play", "restart", "-6", "exchange"])
    once, split = playing(-3.0), playing(-3.0)
    for size in sizes:
        step = data.draw(steps)
        for mixer in (once, split):
            match step:
                case "a" | "b":
                    mixer.choose(step)
                case "-6":
                    mixer.turn_to(-6.0)
                case "exchange":
                    mixer.exchange({"a": B, "b": A})
                case _:
                    getattr(mixer, step)()
        whole_block = once.process(size)
        pieces, left = [], size
        while left:
            piece = min(left, data.draw(st.sampled_from([1, 17, 509])))
            pieces.append(split.process(piece))
            left -= piece
        np.testing.assert_array_equal(np.concatenate(pieces), whole_block)


@given(st.lists(st.sampled_from("abprx0"), max_size=40), st.integers(1, 300))
@settings(deadline=None, max_examples=60)
def test_it_is_never_louder_than_the_clips_and_never_jumps(
    steps: list[str], frames: int
) -> None:
    # constant clips: what isn't constant in the output is the mixer's own doing
    ones = {"a": np.ones((700, 1), np.float32), "b": np.ones((700, 1), np.float32)}
    mixer = Mixer(ones, RATE)
    heard = [mixer.process(1)]
    for step in steps:
        match step:
            case "a" | "b":
                mixer.choose(step)
            case "p":
                (mixer.pause if mixer.is_playing else mixer.play)()
            case "r":
                mixer.restart()
            case "x":
                mixer.exchange(ones)
            case _:
                mixer.turn_to(0.0)
        heard.append(mixer.process(frames))
    samples = np.concatenate(heard)[:, 0]
    assert samples.max(initial=0) <= 1
    # a fade, a cross-over and the level may fall on one frame; the seam is quicker
    assert np.abs(np.diff(samples)).max(initial=0) <= 1 / SEAM + 4 / FADE


def test_no_frames_asked_for_are_none() -> None:
    assert playing().process(0).shape == (0, 2)


def test_what_can_t_be_played_side_by_side_is_refused() -> None:
    with pytest.raises(AudioError, match="of one shape"):
        Mixer({"a": A, "b": B[:-1]}, RATE)
    with pytest.raises(AudioError, match="of one shape"):
        playing().exchange({"a": A[:9], "b": B[:9]})
    with pytest.raises(AudioError, match="not empty"):
        Mixer({"a": A[:0]}, RATE)


def test_what_makes_no_sense_is_refused() -> None:
    with pytest.raises(RequestError, match="no clip is called 'c'"):
        playing().choose("c")
    for level_db in (0.5, float("nan")):
        with pytest.raises(RequestError, match="level must be at most 0 dB"):
            playing().turn_to(level_db)
