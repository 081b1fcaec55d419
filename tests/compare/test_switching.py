# SPDX-License-Identifier: GPL-3.0-or-later
"""Where a clip may switch, held against the notes that the shipped takes are made of.

Just before an onset: the fade has ended, and the onset follows within 80 ms (a finger
or pick is on its way to the string for up to 60 ms of that). In a rest: no string is
ringing, by the notes, or what rings is 40 dB below the loudest moment. The start of a
note is its first 60 ms. All four are common practice, no source.
"""

import re
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from listening import DAMPED_S, NAMES, cut, level_db, shipped, soundings
from noises import SAMPLE_RATE_HZ
from sounds import RATE, Real, sine

from tonebench.compare.switching import (
    FADE_S,
    LONGEST_S,
    Cue,
    Envelope,
    cue_text,
    share_of_b,
    switch_cues,
    switch_places,
)

BEFORE_S, START_S, DIED_DB = 0.08, 0.06, -40.0
EXACT_S = 0.0005  # an onset is named in whole frames; a take has a noise floor
each_take = pytest.mark.parametrize("name", NAMES)


def envelope_of(samples: Real, rate: int = RATE, block: int = 65_536) -> Envelope:
    if samples.ndim == 1:
        samples = samples[:, None]
    envelope = Envelope(rate)
    for start in range(0, len(samples), block):
        envelope.feed(samples[start : start + block])
    return envelope


def cues_of(samples: Real, rate: int = RATE) -> tuple[Cue, ...]:
    return switch_cues(envelope_of(samples, rate))


def plucks(*onsets_s: float, seconds: float, ring_s: float = 0.5) -> Real:
    """Return notes of 110 Hz that ring for a while, 60 dB down by the end of it."""
    samples = np.zeros(round(seconds * RATE))
    for onset in onsets_s:
        first = round(onset * RATE)
        t = np.arange(len(samples) - first) / RATE
        samples[first:] += 0.3 * np.sin(2 * np.pi * 110 * t) * 10 ** (-3 * t / ring_s)
    return samples


# Against the notes of the shipped takes


def onsets_of(name: str) -> Real:
    return np.array([sounding.onset_s for sounding in soundings(name)])


def is_a_rest(name: str, start_s: float, end_s: float) -> bool:
    ringing = any(
        s.onset_s < end_s and start_s < s.stop_s + DAMPED_S for s in soundings(name)
    )
    there = cut(shipped(name), start_s, end_s)
    return not ringing or level_db(there) - loudest_db(name) < DIED_DB


@cache
def loudest_db(name: str) -> float:
    """Return the level of the loudest 20 ms of a take."""
    take = shipped(name)
    return max(level_db(take[k : k + 960]) for k in range(0, len(take), 960))


@each_take
def test_every_place_is_just_before_a_note_or_in_a_rest(name: str) -> None:
    places = switch_places(envelope_of(shipped(name), SAMPLE_RATE_HZ))
    assert len(places) > 20
    onsets = onsets_of(name)
    for place in places:
        start = place / SAMPLE_RATE_HZ
        end = start + FADE_S
        coming = onsets[onsets > end - EXACT_S]
        is_before = coming.size > 0 and coming[0] - end <= BEFORE_S
        assert is_before or is_a_rest(name, start, end), (start, coming[:1])


@each_take
def test_no_fade_is_over_an_onset_or_in_the_start_of_a_note(name: str) -> None:
    onsets = onsets_of(name)
    for place in switch_places(envelope_of(shipped(name), SAMPLE_RATE_HZ)):
        start = place / SAMPLE_RATE_HZ
        near = onsets[(onsets > start - START_S) & (onsets < start + FADE_S)]
        assert near.size == 0, (start, near)


@each_take
def test_the_shipped_takes_are_switched_about_every_four_seconds(name: str) -> None:
    take = shipped(name)
    cues = cues_of(take, SAMPLE_RATE_HZ)
    assert cues[0] == Cue(0, "a")
    letters = "".join(cue.letter for cue in cues)
    assert letters == ("ab" * len(cues))[: len(cues)]
    times = [cue.frame / SAMPLE_RATE_HZ for cue in cues]
    times.append(len(take) / SAMPLE_RATE_HZ)
    spans = np.diff(times)
    assert spans.min() >= 1.5
    assert 3.0 <= np.median(spans) <= 5.0
    assert spans.max() <= 6.0


@each_take
def test_the_sizes_of_the_blocks_change_nothing(name: str) -> None:
    take = shipped(name)[: 2 * SAMPLE_RATE_HZ]
    whole = envelope_of(take, SAMPLE_RATE_HZ, len(take))
    for block in (17, 509, 48_000):
        again = envelope_of(take, SAMPLE_RATE_HZ, block)
        assert again.frames == whole.frames
        for one, other in zip(again.levels_db(), whole.levels_db(), strict=True):
            np.testing.assert_array_equal(one, other)
        assert switch_places(again) == switch_places(whole)


