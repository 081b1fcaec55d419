# SPDX-License-Identifier: GPL-3.0-or-later
"""Features over a knob against closed forms of what the knob moves."""

import math
from collections.abc import Callable

import numpy as np
import pytest

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Hookup, join
from tonebench.circuit.parts import Capacitor, Resistor, VariableResistor
from tonebench.circuit.tapers import Taper
from tonebench.errors import RequestError
from tonebench.study.feature_map import feature_map

Drawn = Callable[..., Circuit]


def test_a_corner_follows_its_pot_by_the_closed_form(drawn: Drawn) -> None:
    """1/(2πC(R1 + p·P)), a low-pass that never goes away."""
    circuit = drawn(
        Resistor("R1", ("in", "a"), 10e3),
        VariableResistor("P1", 100e3, Taper("linear"), "cut", ("a", "out")),
        Capacitor("C1", ("out", "gnd"), 1e-9),
    )
    found = feature_map(join(circuit), "cut", {})
    (track,) = found.tracks
    assert track.kind == "low-pass"
    assert track.positions == tuple(found.positions.tolist())
    for position, feature in zip(track.positions, track.features, strict=True):
        corner = 1 / (2 * math.pi * 1e-9 * (10e3 + 10e3 * position))
        assert feature.frequency_hz == pytest.approx(corner, rel=1e-4)
    stands = int(np.argmin(np.abs(found.positions - 5)))
    np.testing.assert_allclose(found.change_db[stands], 0, atol=1e-9)


def test_the_pickup_s_peak_stays_while_a_bell_is_turned(with_pickup: Hookup) -> None:
    """1/(2π√(L(C₀ + C))) = 3747 Hz, textbook; losses move it by 2 % at most."""
    chain = join(read_circuit("whimbrel"), with_pickup)
    found = feature_map(chain, "bell", {})
    tracks = [track for track in found.tracks if track.kind == "peak"]
    whole = [track for track in tracks if len(track.positions) == 41]
    hz = [f.frequency_hz for t in whole for f in t.features if f.frequency_hz > 3000]
    assert len(hz) == 41
    wanted = 1 / (2 * math.pi * math.sqrt(2.2 * 820e-12))
    assert hz == pytest.approx([wanted] * 41, rel=0.02)


def test_a_volume_at_nothing_has_no_features(with_pickup: Hookup) -> None:
    found = feature_map(join(read_circuit("tern"), with_pickup), "level", {})
    assert all(track.positions[0] > 0 for track in found.tracks)
    assert np.isnan(found.change_db[0]).all()


def test_an_unknown_knob_is_refused() -> None:
    chain = join(read_circuit("whimbrel"))
    with pytest.raises(RequestError, match="there is no knob 'corner'; there are bell"):
        feature_map(chain, "corner", {})
