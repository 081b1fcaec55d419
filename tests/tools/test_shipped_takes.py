# SPDX-License-Identifier: GPL-3.0-or-later
"""The shipped takes sound as they should: in tune, dry, and fit to be listened with."""

import numpy as np
import pytest
from instruments import CHOKED, DOWN, FINGER, GHOST, PALM, PALM_UP, UP
from listening import (
    NAMES,
    bands_db,
    centroid_hz,
    cents,
    cut,
    db,
    level_db,
    partials_at,
    peak_near_hz,
    period_s,
    rests,
    shipped,
    soundings,
)
from noises import SAMPLE_RATE_HZ

each_take = pytest.mark.parametrize("name", NAMES)
DEAD = (GHOST, CHOKED)


@each_take
def test_a_take_has_headroom_and_no_dc(name: str) -> None:
    take = shipped(name)
    assert db(np.abs(take).max()) == pytest.approx(-6.0, abs=1.0)
    assert np.abs(take.mean(axis=0)).max() < 1e-5  # -100 dBFS


@each_take
def test_a_take_is_as_peaky_as_a_plucked_bass(name: str) -> None:
    # 12 to 18 dB: common practice, no source
    for channel in shipped(name).T:
        assert 12.0 < db(np.abs(channel).max()) - level_db(channel) < 18.0


@each_take
def test_a_take_has_a_rest_and_an_end_that_are_quiet(name: str) -> None:
    take = shipped(name)
    length_s = len(take) / SAMPLE_RATE_HZ
    *inner, last = [span for span in rests(name) if span[0] > 0.0]
    assert inner
    assert last[1] == length_s
    for start, end in (*inner, last):
        for channel in cut(take, start, end).T:
            assert db(np.abs(channel).max()) < -70.0
            assert level_db(channel) == pytest.approx(-90.0, abs=2.0)


@each_take
def test_a_hand_that_stops_a_string_makes_no_click(name: str) -> None:
    # in the second difference of any 96 frames a step has a crest factor of
    # 1/√(2/96) = 6.9, the noise of skin about 3
    onsets = [s.onset_s for s in soundings(name)]
    for sounding in soundings(name):
        stop = sounding.stop_s
        if not any(stop - 0.04 < onset < stop + 0.1 for onset in onsets):
            for channel in cut(shipped(name), stop - 0.02, stop + 0.05).T:
                bends = np.diff(channel[: 34 * 96 + 2], 2).reshape(-1, 96)
                crests = np.abs(bends).max(axis=1) / np.sqrt((bends**2).mean(axis=1))
                assert crests.max() < 5.5, sounding


@each_take
def test_every_note_begins_when_the_list_says(name: str) -> None:
    # the treble of the new note: twice the first difference, 24 dB more each octave
    treble = np.diff(shipped(name)[:, 0], 2)
    for sounding in soundings(name):
        onset = sounding.onset_s
        before = level_db(cut(treble, onset - 0.012, onset - 0.004))
        assert level_db(cut(treble, onset, onset + 0.008)) > before + 10.0, sounding


@each_take
def test_every_note_is_nearer_to_its_pitch_than_to_any_other(name: str) -> None:
    # 440·2^((key − 69)/12), ISO 16
    take = shipped(name)[:, 0]
    for sounding in soundings(name):
        if sounding.note.technique not in DEAD:
            period = 1.0 / sounding.pitch_hz
            start = sounding.onset_s + 0.03
            piece = cut(take, start, min(sounding.stop_s, start + 8.0 * period))
            off = cents(1.0 / period_s(piece, period), sounding.pitch_hz)
            assert abs(off) < 50.0, sounding


@each_take
def test_every_long_note_is_in_tune(name: str) -> None:
    # within 5 cents: where the other hand stops it, the rest of its glide, and two
    # polarisations a cent apart
    take = shipped(name)[:, 0]
    longs = [s for s in soundings(name) if s.length_s > 0.65]
    assert longs
    for sounding in longs:
        steady = cut(take, sounding.onset_s + 0.25, sounding.stop_s)
        first = peak_near_hz(steady, sounding.pitch_hz)
        assert abs(cents(first, sounding.pitch_hz)) < 5.0, sounding


