# SPDX-License-Identifier: GPL-3.0-or-later
"""Make the dry takes of ``demo_audio/``: our own tunes on strings of our own making.

    python tests/tools/make_takes.py OUT_DIR [--only harbour-walk] [--seconds N]

The same versions of the libraries write the same bytes every time. This file knows
files and what digital full scale stands for; the tunes are in ``tunes.py``.
"""

import argparse
from math import inf
from pathlib import Path

import numpy as np
import soundfile
from noises import SAMPLE_RATE_HZ, Floats
from string_synthesis import Note, onset_frame, render
from tunes import PERFORMANCES

FULL_SCALE_V = 1.0  # volts at the jack that digital full scale stands for


def notes_of(name: str) -> tuple[Note, ...]:
    """List the notes of a take, in the order they are played."""
    return PERFORMANCES[name].notes


def onsets_s(name: str) -> tuple[float, ...]:
    """When each of those notes begins in the recording, in seconds."""
    performance = PERFORMANCES[name]
    count = len(performance.notes)
    return tuple(onset_frame(performance, i) / SAMPLE_RATE_HZ for i in range(count))


def samples_of(name: str, seconds: float = inf) -> Floats:
    """Render a take on the 24-bit grid, full scale at 1, shape (frames, channels)."""
    voltage = render(PERFORMANCES[name], seconds)
    return np.asarray(np.rint(voltage / FULL_SCALE_V * 2.0**23) / 2.0**23)


def write_take(name: str, folder: Path, seconds: float = inf) -> Path:
    """Write one take as 24-bit FLAC, with its title and licence in the file."""
    samples = samples_of(name, seconds)
    path = folder / f"{name}.flac"
    with soundfile.SoundFile(
        path,
        "w",
        SAMPLE_RATE_HZ,
        samples.shape[1],
        "PCM_24",
        format="FLAC",
        compression_level=1.0,
    ) as file:
        file.title = PERFORMANCES[name].title
        file.license = "CC0-1.0"
        file.write(np.rint(samples * 2.0**31).astype(np.int32))
    return path


def main() -> None:
    """Write the takes that the command line asks for."""
    parser = argparse.ArgumentParser(description="Make the dry takes of demo_audio.")
    parser.add_argument("folder", type=Path, metavar="OUT_DIR")
    parser.add_argument("--only", choices=sorted(PERFORMANCES), metavar="NAME")
    parser.add_argument("--seconds", type=float, default=inf, help="only the beginning")
    asked = parser.parse_args()
    asked.folder.mkdir(parents=True, exist_ok=True)
    for name in [asked.only] if asked.only else PERFORMANCES:
        print(write_take(name, asked.folder, asked.seconds))


if __name__ == "__main__":
    main()
