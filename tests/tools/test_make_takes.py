# SPDX-License-Identifier: GPL-3.0-or-later
"""The shipped takes: made by this script, in tune, dry, and fit to be listened with."""

import subprocess
import sys
from pathlib import Path

import make_takes
import numpy as np
import pytest
import soundfile
from noises import SAMPLE_RATE_HZ, Floats
from string_synthesis import String, partials_hz

DEMO_AUDIO = Path(__file__).parents[2] / "demo_audio"
NAME = "harbour-walk"
STEP = 2.0**-23  # of 24 bits
BEAT_S = 60.0 / 96.0


@pytest.fixture(scope="module")
def take() -> Floats:
    samples, rate = soundfile.read(DEMO_AUDIO / f"{NAME}.flac")
    assert rate == SAMPLE_RATE_HZ
    return np.asarray(samples)


def cut(take: Floats, start_s: float, end_s: float) -> Floats:
    return take[round(start_s * SAMPLE_RATE_HZ) : round(end_s * SAMPLE_RATE_HZ)]


def level_db(samples: Floats) -> float:
    return float(20.0 * np.log10(np.sqrt(np.mean(samples**2))))


def peak_near_hz(samples: Floats, frequency_hz: float) -> float:
    """Peak of the spectrum within 5 Hz, by a parabola through the log magnitudes."""
    size = 2**19
    spectrum = np.log(np.abs(np.fft.rfft(samples * np.blackman(len(samples)), size)))
    bins = np.fft.rfftfreq(size, 1.0 / SAMPLE_RATE_HZ)
    near = np.flatnonzero(np.abs(bins - frequency_hz) < 5.0)
    top = near[np.argmax(spectrum[near])]
    left, middle, right = spectrum[top - 1 : top + 2]
    return float(
        (top + 0.5 * (left - right) / (left - 2.0 * middle + right))
        * (SAMPLE_RATE_HZ / size)
    )


def cents(frequency_hz: float, reference_hz: float) -> float:
    return float(1200.0 * np.log2(frequency_hz / reference_hz))


def band_level_db(samples: Floats, low_hz: float, high_hz: float) -> float:
    power = np.abs(np.fft.rfft(samples * np.hanning(len(samples)))) ** 2
    bins = np.fft.rfftfreq(len(samples), 1.0 / SAMPLE_RATE_HZ)
    inside = (bins >= low_hz) & (bins < high_hz)
    return float(10.0 * np.log10(power[inside].sum()))


def centroid_hz(samples: Floats) -> float:
    power = np.abs(np.fft.rfft(samples * np.hanning(len(samples)))) ** 2
    bins = np.fft.rfftfreq(len(samples), 1.0 / SAMPLE_RATE_HZ)
    return float((power * bins).sum() / power.sum())