def test_blocks_of_one_frame_and_of_none_change_nothing() -> None:
    samples = plucks(0.05, 0.2, seconds=0.3, ring_s=0.05).reshape(-1, 1)
    one = envelope_of(samples, block=1)
    one.feed(samples[:0])
    assert switch_places(one) == switch_places(envelope_of(samples))


# Sounds with known onsets


def test_clicks_to_the_frame_have_fades_that_end_15_ms_before() -> None:
    """In between there is silence, and its middle is a rest."""
    rng = np.random.default_rng(3)
    samples = np.zeros(12 * RATE)
    onsets = np.arange(1, 12) * RATE + rng.integers(-2000, 2000, 11)
    for onset in onsets:
        samples[onset : onset + RATE // 2] = 0.2 * rng.uniform(-1, 1, RATE // 2)
    ends_s = (np.array(switch_places(envelope_of(samples))) + FADE_S * RATE) / RATE
    gaps_ms = 1000 * (onsets[:, None] / RATE - ends_s[None])
    least = np.where(gaps_ms > 0, gaps_ms, np.inf).min(axis=1)
    # 2 ms is the size of a fine hop
    assert least.min() >= 15 - 0.1
    assert least.max() <= 15 + 2 * 2
    for onset in onsets:  # no fade runs on into the half second of sound
        assert not ((ends_s > onset / RATE) & (ends_s < onset / RATE + 0.5)).any()


@pytest.mark.parametrize("hz", [20, 31, 41.2, 55, 82.4, 110, 440, 1000, 5000])
@pytest.mark.parametrize("rate", [8000, 44_100, 48_000, 96_000])
def test_a_steady_sine_has_no_place_to_switch(hz: float, rate: int) -> None:
    samples = sine(min(hz, rate / 4), 12, rate=rate)
    assert cues_of(samples, rate) == (Cue(0, "a"),)


def test_a_steady_noise_has_no_place_to_switch() -> None:
    samples = np.random.default_rng(1).normal(0, 0.05, 20 * RATE)
    assert cues_of(samples) == (Cue(0, "a"),)


@pytest.mark.parametrize("frames", [0, 1, 2, 95, 479, 480, 481, 9600, 2 * RATE])
@pytest.mark.parametrize("channels", [1, 2])
def test_silence_has_no_place_to_switch(frames: int, channels: int) -> None:
    assert cues_of(np.zeros((frames, channels))) == (Cue(0, "a"),)


@pytest.mark.parametrize("frames", [1, 2, 95, 479, 480, 481, 9600])
def test_the_shortest_sounds_have_no_place_to_switch(frames: int) -> None:
    samples = np.random.default_rng(1).normal(0, 0.05, frames)
    assert cues_of(samples) == (Cue(0, "a"),)


@pytest.mark.parametrize("onset_s", [0.0, 0.4, 3.0, 7.0])
@pytest.mark.parametrize("ring_s", [0.3, 4.0, 60.0])
def test_a_single_note_has_no_place_to_switch(onset_s: float, ring_s: float) -> None:
    """In the silence around it there is nothing to hear a difference in."""
    samples = plucks(onset_s, seconds=12, ring_s=ring_s)
    assert cues_of(samples) == (Cue(0, "a"),)


def test_each_side_is_heard_between_switches_and_after_the_last_one() -> None:
    """Long silences: before the first note, between two, and at the end."""
    notes = (5.0, 5.8, 6.6, 16.0, 16.8, 17.6, 27.0, 27.8, 28.6)
    samples = plucks(*notes, seconds=40)
    cues = cues_of(samples)
    assert len(cues) >= 3
    bounds = [*(cue.frame for cue in cues), len(samples)]
    for start, end in pairwise(bounds):
        loud = np.abs(samples[start:end]) > 10 ** (-45 / 20) * 0.3
        assert loud.sum() > 0.1 * RATE, (start, end)


def test_two_channels_out_of_phase_are_not_taken_for_silence() -> None:
    """A bridge pickup the wrong way round: the sum of the two would be nothing."""
    mono = plucks(*np.arange(0, 12, 0.75), seconds=12)
    both = np.stack([mono, -mono], axis=1)
    assert len(cues_of(mono)) >= 3
    assert cues_of(both) == cues_of(mono)


def test_a_note_in_the_second_channel_alone_counts() -> None:
    mono = plucks(*np.arange(0, 12, 0.75), seconds=12)
    assert cues_of(np.stack([np.zeros_like(mono), mono], axis=1)) == cues_of(mono)


@pytest.mark.parametrize("gain_db", [-60, -20, 20])
def test_a_softer_or_louder_take_is_switched_at_the_same_places(gain_db: float) -> None:
    samples = plucks(*np.arange(0, 12, 0.75), seconds=12)
    assert cues_of(samples * 10 ** (gain_db / 20)) == cues_of(samples)


def test_what_comes_after_a_minute_changes_nothing() -> None:
    samples = plucks(*np.arange(0, 60, 0.75), seconds=LONGEST_S)
    longer = np.concatenate([samples, 0.9 * np.ones(RATE)])
    envelope = envelope_of(longer)
    assert envelope.frames == LONGEST_S * RATE
    cues = switch_cues(envelope)
    assert cues == cues_of(samples)
    assert 12 <= len(cues) <= 20
    assert cues[-1].frame <= envelope.frames - 1.5 * RATE


# The fade

CUES = (Cue(0, "a"), Cue(2 * RATE, "b"), Cue(5 * RATE, "a"), Cue(7 * RATE, "b"))


def test_a_side_is_heard_wholly_outside_the_fades() -> None:
    share = share_of_b(CUES, 0, 8 * RATE, RATE)
    fade = round(FADE_S * RATE)
    for start, end, heard in ((0, 2, 0.0), (2, 5, 1.0), (5, 7, 0.0), (7, 8, 1.0)):
        first = start * RATE + (fade if start else 1)
        assert set(share[first : end * RATE]) == {heard}


def test_a_fade_is_a_straight_line_of_20_ms() -> None:
    fade = round(FADE_S * RATE)
    assert fade == 960
    share = share_of_b(CUES, 0, 8 * RATE, RATE)
    line = np.arange(fade) / fade
    np.testing.assert_allclose(share[2 * RATE :][:fade], line, rtol=0, atol=1e-15)
    np.testing.assert_allclose(share[5 * RATE :][:fade], 1 - line, rtol=0, atol=1e-15)


@pytest.mark.parametrize("block", [1, 17, 509])
def test_a_fade_in_pieces_is_the_fade(block: int) -> None:
    whole = share_of_b(CUES, 0, 8 * RATE, RATE)
    first = 2 * RATE - 3
    pieces = [
        share_of_b(CUES, at, block, RATE) for at in range(first, first + 1000, block)
    ]
    again = np.concatenate(pieces)
    np.testing.assert_array_equal(again, whole[first : first + len(again)])


# The cues as a file

#: A cue's timings after W3C, "WebVTT", section 4.1: hours optional, and two digits or
#: more; minutes and seconds below 60.
TIME = r"(?:(\d{2,}):)?([0-5]\d):([0-5]\d)\.(\d{3})"
TIMINGS = re.compile(f"{TIME} --> {TIME}")


def parsed(text: str) -> list[tuple[float, float, str]]:
    """Read WebVTT after the grammar of its section 4.1, as far as it is used here."""
    head, blank, rest = text.split("\n", 2)
    assert (head, blank) == ("WEBVTT", "")
    found = []
    for block in re.split(r"\n\n+", rest.rstrip("\n")):
        line, words = block.split("\n")
        match = TIMINGS.fullmatch(line)
        assert match, line
        h1, m1, s1, f1, h2, m2, s2, f2 = (int(x or 0) for x in match.groups())
        start = 3600 * h1 + 60 * m1 + s1 + f1 / 1000
        end = 3600 * h2 + 60 * m2 + s2 + f2 / 1000
        assert start < end
        assert "-->" not in words
        assert not re.search(r"<|&(?!(amp|lt|gt);)", words)
        found.append((start, end, words))
    return found


def test_the_cues_are_webvtt_with_rising_times() -> None:
    text = cue_text(CUES, {"a": "A tern: tilt 5", "b": "B plover"}, 8 * RATE, RATE)
    assert parsed(text) == [
        (0.0, 2.0, "A tern: tilt 5"),
        (2.0, 5.0, "B plover"),
        (5.0, 7.0, "A tern: tilt 5"),
        (7.0, 8.0, "B plover"),
    ]


def test_the_cues_of_a_minute_end_at_one_minute() -> None:
    text = cue_text(CUES, {"a": "A", "b": "B"}, 60 * RATE, RATE)
    assert parsed(text)[-1] == (7.0, 60.0, "B")
    assert "00:07.000 --> 01:00.000" in text


def test_names_that_look_like_marks_are_told_as_they_are() -> None:
    names = {"a": "A r&b <i>:\nx --> y", "b": "B"}
    told = parsed(cue_text(CUES, names, 8 * RATE, RATE))
    assert told[0][2] == "A r&amp;b &lt;i&gt;: x --&gt; y"
