# SPDX-License-Identifier: GPL-3.0-or-later
"""Pickups on a load in closed form, and files that say so; knows no solver of ours.

A coil is its own voltage behind R + sL, with C, losses and the load across it, so that
H = 1/(1 + (R + sL)·Y); a piezo its own voltage behind C, so that H = sC/(sC + Y).
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]


@dataclass(frozen=True)
class Coil:
    """A coil of our own: ohms, henries, farads, ohms in parallel."""

    name: str
    ohm: float
    henry: float
    farad: float
    losses_ohm: float

    def loaded(self, hz: ArrayLike, farad: float = 0.0, ohm: float = np.inf) -> Complex:
        """Return the closed form on a capacitance and a resistance."""
        return self.on(hz, 2j * np.pi * np.asarray(hz) * farad + 1 / ohm)

    def on(self, hz: ArrayLike, admittance: ArrayLike) -> Complex:
        """Return the closed form on any admittance."""
        s = 2j * np.pi * np.asarray(hz, dtype=float)
        across = s * self.farad + 1 / self.losses_ohm + np.asarray(admittance)
        return np.asarray(1 / (1 + (self.ohm + s * self.henry) * across))

    def written(self, folder: Path) -> Path:
        """Write it as a pickup file."""
        path = folder / f"{self.name}.toml"
        text = (
            f'schema = 1\n[pickup]\nresistance = "{self.ohm!r}"\n'
            f'inductance = "{self.henry!r}"\ncapacitance = "{self.farad!r}"\n'
            f'losses = "{self.losses_ohm!r}"\n'
        )
        path.write_text(text, encoding="utf-8")
        return path


#: Values of the textbook kind, not those of the shipped pickups.
SMALL = Coil("small", 5.2e3, 1.7, 95e-12, 410e3)
LARGE = Coil("large", 11.5e3, 4.9, 170e-12, 230e3)
BRIGHT = Coil("bright", 3.1e3, 0.62, 60e-12, 900e3)


def write_take_file(audio: Path, *lines: str) -> Path:
    """Write a take file beside a recording, with these lines below the first two."""
    path = audio.with_name(f"{audio.stem}.take.toml")
    text = "\n".join(["schema = 1", f'audio = "{audio.name}"', *lines])
    path.write_text(text + "\n", encoding="utf-8")
    return path
