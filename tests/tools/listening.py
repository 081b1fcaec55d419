# SPDX-License-Identifier: GPL-3.0-or-later
"""What the tests of the shipped takes hear in them: pitches, levels, bands.

Knows where the takes lie and when their notes sound; nothing of how they were made.
"""

from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import soundfile
from make_takes import notes_of, onsets_s
from noises import SAMPLE_RATE_HZ, Floats
from numpy.typing import NDArray
from string_synthesis import Note
from tunes import PERFORMANCES

DEMO_AUDIO = Path(__file__).parents[2] / "demo_audio"
NAMES = tuple(sorted(PERFORMANCES))
DAMPED_S = 0.16  # a string that is stopped has died away after this time
ARRIVAL_S = 0.06  # finger or pick arrive before the onset by no more than this
# MIDI key numbers of the open strings, for pitches after ISO 16
KEYS = {"B": 23, "E": 28, "A": 33, "D": 38, "G": 43}


@dataclass(frozen=True, slots=True)
class Sounding:
    """A note of a take, with the times of its onset and stop in the recording."""

    note: Note
    onset_s: float
    stop_s: float

    @property
    def length_s(self) -> float:
        """How long it may ring, in seconds."""
        return self.stop_s - self.onset_s

    @property
    def pitch_hz(self) -> float:
        """Its pitch in equal temperament, A4 at 440 Hz (ISO 16)."""
        return float(
            440.0 * 2.0 ** ((KEYS[self.note.string] + self.note.fret - 69) / 12)
        )


@cache
def shipped(name: str) -> Floats:
    """Read a shipped take, shape (frames, channels)."""
    samples, rate = soundfile.read(DEMO_AUDIO / f"{name}.flac", always_2d=True)
    assert rate == SAMPLE_RATE_HZ
    return np.asarray(samples)


def soundings(name: str) -> tuple[Sounding, ...]:
    """List what sounds when in a take, in the order of the onsets."""
    beat_s = PERFORMANCES[name].beat_s
    return tuple(
        Sounding(note, onset, onset + note.beats * beat_s)
        for note, onset in zip(notes_of(name), onsets_s(name), strict=True)
    )


def rests(name: str) -> tuple[tuple[float, float], ...]:
    """List from when to when nothing can sound, by the notes, 0.3 s or longer."""
    free_s = -DAMPED_S
    found = []
    ends = [s.onset_s - ARRIVAL_S for s in soundings(name)]
    stops = [s.stop_s for s in soundings(name)]
    length_s = len(shipped(name)) / SAMPLE_RATE_HZ
    for end, stop in zip([*ends, length_s], [*stops, length_s], strict=True):
        if end - (free_s + DAMPED_S) >= 0.3:
            found.append((free_s + DAMPED_S, end))
        free_s = max(free_s, stop)
    return tuple(found)


def cut(take: Floats, start_s: float, end_s: float) -> Floats:
    """Cut a piece out of a take by seconds."""
    return take[round(start_s * SAMPLE_RATE_HZ) : round(end_s * SAMPLE_RATE_HZ)]


def db(ratio: float) -> float:
    """Return a ratio of amplitudes in dB."""
    return float(20.0 * np.log10(ratio))


def level_db(samples: Floats) -> float:
    """Return the RMS in dB re full scale."""
    return db(np.sqrt(np.mean(samples**2)))


def cents(frequency_hz: float, reference_hz: float) -> float:
    """Return how much higher a frequency is, in hundredths of a semitone."""
    return float(1200.0 * np.log2(frequency_hz / reference_hz))


def bands_db(samples: Floats, *edges_hz: float) -> tuple[float, ...]:
    """Return the levels between neighbouring edges, in dB re one common level."""
    power = np.abs(np.fft.rfft(samples * np.hanning(len(samples)))) ** 2
    places = np.searchsorted(_bins(len(samples)), edges_hz)
    return tuple(float(10.0 * np.log10(power[a:b].sum())) for a, b in pairwise(places))


def centroid_hz(samples: Floats) -> float:
    """Return the mean frequency of the power spectrum."""
    power = np.abs(np.fft.rfft(samples * np.hanning(len(samples)))) ** 2
    return float((power * _bins(len(samples))).sum() / power.sum())


def peak_near_hz(samples: Floats, frequency_hz: float) -> float:
    """Peak of the spectrum within 5 Hz, by a parabola through the log magnitudes."""
    size = 2**19
    spectrum = np.log(np.abs(np.fft.rfft(samples * np.blackman(len(samples)), size)))
    near = np.flatnonzero(np.abs(_bins(size) - frequency_hz) < 5.0)
    top = near[np.argmax(spectrum[near])]
    return float((top + _vertex(spectrum[top - 1 : top + 2])) * SAMPLE_RATE_HZ / size)


def period_s(samples: Floats, about_s: float) -> float:
    """Find the period that fits best, from five semitones under to five over a guess.

    The lag with the highest autocorrelation, each normalised by the power of the two
    pieces that it compares, and refined by a parabola.
    """
    lags = about_s * SAMPLE_RATE_HZ * 2.0 ** (np.array([-5, 5]) / 12)
    first, last = int(lags[0]), int(lags[1]) + 1
    fits = np.array([_likeness(samples, lag) for lag in range(first, last)])
    top = int(np.argmax(fits[1:-1])) + 1
    return float((first + top + _vertex(fits[top - 1 : top + 2])) / SAMPLE_RATE_HZ)


def partials_at(channels: Floats, frequencies_hz: Floats) -> NDArray[np.complex128]:
    """Return complex amplitudes of some partials, shape (partials, channels).

    Each is read within 5 Hz, where all channels together are strongest.
    """
    size = 2**18
    window = np.blackman(len(channels))[:, np.newaxis]
    spectrum = np.fft.rfft(channels * window, size, axis=0) / window.sum()
    power, bins = (np.abs(spectrum) ** 2).sum(axis=1), _bins(size)
    tops = []
    for frequency in frequencies_hz:
        near = np.flatnonzero(np.abs(bins - frequency) < 5.0)
        tops.append(near[np.argmax(power[near])])
    return np.asarray(spectrum[tops])


def _likeness(samples: Floats, lag: int) -> float:
    early, late = samples[:-lag], samples[lag:]
    return float(early @ late / np.sqrt((early @ early) * (late @ late)))


def _vertex(three: Floats) -> float:
    """How far the vertex of the parabola through three values is from the middle."""
    left, middle, right = three
    return float(0.5 * (left - right) / (left - 2.0 * middle + right))


def _bins(size: int) -> Floats:
    return np.fft.rfftfreq(size, 1.0 / SAMPLE_RATE_HZ).astype(np.float64)
