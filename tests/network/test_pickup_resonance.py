# SPDX-License-Identifier: GPL-3.0-or-later
"""A coil on a lead against the closed formula of its loaded resonance.

"Computed" means: from a closed formula, apart from the code under test. Figures are
given with the digits that their source prints.
"""

import math
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import ArrayLike, NDArray

from tonebench.circuit.circuit import STRAIGHT
from tonebench.circuit.hookup import Hookup, Pickup

Gain = Callable[..., NDArray[np.complex128]]
GainDb = Callable[..., NDArray[np.float64]]


# Magnetic pickups on a lead: the coil's own voltage, R and L in series, then C


COILS = [
    # R, L, C of the coil; load, lead; f0, peak, peak level, DC level, −3 dB below DC
    # the first from alexjball/python-audio-lab, the others computed
    (7e3, 3.0, 300e-12, 1e6, 300e-12, (3751.3, 3737.3, 15.41, -0.061, 5818.7)),
    (6e3, 2.5, 120e-12, 1e6, 500e-12, (4042.5, 4029.6, 16.03, -0.052, 6271.3)),
    (6e3, 2.5, 120e-12, 200e3, 500e-12, (4042.5, 3930.1, 7.757, -0.257, 6187.2)),
    (8.5e3, 4.7, 110e-12, 1e6, 470e-12, (3048.3, 3035.2, 14.68, -0.074, 4726.9)),
]


@pytest.mark.parametrize(("ohm", "henry", "farad", "load", "lead", "figures"), COILS)
def test_pickup_on_a_lead_peaks_as_the_loaded_resonance_does(
    gain: Gain,
    gain_db: GainDb,
    ohm: float,
    henry: float,
    farad: float,
    load: float,
    lead: float,
    figures: tuple[float, ...],
) -> None:
    coil = Pickup("coil", ohm, henry, farad)
    hookup = Hookup({"": coil}, cable_farad=lead, load_ohm=load)

    def level_db(frequency_hz: ArrayLike) -> NDArray[np.float64]:
        return gain_db(STRAIGHT, frequency_hz, hookup=hookup)

    # H = 1 / (LCs² + (L/R_load + RC) s + 1 + R/R_load), all from the parts' values
    total = farad + lead
    zero, one, two = 1 + ohm / load, henry / load + ohm * total, henry * total
    hz = np.geomspace(1, 1e5, 60)
    s = 2j * np.pi * hz
    wanted = 1 / (two * s**2 + one * s + zero)
    np.testing.assert_allclose(gain(STRAIGHT, hz, hookup=hookup), wanted, rtol=1e-9)
    # |1/H|² is least at the peak
    peak = math.sqrt(zero / two - one**2 / (2 * two**2)) / (2 * math.pi)
    below, top, above = level_db(peak * np.array([0.9999, 1, 1.0001]))
    assert below < top > above
    # peaks and corners of the table were read off a grid
    f0, peak_hz, peak_db, dc_db, corner_hz = figures
    assert 1 / (2 * math.pi * math.sqrt(two)) == pytest.approx(f0, abs=0.05)
    assert peak == pytest.approx(peak_hz, abs=0.2)
    assert top == pytest.approx(peak_db, abs=0.0051)
    assert level_db(0.0) == pytest.approx(dc_db, abs=6e-4)
    assert level_db(corner_hz) - level_db(0.0) == pytest.approx(-3, abs=0.01)


def test_measured_coil_with_losses_peaks_where_computed(gain_db: GainDb) -> None:
    # an open lcapy example: 4.4 H, 319 kΩ at its resonance of 7.715 kHz; 8 k assumed
    coil = Pickup("coil", 8e3, 4.4, 96.72e-12, losses_ohm=319e3)
    hz = np.linspace(6780, 6810, 301)
    level_db = gain_db(STRAIGHT, hz, hookup=Hookup({"": coil}))
    assert level_db.max() == pytest.approx(3.48, abs=0.005)
    assert hz[level_db.argmax()] == pytest.approx(6795, abs=1)


@pytest.mark.parametrize(
    ("henry", "farad", "resonance_hz"),
    [(1, 380e-12, 8164), (10, 1200e-12, 1453), (3, 1200e-12, 2653)],
)
def test_corners_of_the_usual_range_resonate_where_computed(
    gain_db: GainDb, henry: float, farad: float, resonance_hz: float
) -> None:
    # H. Lemme's ranges: 1 to 10 H, 380 to 1200 pF in all. Hardly any resistance here,
    # so that the peak stands at 1/(2π√LC).
    coil = Pickup("coil", 1.0, henry, farad)
    hz = np.linspace(resonance_hz - 3, resonance_hz + 3, 601)
    level_db = gain_db(STRAIGHT, hz, hookup=Hookup({"": coil}))
    assert hz[level_db.argmax()] == pytest.approx(resonance_hz, abs=0.6)
