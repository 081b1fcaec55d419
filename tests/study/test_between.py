# SPDX-License-Identifier: GPL-3.0-or-later
"""Extremes between the positions of a grid, against closed forms."""

import math
from collections.abc import Callable

import pytest

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Hookup, join
from tonebench.circuit.parts import Capacitor, Pot, Resistor
from tonebench.circuit.tapers import Taper, parse_taper
from tonebench.study.traits import traits

Drawn = Callable[..., Circuit]


@pytest.fixture
def rheostat(drawn: Drawn) -> Callable[[Taper], Circuit]:
    """Return a low-pass whose pot has both ends on one side: x·(1 − x)·P in series."""

    def with_taper(taper: Taper) -> Circuit:
        return drawn(
            Resistor("R1", ("in", "a"), 1e3),
            Resistor("R2", ("a", "b"), 0.0),
            Pot("P1", 400e3, taper, "blend", ("a", "b"), "out"),
            Capacitor("C1", ("out", "gnd"), 10e-9),
        )

    return with_taper


@pytest.mark.parametrize("place", [2.5, 1.25, 6.25, 7.5])
def test_a_range_reaches_its_end_between_the_positions_of_the_grid(
    place: float, rheostat: Callable[[Taper], Circuit]
) -> None:
    """x·(1 − x) is greatest at x = ½, here where 0, 5 and 10 miss it: the lowest
    corner is 1/(2π·C·(R + P/4)), the highest 1/(2π·R·C).
    """
    taper = parse_taper([[0, 0], [place, 0.5], [10, 1]])
    (corner,) = traits(join(rheostat(taper))).features
    assert corner.always
    lowest = 1 / (2 * math.pi * 10e-9 * (1e3 + 100e3))
    assert corner.range_hz[0] == pytest.approx(lowest, rel=1e-3)
    highest = 1 / (2 * math.pi * 10e-9 * 1e3)
    assert corner.range_hz[1] == pytest.approx(highest, rel=1e-3)


def test_the_peak_of_a_tilt_is_told_at_every_position(with_pickup: Hookup) -> None:
    """The coil with its lead resonates in front of a 1 MΩ buffer, which no control
    behind it can reach: 1/(2π√(2.2 H · 820 pF)) = 3747 Hz less what damping moves it.
    """
    found = traits(join(read_circuit("tern"), with_pickup))
    (peak,) = (each for each in found.features if each.here.kind == "peak")
    assert (peak.always, peak.share) == (True, 1.0)
    f0 = 1 / (2 * math.pi * math.sqrt(2.2 * 820e-12))
    assert peak.range_hz == pytest.approx((f0, f0), rel=0.03)
