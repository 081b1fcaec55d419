# SPDX-License-Identifier: GPL-3.0-or-later
"""How fast filters run and meters read, against scipy and against what can't be saved.

The floors are copying the take in memory, and reading it from and writing it to a file.
No test, and never collected as one.
"""

import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyloudnorm
import soundfile
from numpy.typing import NDArray
from scipy.signal import sosfilt

from tests.benchmarks.rounds import in_rounds, show
from tonebench.audio.levels import LevelMeter
from tonebench.audio.loudness import LoudnessMeter
from tonebench.audio.meters import Meters
from tonebench.audio.quantise import Quantiser
from tonebench.digital.bank import BankRunner, Clip, side_by_side
from tonebench.digital.cascade import Cascade
from tonebench.digital.kernel.engine import chosen

RATE_HZ = 48_000
BLOCK_FRAMES = 65_536
Sound = NDArray[np.float32]


def cascade(sections: int, seed: int) -> Cascade:
    """Draw stable sections; how long they take doesn't hang on their values."""
    rng = np.random.default_rng([sections, seed])
    rows = []
    for _ in range(sections):
        pole = rng.uniform(0.5, 0.99) * np.exp(1j * rng.uniform(0, 3))
        zero = rng.uniform(0.5, 0.99) * np.exp(1j * rng.uniform(0, 3))
        above = np.array([1, -2 * zero.real, abs(zero) ** 2]) * (1 - abs(pole))
        rows.append([*above, 1, -2 * pole.real, abs(pole) ** 2])
    return Cascade(np.array(rows), RATE_HZ)


def take(minutes: float) -> Sound:
    """Return noise that dies away every second, one channel."""
    rng = np.random.default_rng(1)
    second = rng.standard_normal(RATE_HZ) * np.exp(-np.arange(RATE_HZ) / 8000) / 8
    return np.tile(second.astype(np.float32), round(60 * minutes))[:, None]


def plainly(cascades: list[Cascade], sound: Sound) -> list[Sound]:
    """Filter as a plain script does: one call for each cascade, with casts."""
    return [
        sosfilt(c.sections.copy(), sound[:, 0].astype(float)).astype(np.float32)
        for c in cascades
    ]


def plainly_in_blocks(cascades: list[Cascade], sound: Sound) -> None:
    """Filter the same block by block."""
    states = [np.zeros((len(c.sections), 2)) for c in cascades]
    sections = [c.sections.copy() for c in cascades]
    for at in range(0, len(sound), BLOCK_FRAMES):
        block = sound[at : at + BLOCK_FRAMES, 0].astype(float)
        for k, rows in enumerate(sections):
            out, states[k] = sosfilt(rows, block, zi=states[k])
            out.astype(np.float32)


def banked(clips: list[Clip], sound: Sound, threads: int = 1) -> Callable[[], None]:
    """Return the job that filters block by block in one pass."""

    def job() -> None:
        runner = BankRunner(1, clips, dtype=np.float32, threads=threads)
        for at in range(0, len(sound), BLOCK_FRAMES):
            runner.process(sound[at : at + BLOCK_FRAMES])

    return job


def fed(meter: Meters | LevelMeter | LoudnessMeter, sound: NDArray[np.float64]) -> None:
    """Feed a meter block by block."""
    for at in range(0, len(sound), BLOCK_FRAMES):
        meter.feed(sound[at : at + BLOCK_FRAMES])


def filters(sound: Sound, rounds: int) -> None:
    """Print the table of the filters."""
    nine, six = [cascade(9, 1), cascade(9, 2)], [cascade(6, 1)]
    both = [side_by_side(c, 1) for c in nine]
    one = [side_by_side(six[0], 1)]
    for clip, truth in zip(
        BankRunner(1, both, dtype=np.float32).process(sound[:BLOCK_FRAMES]),
        plainly(nine, sound[:BLOCK_FRAMES]),
        strict=True,
    ):
        assert np.array_equal(clip[:, 0], truth)
    jobs = {
        "memcpy of the take": lambda: sound.copy(),
        "A and B, 9 sections: two sosfilt calls": lambda: plainly(nine, sound),
        "  the same in blocks": lambda: plainly_in_blocks(nine, sound),
        "  one pass": banked(both, sound),
        "  one pass, two threads allowed": banked(both, sound, threads=2),
        "one cascade, 6 sections: sosfilt": lambda: plainly(six, sound),
        "  kernel": banked(one, sound),
        "four pairings of A and B, 9 sections": banked(4 * both, sound),
        "  two threads": banked(4 * both, sound, threads=2),
    }
    claims = {
        "  the same in blocks": ("A and B, 9 sections: two sosfilt calls", None),
        "  one pass": ("A and B, 9 sections: two sosfilt calls", 4.0),
        "  one pass, two threads allowed": (
            "A and B, 9 sections: two sosfilt calls",
            5.5,
        ),
        "  kernel": ("one cascade, 6 sections: sosfilt", 2.5),
        "  two threads": ("four pairings of A and B, 9 sections", None),
    }
    show(in_rounds(jobs, rounds), claims)


def meters(sound: Sound, rounds: int) -> None:
    """Print the table of the meters and of the quantiser."""
    wide = sound.astype(float)
    tone = np.sin(np.arange(len(wide)) * np.pi / 3 + 1)[:, None] / 2
    plain = pyloudnorm.Meter(RATE_HZ)
    quantiser = Quantiser("pcm24", "clip")

    def quantised() -> None:
        for at in range(0, len(wide), BLOCK_FRAMES):
            quantiser.process(wide[at : at + BLOCK_FRAMES])

    jobs = {
        "memcpy of the take as float64": lambda: wide.copy(),
        "loudness: pyloudnorm": lambda: plain.integrated_loudness(wide),
        "  loudness alone": lambda: fed(LoudnessMeter(RATE_HZ, 1), wide),
        "  with level and true peak": lambda: fed(Meters(RATE_HZ, 1), wide),
        "  a tone that is all crests": lambda: fed(Meters(RATE_HZ, 1), tone),
        "level alone": lambda: fed(LevelMeter(1), wide),
        "24-bit rounding": quantised,
    }
    claims = {
        "  loudness alone": ("loudness: pyloudnorm", None),
        "  with level and true peak": ("loudness: pyloudnorm", None),
        "  a tone that is all crests": ("loudness: pyloudnorm", None),
    }
    show(in_rounds(jobs, rounds), claims)


def files(sound: Sound, rounds: int) -> None:
    """Print the table of the floors that are files."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "take.wav"

        def written(subtype: str) -> Callable[[], None]:
            return lambda: soundfile.write(path, sound, RATE_HZ, subtype)

        jobs = {
            "a float WAV: written by soundfile": written("FLOAT"),
            "  read": lambda: soundfile.read(path, dtype="float32"),
            "a 24-bit WAV: written by soundfile": written("PCM_24"),
            "  read again": lambda: soundfile.read(path, dtype="float32"),
        }
        show(in_rounds(jobs, rounds), {})


def main(minutes: float = 10, rounds: int = 5) -> None:
    """Print all tables."""
    print(f"{minutes:g} min of one channel at 48 kHz, float32; engine: {chosen()}\n")
    sound = take(minutes)
    filters(sound, rounds)
    meters(sound, rounds)
    files(sound, rounds)
