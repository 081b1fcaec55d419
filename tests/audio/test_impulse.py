# SPDX-License-Identifier: GPL-3.0-or-later
"""Impulse responses: level-true at every rate, and refused in one sentence."""

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.io import wavfile
from scipy.signal import freqz
from sounds import RATE, impulse, noise, write_float

from tonebench.audio.impulse import read_impulse
from tonebench.errors import AudioError

HZ = np.geomspace(20, 19_500, 300)


def response(samples: NDArray[np.float64], rate: float, origin: int = 0) -> object:
    """Return the response at HZ by scipy's sum over the samples, from the origin on."""
    _, found = freqz(samples, worN=2 * np.pi * HZ / rate)
    return found * np.exp(2j * np.pi * HZ / rate * origin)


def test_samples_are_those_of_the_file(tmp_path: Path) -> None:
    samples = noise(500, 2)
    found = read_impulse(write_float(tmp_path / "cab.wav", samples, 44_100))
    assert np.array_equal(found.samples, samples)
    assert (found.name, found.sample_rate_hz, found.origin) == ("cab.wav", 44_100, 0)
    assert found.at_rate(44_100) is found


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000, 192_000])
@pytest.mark.parametrize("other", [44_100, 48_000, 88_200, 96_000])
def test_gain_and_delay_stay_at_another_rate(
    tmp_path: Path, rate: int, other: int
) -> None:
    # a click, and a later one upside down: a comb whose teeth are easily missed
    samples = impulse(400, (0, 0.5), (37, -0.3), (200, 0.1))
    found = read_impulse(write_float(tmp_path / "cab.wav", samples, rate))
    again = found.at_rate(other)
    before = response(found.samples[:, 0], rate)
    after = response(again.samples[:, 0], other, again.origin)
    # 5e-4 of a gain near 0.5 is 0.01 dB, what the filters are held to as well
    assert after == pytest.approx(before, abs=5e-4)


def test_a_channel_stays_a_channel_at_another_rate(tmp_path: Path) -> None:
    samples = np.stack([impulse(50, (0, 1)), impulse(50, (0, 0.25))], axis=1)
    again = read_impulse(write_float(tmp_path / "c.wav", samples)).at_rate(96_000)
    assert again.samples[:, 1] == pytest.approx(again.samples[:, 0] / 4, abs=1e-12)


def test_gain_is_told_in_thirds_of_an_octave(tmp_path: Path) -> None:
    # a click of a half: 20·lg(0.5) at every frequency
    half = read_impulse(write_float(tmp_path / "half.wav", impulse(10, (3, 0.5))))
    assert half.gain_db([20, 1000, 20_000]) == pytest.approx(-6.0206, abs=1e-4)
    # two clicks 1 ms apart: power (1 + cos(2π·f·τ))/2, and its mean from f1 to f2 is
    # 1/2 + (sin(2π·f2·τ) − sin(2π·f1·τ))/(4π·τ·(f2 − f1))
    comb = read_impulse(
        write_float(tmp_path / "comb.wav", impulse(60, (0, 0.5), (48, 0.5)))
    )
    f1, f2, tau = 10_000 / 2 ** (1 / 6), 10_000 * 2 ** (1 / 6), 1e-3
    wave = np.sin(2 * np.pi * f2 * tau) - np.sin(2 * np.pi * f1 * tau)
    mean = 0.5 + wave / (4 * np.pi * tau * (f2 - f1))
    assert comb.gain_db([10_000]) == pytest.approx(10 * np.log10(mean), abs=0.01)
    assert comb.gain_db([1.0]) == pytest.approx(0.0, abs=0.01)


def written(folder: Path, rate: int, samples: object) -> Path:
    wavfile.write(folder / "cab.wav", rate, np.asarray(samples, dtype=np.float32))
    return folder / "cab.wav"


@pytest.mark.parametrize(
    ("samples", "words"),
    [
        (np.zeros(100), "is silent, and as an impulse response would silence all"),
        ([0.5, np.nan], "every sample must be a finite number, got nan at sample"),
        ([np.inf], "every sample must be a finite number"),
        (np.ones(31 * 8000), "lasts at most 30 s, but this has 31.0 s; is it a take?"),
        ([], "holds no sound"),
    ],
)
def test_what_can_be_no_response_is_refused(
    tmp_path: Path, samples: object, words: str
) -> None:
    with pytest.raises(AudioError, match=r"cab\.wav: ") as told:
        read_impulse(written(tmp_path, 8000, samples))
    assert words in str(told.value)


def test_a_file_that_is_none_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "cab.wav"
    with pytest.raises(AudioError, match="no such file"):
        read_impulse(path)
    path.write_bytes(b"")
    with pytest.raises(AudioError, match="is empty"):
        read_impulse(path)
    path.write_bytes(b"no sound at all")
    with pytest.raises(AudioError, match="can't be read as a recording"):
        read_impulse(path)


def test_a_second_at_the_rate_of_the_take_is_no_longer_than_it_says(
    tmp_path: Path,
) -> None:
    found = read_impulse(write_float(tmp_path / "cab.wav", noise(RATE)))
    assert found.duration_s == 1.0
