# SPDX-License-Identifier: GPL-3.0-or-later
"""Levels at digital full scale, tunings, and what a take can't be.

0 dBu is √0.6 V rms, and a sine's peak √2 times its rms; pitches are those of equal
temperament at A4 = 440 Hz (ISO 16): f = 440·2^((m − 69)/12).
"""

import math
from pathlib import Path

import pytest

from tonebench.audio.take import Take, loads_of, open_strings_hz, parse_full_scale
from tonebench.circuit.circuit import Circuit, Input
from tonebench.circuit.hookup import Hookup, Neighbour, Pickup
from tonebench.circuit.parts import Resistor
from tonebench.errors import RequestError

COIL = Pickup("coil", 5e3, 2.0, 1e-10)
OTHER = Pickup("other", 9e3, 4.0, 2e-10)
MIXER = Circuit(
    "mixer",
    "Mixer",
    (Input("neck", "n"), Input("bridge", "b")),
    "out",
    (Resistor("R1", ("n", "out"), 1e5), Resistor("R2", ("b", "out"), 1e5)),
)


# Full scale


@pytest.mark.parametrize(
    ("text", "volts"),
    [
        ("2.75V", 2.75),
        ("2.75", 2.75),
        ("1 V", 1.0),
        ("500mV", 0.5),
        ("500m", 0.5),
        ("1mV", 1e-3),
        ("100V", 100.0),
        # √0.6 V rms is 0.7745967 V, and 4 dB more 1.227653 V; the peak is √2 higher
        ("0dBu", math.sqrt(2) * 0.7745967),
        ("+4dBu", math.sqrt(2) * 1.227653),
        ("4 dBu", math.sqrt(2) * 1.227653),
        # −10 dBV is 0.316228 V rms, −7.7815 dBu
        ("-7.7815dBu", math.sqrt(2) * 0.316228),
        ("−7.7815 dBu", math.sqrt(2) * 0.316228),
        # a sine from rail to rail of 9 V: 4.5 V peak, +12.272 dBu
        ("+12.272dBu", 4.5),
        # 3 V peak is +8.751 dBu
        (" +8.751 dBu ", 3.0),
    ],
)
def test_full_scale_is_read_as_volts_peak(text: str, volts: float) -> None:
    # the printed figures end at 0.001 dB, of which half is 5.8e-5
    assert parse_full_scale(text) == pytest.approx(volts, rel=6e-5)


def test_the_sine_of_0_dbu_has_a_peak_of_root_1_2_volts() -> None:
    assert parse_full_scale("0dBu") == pytest.approx(math.sqrt(1.2), rel=1e-14)


def test_a_decibel_of_full_scale_is_a_twentieth_of_a_decade() -> None:
    for step in range(-40, 40):
        ratio = parse_full_scale(f"{step / 4 + 1:+g}dBu") / parse_full_scale(
            f"{step / 4:+g}dBu"
        )
        assert ratio == pytest.approx(10 ** (1 / 20), rel=1e-12)


@pytest.mark.parametrize(
    "text",
    ["", "loud", "8dB", "8dBV", "8 dBFS", "dBu", "1e3dBu", "99999dBu", "2,75V", "4k7Ω"],
)
def test_what_is_no_level_is_refused_with_two_examples(text: str) -> None:
    with pytest.raises(RequestError) as refused:
        parse_full_scale(text)
    told = str(refused.value)
    assert told == (
        f"full_scale: cannot read '{text}' as a level; write it like '2.75V' or '+8dBu'"
    )


@pytest.mark.parametrize("text", ["0V", "-3V", "0.9mV", "101V", "999dBu", "-100dBu"])
def test_levels_that_no_jack_has_are_refused(text: str) -> None:
    with pytest.raises(RequestError) as refused:
        parse_full_scale(text)
    told = str(refused.value)
    assert told == f"full_scale must be from 1 mV to 100 V, got '{text}'"


# Tunings