@each_take
def test_every_note_that_rings_grows_darker(name: str) -> None:
    for sounding in soundings(name):
        if sounding.note.technique in (FINGER, DOWN, UP) and sounding.length_s > 0.32:
            onset = sounding.onset_s
            for channel in shipped(name).T:
                early = centroid_hz(cut(channel, onset, onset + 0.06))
                late = centroid_hz(cut(channel, onset + 0.24, onset + 0.30))
                assert late < early, sounding


@each_take
def test_a_take_has_soft_notes_and_hard_ones(name: str) -> None:
    # 10 dB apart and more, the dead ones not counted
    take = shipped(name)
    peaks = [
        np.abs(cut(take, s.onset_s, s.stop_s)).max()
        for s in soundings(name)
        if s.note.technique not in DEAD
    ]
    assert db(max(peaks) / min(peaks)) > 10.0


# E1 and B0 from ISO 16, B of the strings as in instruments.py, the partials from
# Fletcher's formula; a cent, since the second polarisation is detuned by
# about that much
@pytest.mark.parametrize(
    ("name", "first", "stiffness"),
    [("harbour-walk", 41.2034, 9.0e-5), ("harbour-low", 30.8677, 3.06e-4)],
)
def test_the_long_low_note_sounds_at_a_stiff_strings_partials(
    name: str, first: float, stiffness: float
) -> None:
    long = soundings(name)[0]
    # the glide is over, the hand far off
    steady = cut(shipped(name)[:, 0], long.onset_s + 0.6, long.stop_s - 0.05)
    for n in (1, 2, 3, 4, 7, 8, 10, 13, 15, 20):
        expected = n * first * np.sqrt(1.0 + stiffness * n**2)
        assert abs(cents(peak_near_hz(steady, expected), expected)) < 1.0, n


def test_the_low_b_stopped_at_its_octave_has_its_tenth_partial_a_semitone_sharp() -> (
    None
):
    # source: J. A. Kemp, SN Applied Sciences 2 (2020) 636
    (octave,) = (
        s for s in soundings("harbour-low") if (s.note.string, s.note.fret) == ("B", 12)
    )
    steady = cut(shipped("harbour-low")[:, 0], octave.onset_s + 0.4, octave.stop_s)
    tenth = peak_near_hz(steady, 10 * octave.pitch_hz * 2.0 ** (1 / 12))
    assert cents(tenth, 10 * octave.pitch_hz) == pytest.approx(100.0, abs=4.0)


def test_hard_notes_are_brighter_and_reach_above_twelve_kilohertz() -> None:
    take = shipped("harbour-walk")[:, 0]
    attacks = {
        s.note.velocity: cut(take, s.onset_s - 0.01, s.onset_s + 0.03)
        for s in soundings("harbour-walk")
        if (s.note.string, s.note.fret) == ("E", 0)
    }
    shares = []
    for velocity in sorted(attacks):
        low, treble = bands_db(attacks[velocity], 20.0, 2e3, 8e3)
        shares.append(treble - low)
    assert len(attacks) == 3
    assert shares == sorted(shares)
    # well clear of the floor: 20 dB
    (floor_db,) = bands_db(take[: len(attacks[1.0])], 12e3, 16e3)
    assert bands_db(attacks[1.0], 12e3, 16e3)[0] > floor_db + 20.0


def test_a_pick_is_brighter_than_a_finger_on_the_same_string() -> None:
    # by 3 dB and more between 2 and 8 kHz: common practice, no source
    shares = []
    for name in ("harbour-pick", "harbour-walk"):
        take = shipped(name)[:, 0]
        (struck,) = (
            cut(take, s.onset_s - 0.01, s.onset_s + 0.09)
            for s in soundings(name)
            if (s.note.string, s.note.fret, s.note.velocity) == ("A", 0, 0.80)
        )
        low, _, treble = bands_db(struck, 20.0, 500.0, 2e3, 8e3)
        shares.append(treble - low)
    assert shares[0] > shares[1] + 3.0


