# SPDX-License-Identifier: GPL-3.0-or-later
"""A whole `compare` of a long take, against files alone and against a plain script.

All are processes of their own, measured side by side from their start to their end.
The plain script does what one would write by hand: read, filter, measure, match, write.
tonebench also takes true peaks, hashes, and makes a clip that switches; and, unless it
is asked for clips only, draws four pictures and a page that holds both clips as FLAC.
The last row has a cabinet behind both clips. No test, and never collected as one.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import soundfile

from tests.benchmarks.rounds import in_rounds, show
from tonebench.circuit.files import read_circuit, read_pickup
from tonebench.circuit.hookup import Hookup, join
from tonebench.digital.cascade import design
from tonebench.network.nodal import Network
from tonebench.network.roots import find_roots

RATE_HZ = 48_000
CLIPS = "compare --clips-only"
WHOLE = "compare, with page and pictures"
FILES_ALONE = """
import soundfile
sound, rate = soundfile.read("take.wav", dtype="float32")
for name in ("a.wav", "b.wav"):
    soundfile.write(name, sound, rate, subtype="PCM_24")
"""
PLAIN_SCRIPT = """
import numpy, pyloudnorm, soundfile
from scipy.signal import sosfilt
sound, rate = soundfile.read("take.wav")
clips = [sosfilt(numpy.load(f"{x}.npy"), sound) for x in "ab"]
meter = pyloudnorm.Meter(rate)
levels = [meter.integrated_loudness(clip) for clip in clips]
for name, clip, level in zip("ab", clips, levels):
    turned = clip * 10 ** ((min(levels) - level) / 20)
    soundfile.write(f"{name}.wav", turned, rate, subtype="PCM_24")
"""
WORDS = (
    *("compare", "--a", "tern", "--b", "plover", "--take", "take.wav"),
    *("--pickup", "sedge", "--cable", "700p", "-o", "out", "--force"),
)
IMPULSE_S = 2.0
BEHIND = f"tonebench compare behind an impulse of {IMPULSE_S:g} s"
CABINET = ("--after", "cabinet.wav")


def prepare(folder: Path, minutes: float) -> None:
    """Write a take, and the filters of both circuits for the plain script."""
    rng = np.random.default_rng(1)
    decay = np.exp(-np.arange(RATE_HZ) / 8000) / 8
    second = np.concatenate([rng.standard_normal(RATE_HZ) * decay, np.zeros(4800)])
    count = round(60 * minutes * RATE_HZ / len(second))
    take = np.tile(second, count)
    soundfile.write(folder / "take.wav", take, RATE_HZ, subtype="PCM_24")
    frames = round(IMPULSE_S * RATE_HZ)
    ringing = np.exp(-np.arange(frames) / 9000) / 50
    soundfile.write(
        folder / "cabinet.wav", rng.standard_normal(frames) * ringing, RATE_HZ, "FLOAT"
    )
    hookup = Hookup({"": read_pickup("sedge")}, cable_farad=700e-12)
    for letter, name in (("a", "tern"), ("b", "plover")):
        network = Network(join(read_circuit(name), hookup))
        (roots,) = find_roots(network, {})
        np.save(folder / f"{letter}.npy", design(roots, RATE_HZ).sections)


def main(minutes: float = 10, rounds: int = 5) -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        prepare(folder, minutes)

        def run(*words: str) -> None:
            command = [sys.executable, *words]
            subprocess.run(command, cwd=folder, check=True, capture_output=True)

        times = in_rounds(
            {
                "read the take, write it twice": lambda: run("-c", FILES_ALONE),
                "a plain script": lambda: run("-c", PLAIN_SCRIPT),
                CLIPS: lambda: run("-m", "tonebench", *WORDS, "--clips-only"),
                WHOLE: lambda: run("-m", "tonebench", *WORDS),
                BEHIND: lambda: run("-m", "tonebench", *WORDS, *CABINET),
            },
            rounds,
        )
    print(f"whole processes, a take of {minutes:g} minutes; goals: at least")
    show(times, dict.fromkeys((CLIPS, WHOLE), ("a plain script", 2.0)))
    print("files alone against compare; goal: at least 0.4, so at most 2.5 times")
    alone = "read the take, write it twice"
    show(times, dict.fromkeys((CLIPS, WHOLE), (alone, 0.4)))
    print("a cabinet against none; goal: at least 0.333, so at most 3 times")
    show(times, {BEHIND: (WHOLE, 0.333)})


if __name__ == "__main__":
    main()