@pytest.mark.parametrize(
    ("tuning", "hz"),
    [
        ("B0 E1 A1 D2 G2 C3", (30.8677, 41.2034, 55.0, 73.4162, 97.9989, 130.8128)),
        (
            "E2 A2 D3 G3 B3 E4",
            (82.4069, 110.0, 146.8324, 195.9977, 246.9417, 329.6276),
        ),
        ("C4 A4", (261.6256, 440.0)),
        ("", ()),
        ("  E1   A1 ", (41.2034, 55.0)),
    ],
)
def test_open_strings_have_the_pitches_of_equal_temperament(
    tuning: str, hz: tuple[float, ...]
) -> None:
    assert open_strings_hz(tuning) == pytest.approx(hz, abs=5e-5)


def test_every_note_is_where_its_semitone_puts_it() -> None:
    names = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"]
    for m in range(12, 109):
        octave, k = divmod(m, 12)
        (hz,) = open_strings_hz(f"{names[k]}{octave - 1}")
        assert hz == pytest.approx(440 * 2 ** ((m - 69) / 12), rel=1e-14)


def test_a_flat_is_the_sharp_below_and_octaves_begin_at_c() -> None:
    for flat, sharp in (("Eb1", "D#1"), ("Bb0", "A#0"), ("Gb2", "F#2"), ("Cb2", "B1")):
        assert open_strings_hz(flat) == pytest.approx(open_strings_hz(sharp))
    assert open_strings_hz("A-1") == pytest.approx(
        (13.75,)
    )  # 440 Hz, five octaves down


@pytest.mark.parametrize(
    ("tuning", "word"),
    [
        ("H1", "H1"), ("E1, A1", "E1,"), ("e1", "e1"), ("E", "E"), ("E1A1", "E1A1"),
        ("E1 A10", "A10"), ("E♭1", "E♭1"), ("E##1", "E##1"), ("standard", "standard"),
    ],
)  # fmt: skip
def test_a_word_that_is_no_note_is_refused(tuning: str, word: str) -> None:
    with pytest.raises(RequestError) as refused:
        open_strings_hz(tuning)
    told = str(refused.value)
    assert told == f"tuning: '{word}' is no note; write it like 'E1 A1 D2 G2'"
    with pytest.raises(RequestError, match="is no note"):
        Take(Path("take.wav"), tuning=tuning)


# What loaded it


def test_of_a_take_nothing_is_known_unless_it_is_said() -> None:
    take = Take(Path("somewhere/mine.take-2.wav"))
    assert take.name == "mine.take-2"
    assert (take.title, take.instrument, take.tuning) == ("", "", "")
    assert take.full_scale_v is None
    assert take.loads == ()


def test_every_pickup_of_a_take_has_its_own_load() -> None:
    recorded = Hookup({"neck": COIL, "bridge": OTHER}, cable_farad=7e-10, load_ohm=1e6)
    lines = [load.line for load in loads_of(recorded)]
    assert lines == [
        "coil → 700 pF lead → straight → 1 MΩ",
        "other → 700 pF lead → straight → 1 MΩ",
    ]
    take = Take(Path("take.wav"), recorded=recorded)
    assert [load.line for load in take.loads] == lines


def test_pickups_mixed_before_the_recorder_are_one_load() -> None:
    recorded = Hookup({"neck": COIL, "bridge": OTHER}, before=(Neighbour(MIXER),))
    (load,) = loads_of(recorded)
    assert [source.input for source in load.sources] == ["neck", "bridge"]


@pytest.mark.parametrize(
    ("recorded", "told"),
    [
        (Hookup({"": COIL}, source_ohm=50.0), "source is the resistance of what"),
        (
            Hookup({"middle": COIL}, before=(Neighbour(MIXER),)),
            "straight has no input 'middle' to put a pickup on; it has bridge, neck",
        ),
        (
            Hookup({"": COIL}, before=(Neighbour(MIXER), Neighbour(MIXER))),
            "mixer can't stand before straight",
        ),
    ],
)
def test_a_load_that_does_not_fit_together_is_refused(
    recorded: Hookup, told: str
) -> None:
    with pytest.raises(RequestError, match=told):
        Take(Path("take.wav"), recorded=recorded)