def test_a_pick_lets_the_string_go_the_other_way_on_each_stroke_upwards() -> None:
    # until the wave from the far end is back, the string under the pickup moves
    # towards where it was drawn from
    take = shipped("harbour-pick")[:, 0]
    ways: dict[bool, set[bool]] = {True: set(), False: set()}
    for s in soundings("harbour-pick"):
        first = cut(take, s.onset_s + 0.0007, s.onset_s + 0.0013).mean()
        ways[s.note.technique in (UP, PALM_UP, CHOKED)].add(bool(first > 0.0))
    assert ways == {True: {True}, False: {False}}


def test_muted_notes_die_sooner() -> None:
    # 80 ms after the onset an open note has lost little, one under the edge of the hand
    # several dB, a dead one nearly all
    lost: dict[str, list[float]] = {"open": [], "palm": [], "dead": []}
    for name in ("harbour-walk", "harbour-pick"):
        take = shipped(name)[:, 0]
        for s in soundings(name):
            hand = s.note.technique
            kind = "dead" if hand in DEAD else "open"
            kind = "palm" if hand in (PALM, PALM_UP) else kind
            early = level_db(cut(take, s.onset_s, s.onset_s + 0.03))
            late = level_db(cut(take, s.onset_s + 0.08, s.onset_s + 0.11))
            lost[kind].append(early - late)
    assert max(lost["open"]) < min(lost["palm"])
    assert max(lost["palm"]) < min(lost["dead"])
    assert min(lost["dead"]) > 15.0


def long_notes_of_two() -> list[int]:
    """The notes of harbour-two that ring for 0.75 s and more."""
    return [i for i, s in enumerate(soundings("harbour-two")) if s.length_s > 0.75]


@pytest.mark.parametrize("index", long_notes_of_two())
def test_two_pickups_differ_as_their_places_demand(index: int) -> None:
    # closed form: a pickup at x sees partial n of a string of length L as sin(n·π·x/L),
    # whatever the stroke and the time; so a/sin(…a) = b/sin(…b), polarity included,
    # or without a division by what is nothing at a null: a·sin(…b) = b·sin(…a)
    sounding = soundings("harbour-two")[index]
    n = np.arange(1, 17)
    stiffness = {"E": 9.0e-5, "A": 5.2e-5, "D": 3.5e-5, "G": 3.0e-5}
    b = stiffness[sounding.note.string] * 2.0 ** (sounding.note.fret / 6)
    expected_hz = n * sounding.pitch_hz * np.sqrt(1.0 + b * n**2)
    length_m = 0.762 * 2.0 ** (-sounding.note.fret / 12)
    neck, bridge = (np.sin(n * np.pi * x / length_m) for x in (0.190, 0.080))

    steady = cut(shipped("harbour-two"), sounding.onset_s + 0.15, sounding.stop_s)
    at_neck, at_bridge = partials_at(steady, expected_hz).T
    error = np.abs(at_neck * bridge - at_bridge * neck)
    assert np.max(error / np.hypot(abs(at_neck), abs(at_bridge))) < 1e-3


def test_the_neck_pickup_has_nulls_where_it_stands_on_a_quarter_of_the_string() -> None:
    # closed form as above: 20·log10 |sin(n·π·0.190/0.762) / sin(n·π·0.080/0.762)|;
    # half a dB: the floor is not far below
    low_e = soundings("harbour-two")[0]
    n = np.array([4, 8, 12])
    expected_hz = n * 41.2034 * np.sqrt(1.0 + 9.0e-5 * n**2)
    steady = cut(shipped("harbour-two"), low_e.onset_s + 0.15, low_e.stop_s)
    at_neck, at_bridge = np.abs(partials_at(steady, expected_hz)).T
    depths_db = [db(ratio) for ratio in at_neck / at_bridge]
    assert depths_db == pytest.approx([-41.40, -29.34, -29.39], abs=0.5)


def test_bridge_and_neck_pickup_hear_one_performance() -> None:
    # the bridge pickup is the thinner one, and neither has anything the other lacks
    neck, bridge = shipped("harbour-two").T
    for sounding in soundings("harbour-two"):
        if sounding.note.technique is FINGER:
            span = (sounding.onset_s, sounding.onset_s + 0.1)
            assert centroid_hz(cut(bridge, *span)) > centroid_hz(cut(neck, *span))