@pytest.mark.parametrize(
    ("key", "pitch_hz"), [(28, 41.2034), (33, 55.0), (38, 73.4162), (43, 97.9989)]
)
def test_open_strings_have_the_pitches_of_iso_16(key: int, pitch_hz: float) -> None:
    open_hz = [string.open_hz for string in make_takes.SHORT_SCALE]
    assert [s.key for s in make_takes.SHORT_SCALE] == [28, 33, 38, 43]
    assert pitch_hz == pytest.approx(open_hz[(key - 28) // 5], abs=5e-5)


# source: Fletcher's stiff string; cents = 1200·log2 √(1 + B·n²), worked out by hand
@pytest.mark.parametrize(
    ("n", "stretch_cents"), [(2, 0.346), (5, 2.161), (10, 8.613), (20, 33.95)]
)
def test_partials_are_stretched_as_a_stiff_strings(
    n: int, stretch_cents: float
) -> None:
    partials = partials_hz(String("A", 33, 1e-4, 145.0, 0.3))
    assert cents(partials[n - 1], n * 55.0) == pytest.approx(stretch_cents, abs=0.006)


def test_stopping_a_string_stretches_its_partials_as_measured_on_a_bass() -> None:
    # source: J. A. Kemp, SN Applied Sciences 2 (2020) 636: a low B string has its 10th
    # partial about 100 cents sharp at fret 12, its 6th about 100 cents at fret 21; the
    # first figure sets B here, the second checks how B goes with the length
    at_twelve = (2.0 ** (200 / 1200) - 1.0) / 10**2
    low_b = String("B", 23, at_twelve / 4.0, 140.0, 0.3)
    tenth, sixth = partials_hz(low_b, 12)[9], partials_hz(low_b, 21)[5]
    assert cents(tenth, 10 * 61.7354) == pytest.approx(100.0, abs=0.01)
    assert cents(sixth, 6 * 30.8677 * 2.0 ** (21 / 12)) == pytest.approx(100.0, abs=5.0)


def test_the_long_low_e_sounds_at_a_stiff_strings_partials(take: Floats) -> None:
    # E1 from ISO 16, the partials from Fletcher's formula; a cent, since the second
    # polarisation is detuned by about that much
    first, stiffness = 41.2034, make_takes.SHORT_SCALE[0].stiffness
    onset = make_takes.onsets_s(NAME)[0]
    steady = cut(take, onset + 0.6, onset + 2.0)  # the glide is over, the hand far off
    for n in (1, 2, 3, 4, 7, 8, 10, 13, 15, 20):
        expected = n * first * np.sqrt(1.0 + stiffness * n**2)
        assert abs(cents(peak_near_hz(steady, expected), expected)) < 1.0, n


def test_the_script_makes_the_shipped_file(take: Floats) -> None:
    # within a step of 24 bits: on another processor sin and exp may differ in their
    # last bit, which now and then turns a rounding
    made = make_takes.samples_of(NAME, 3.0)[:, 0]
    assert np.abs(made - take[: len(made)]).max() <= STEP


def test_the_command_writes_the_same_bytes_each_time(tmp_path: Path) -> None:
    script = Path(make_takes.__file__)
    for folder in ("one", "two"):
        command = [sys.executable, str(script), str(tmp_path / folder)]
        options = ["--only", NAME, "--seconds", "0.4"]
        subprocess.run([*command, *options], check=True, capture_output=True)
    one, two = (tmp_path / folder / f"{NAME}.flac" for folder in ("one", "two"))
    assert one.read_bytes() == two.read_bytes()
    assert soundfile.info(one).frames == round(0.4 * SAMPLE_RATE_HZ)


def test_the_shipped_file_is_small_and_says_what_it_is() -> None:
    path = DEMO_AUDIO / f"{NAME}.flac"
    assert path.stat().st_size < 1_500_000
    with soundfile.SoundFile(path) as file:
        assert (file.samplerate, file.channels, file.subtype) == (48_000, 1, "PCM_24")
        assert 15.0 <= file.frames / file.samplerate <= 20.0
        assert (file.title, file.license) == ("Harbour walk, fingers", "CC0-1.0")


def test_the_take_has_headroom_and_no_dc(take: Floats) -> None:
    assert 20.0 * np.log10(np.abs(take).max()) < -3.0
    assert abs(take.mean()) < 1e-5  # -100 dBFS


def test_the_take_is_as_peaky_as_a_plucked_bass(take: Floats) -> None:
    # 12 to 18 dB: common practice, no source
    crest_db = 20.0 * np.log10(np.abs(take).max()) - level_db(take)
    assert 12.0 < crest_db < 18.0


def test_every_plucked_note_grows_darker(take: Floats) -> None:
    notes, onsets = make_takes.notes_of(NAME), make_takes.onsets_s(NAME)
    for note, onset in zip(notes, onsets, strict=True):
        if note.technique is make_takes.FINGER and note.beats > 0.5:
            early = centroid_hz(cut(take, onset, onset + 0.06))
            late = centroid_hz(cut(take, onset + 0.24, onset + 0.30))
            assert late < early, note


def test_hard_notes_are_brighter_and_reach_above_twelve_kilohertz(take: Floats) -> None:
    notes, onsets = make_takes.notes_of(NAME), make_takes.onsets_s(NAME)
    attacks = {
        note.velocity: cut(take, onset - 0.01, onset + 0.03)
        for note, onset in zip(notes, onsets, strict=True)
        if (note.string, note.fret) == ("E", 0)
    }
    treble_share_db = [
        band_level_db(attacks[velocity], 2e3, 8e3)
        - band_level_db(attacks[velocity], 20.0, 2e3)
        for velocity in sorted(attacks)
    ]
    assert len(attacks) == 3
    assert treble_share_db == sorted(treble_share_db)
    # well clear of the floor: 20 dB
    floor_db = band_level_db(take[: len(attacks[1.0])], 12e3, 16e3)
    assert band_level_db(attacks[1.0], 12e3, 16e3) > floor_db + 20.0


def test_each_string_is_stopped_before_it_is_plucked_again() -> None:
    notes, onsets = make_takes.notes_of(NAME), make_takes.onsets_s(NAME)
    free_at = dict.fromkeys("EADG", 0.0)
    for note, onset in zip(notes, onsets, strict=True):
        assert free_at[note.string] < onset - note.technique.pull_s[0] / 2, note
        free_at[note.string] = onset + note.beats * BEAT_S


def test_the_rest_and_the_end_are_quiet_and_the_stopping_hand_makes_no_click(
    take: Floats,
) -> None:
    notes, onsets = make_takes.notes_of(NAME), make_takes.onsets_s(NAME)
    length_s = len(take) / SAMPLE_RATE_HZ
    high = next(i for i, note in enumerate(notes) if note.string == "G")
    for index, until in ((high, onsets[high + 1] - 0.06), (-1, length_s)):
        stop = onsets[index] + notes[index].beats * BEAT_S
        ringing, stopping = cut(take, stop - 0.06, stop), cut(take, stop, until)
        assert np.abs(np.diff(stopping)).max() <= np.abs(np.diff(ringing)).max()
        quiet = cut(take, stop + 0.16, until)
        assert len(quiet) > 0.3 * SAMPLE_RATE_HZ
        assert level_db(quiet) == pytest.approx(-90.0, abs=2.0)
