# SPDX-License-Identifier: GPL-3.0-or-later
"""Sounds to test with, and files that are written and read apart from libsndfile."""

import wave
from pathlib import Path

import numpy as np

from tonebench.audio.clip_files import ClipWriter

EDGES_24 = [-(2**23), -(2**23) + 1, -1, 0, 1, 2**23 - 2, 2**23 - 1]
INTEGER_KINDS = [("x.wav", "pcm24"), ("x.flac", "pcm24"), ("x.wav", "pcm16")]


def integers_24(frames: int = 3000, channels: int = 2) -> np.ndarray:
    """Seeded 24-bit integers, with the edges of the range among them."""
    values = np.random.default_rng(5).integers(-(2**23), 2**23, (frames, channels))
    values[: len(EDGES_24), 0] = EDGES_24
    return values


def quiet_noise(frames: int = 3000, channels: int = 2) -> np.ndarray:
    return np.random.default_rng(6).uniform(-0.9, 0.9, (frames, channels))


def write_wave(path: Path, values: np.ndarray, sample_bytes: int, rate: int) -> Path:
    """Write integers with the standard library, apart from libsndfile."""
    shifted = (values.astype("<i4") << (32 - 8 * sample_bytes)).tobytes()
    raw = np.frombuffer(shifted, np.uint8).reshape(-1, 4)[:, 4 - sample_bytes :]
    with wave.open(str(path), "wb") as file:
        file.setparams((values.shape[1], sample_bytes, rate, 0, "NONE", ""))
        file.writeframes(raw.tobytes())
    return path


def read_wave(path: Path) -> np.ndarray:
    """Read integers with the standard library, apart from libsndfile."""
    with wave.open(str(path), "rb") as file:
        width, channels = file.getsampwidth(), file.getnchannels()
        raw = np.frombuffer(file.readframes(file.getnframes()), np.uint8)
    wide = np.zeros((len(raw) // width, 4), np.uint8)
    wide[:, 4 - width :] = raw.reshape(-1, width)
    return (wide.view("<i4") >> (32 - 8 * width)).reshape(-1, channels)


def write_clip(path: Path, samples: np.ndarray, size: int = 1000, **options) -> Path:
    with ClipWriter(path, 48000, samples.shape[1], **options) as clip:
        for at in range(0, len(samples), size):
            clip.write(samples[at : at + size])
    return path


def names_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())
