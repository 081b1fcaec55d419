# SPDX-License-Identifier: GPL-3.0-or-later
"""Sounds to test commands with; files are written and read apart from libsndfile."""

import warnings
import wave
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.io import wavfile

Real = NDArray[np.float64]
RATE = 48_000


def sine(hz: float, seconds: float, peak_dbfs: float = -20.0, rate: int = RATE) -> Real:
    """Return a sine that starts at zero, shape (frames,)."""
    t = np.arange(round(seconds * rate)) / rate
    return np.asarray(10 ** (peak_dbfs / 20) * np.sin(2 * np.pi * hz * t))


def noise(frames: int, channels: int = 1, seed: int = 1) -> Real:
    """Return seeded noise within ±0.1 that 32-bit floats hold exactly."""
    values = np.random.default_rng(seed).uniform(-0.1, 0.1, (frames, channels))
    return values.astype(np.float32).astype(float)


def impulse(frames: int, *places: tuple[int, float]) -> Real:
    """Return silence with single samples in it, each (frame, value)."""
    samples = np.zeros(frames)
    for frame, value in places:
        samples[frame] = value
    return samples


def write_float(path: Path, samples: ArrayLike, rate: int = RATE) -> Path:
    """Write a 32-bit float WAV with scipy; (frames,) or (frames, channels)."""
    wavfile.write(path, rate, np.asarray(samples, dtype=np.float32))
    return path


def write_24(path: Path, integers: NDArray[np.int64], rate: int = RATE) -> Path:
    """Write 24-bit integers, shape (frames, channels), with the standard library."""
    raw = (integers.astype("<i4") << 8).tobytes()
    upper = np.frombuffer(raw, np.uint8).reshape(-1, 4)[:, 1:]
    with wave.open(str(path), "wb") as file:
        file.setparams((integers.shape[1], 3, rate, 0, "NONE", ""))
        file.writeframes(upper.tobytes())
    return path


def read_integers(path: Path) -> NDArray[np.int64]:
    """Read the integers of a 24-bit WAV with the standard library."""
    with wave.open(str(path), "rb") as file:
        assert file.getsampwidth() == 3
        channels = file.getnchannels()
        raw = np.frombuffer(file.readframes(file.getnframes()), np.uint8)
    wide = np.zeros((len(raw) // 3, 4), np.uint8)
    wide[:, 1:] = raw.reshape(-1, 3)
    return (wide.view("<i4") >> 8).reshape(-1, channels).astype(np.int64)


def read_clip(path: Path) -> tuple[int, Real]:
    """Read a WAV with scipy: its rate, and samples of full scale ±1, 2-dimensional."""
    with warnings.catch_warnings():  # libsndfile pads before the sound, in a chunk
        warnings.simplefilter("ignore", wavfile.WavFileWarning)
        rate, samples = wavfile.read(path)
    if samples.dtype == np.int32:  # 24 bits, in the upper bytes
        samples = samples / 2.0**31
    assert samples.dtype.kind == "f"
    return rate, np.asarray(samples, dtype=float).reshape(len(samples), -1)


def level_db(samples: ArrayLike) -> float:
    """Return the RMS in dB re full scale, the plain root of the mean square."""
    return float(10 * np.log10(np.mean(np.square(samples))))
