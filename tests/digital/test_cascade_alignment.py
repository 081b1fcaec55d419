# SPDX-License-Identifier: GPL-3.0-or-later
"""Filters of several inputs are aligned, so that their sum is the circuit's sum."""

import numpy as np
import pytest

from tonebench.circuit.controls import Settings
from tonebench.circuit.files import read_circuit, read_pickup
from tonebench.circuit.hookup import Hookup, join
from tonebench.digital.cascade import Cascade, aligned, design, lead_frames
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.network.roots import find_roots

HZ = np.geomspace(20, 10_000, 200)


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
@pytest.mark.parametrize(
    "setting", [{"neck": 5}, {"mode": "blend", "blend": 3}, {"tone": 0}, {"bridge": 8}]
)
def test_aligned_filters_of_two_inputs_add_up_as_the_circuit_does(
    rate: int, setting: Settings
) -> None:
    """Against direct solves, up to 10 kHz, the same sound on both pickups."""
    hookup = Hookup({"": read_pickup("sedge")}, load_ohm=1e6)
    network = Network(join(read_circuit("dunlin"), hookup))
    total = np.zeros(len(HZ), complex)
    for roots in find_roots(network, setting):
        cascade = design(roots, rate)
        total += aligned(cascade, lead_frames(cascade, roots)).response(HZ)
    exact = response(network, setting, HZ).sum(axis=0)
    assert np.abs(20 * np.log10(np.abs(total / exact))).max() <= 0.02
    # a sixteenth of a frame at 44.1 kHz is 5 degrees at 10 kHz
    assert np.abs(np.degrees(np.angle(total / exact))).max() < 5


def test_alignment_leaves_the_magnitude_alone_and_delays_by_the_lead() -> None:
    """A first-order all-pass: magnitude 1; at low frequency a delay of D frames."""
    straight = Cascade(np.array([[1.0, 0, 0, 1, 0, 0]]), 48_000)
    delayed = aligned(straight, 0.7).response(HZ)
    assert np.abs(np.abs(delayed) - 1).max() < 1e-14
    low = HZ < 500
    delay = -np.angle(delayed[low]) / (2 * np.pi * HZ[low] / 48_000)
    assert delay == pytest.approx(0.7, abs=1e-3)


@pytest.mark.parametrize("lead", [0.0, 0.04, -0.3])
def test_what_hardly_leads_or_lags_is_left_as_it_is(lead: float) -> None:
    straight = Cascade(np.array([[1.0, 0, 0, 1, 0, 0]]), 48_000)
    assert aligned(straight, lead) is straight
