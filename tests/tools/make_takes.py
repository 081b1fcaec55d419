# SPDX-License-Identifier: GPL-3.0-or-later
"""Make the dry takes of ``demo_audio/``: our own tunes on strings of our own making.

    python tests/tools/make_takes.py OUT_DIR [--only harbour-walk] [--seconds N]

The same versions of the libraries write the same bytes every time. This file knows
the tunes and the instruments; how a string moves is in ``string_synthesis.py``.
"""

import argparse
from math import inf
from pathlib import Path

import numpy as np
import soundfile
from noises import SAMPLE_RATE_HZ, Floats
from string_synthesis import (
    Note,
    Performance,
    String,
    Technique,
    onset_frame,
    render,
)

FULL_SCALE_V = 1.0  # volts at the jack that digital full scale stands for

# Tensions and pickup strengths are common practice, no source; B follows from a
# steel core of 0.52 mm (E) down to 0.40 mm (G): B = π³·E·d⁴ / (64·T·L²).
SHORT_SCALE = (
    String("E", 28, stiffness=9.0e-5, tension_n=135.0, volts_per_speed=0.33),
    String("A", 33, stiffness=5.2e-5, tension_n=145.0, volts_per_speed=0.30),
    String("D", 38, stiffness=3.5e-5, tension_n=150.0, volts_per_speed=0.23),
    String("G", 43, stiffness=3.0e-5, tension_n=145.0, volts_per_speed=0.18),
)

FINGER = Technique(
    place_m=0.165,
    force_n=5.0,
    contact_m=(0.0070, 0.0016),
    pull_s=(0.040, 0.026),
    scrape=0.05,
    glide_cents=12.0,
)
GHOST = Technique(
    place_m=0.175,
    force_n=4.0,
    contact_m=(0.0070, 0.0030),
    pull_s=(0.030, 0.022),
    scrape=0.12,
    glide_cents=0.0,
    muting_per_s=38.0,
)

# beat, string, fret, velocity, beats, technique; a third of a beat early is the swing
HARBOUR_WALK_NOTES = (
    Note(0.00, "E", 0, 0.62, 3.30, FINGER),
    Note(3.67, "A", 0, 0.45, 0.20, GHOST),
    Note(4.00, "E", 4, 0.60, 0.88, FINGER),
    Note(5.00, "A", 2, 0.62, 0.88, FINGER),
    Note(6.00, "A", 4, 0.68, 0.60, FINGER),
    Note(6.67, "A", 4, 0.40, 0.22, GHOST),
    Note(7.00, "D", 2, 0.70, 0.92, FINGER),
    Note(8.00, "A", 0, 0.80, 0.90, FINGER),
    Note(9.00, "A", 4, 0.60, 0.90, FINGER),
    Note(10.00, "D", 2, 0.64, 0.88, FINGER),
    Note(11.00, "D", 4, 0.66, 0.60, FINGER),
    Note(11.67, "D", 5, 0.48, 0.30, FINGER),
    Note(12.00, "A", 7, 0.74, 0.88, FINGER),
    Note(13.00, "A", 5, 0.60, 0.60, FINGER),
    Note(13.67, "A", 5, 0.36, 0.20, GHOST),
    Note(14.00, "A", 4, 0.64, 0.88, FINGER),
    Note(15.00, "A", 2, 0.60, 0.92, FINGER),
    Note(16.00, "E", 0, 0.90, 1.50, FINGER),
    Note(17.67, "D", 2, 0.40, 0.20, GHOST),
    Note(18.00, "G", 9, 0.80, 1.50, FINGER),
    # a rest of a beat
    Note(20.67, "A", 1, 0.36, 0.26, FINGER),
    Note(21.00, "A", 2, 0.40, 0.92, FINGER),
    Note(22.00, "D", 1, 0.45, 0.88, FINGER),
    Note(23.00, "D", 4, 0.52, 0.60, FINGER),
    Note(23.67, "D", 4, 0.36, 0.20, GHOST),
    Note(24.00, "D", 7, 0.68, 0.92, FINGER),
    Note(25.00, "G", 1, 0.64, 0.90, FINGER),
    Note(26.00, "D", 4, 0.60, 0.60, FINGER),
    Note(26.67, "A", 2, 0.38, 0.20, GHOST),
    Note(27.00, "E", 1, 0.74, 0.45, FINGER),
    Note(28.00, "E", 0, 1.00, 2.30, FINGER),
)

PERFORMANCES = {
    "harbour-walk": Performance(
        title="Harbour walk, fingers",
        tuning=SHORT_SCALE,
        scale_m=0.762,
        pickups_m=(0.135,),
        aperture_m=0.008,
        beats_per_minute=96.0,
        beats=31.25,
        notes=HARBOUR_WALK_NOTES,
        seed=1794,
    ),
}


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
