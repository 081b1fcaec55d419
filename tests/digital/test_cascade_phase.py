# SPDX-License-Identifier: GPL-3.0-or-later
"""The phase of designed filters: a constant lead, no jump between settings."""

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Hookup, join
from tonebench.digital.cascade import design, lead_frames
from tonebench.network.nodal import Network
from tonebench.network.roots import Roots, find_roots

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]
Reader = Callable[[str], Circuit]

HEARD = 1e-5  # −100 dB
PROMISED_DB = 0.02


def db(value: Complex | Real) -> Real:
    return np.asarray(20 * np.log10(np.abs(value)))


def all_pass(corner_hz: float) -> Roots:
    w = 2 * np.pi * corner_hz
    shift = 2 * np.pi * 1000
    gain = (w - shift) / (w + shift)
    return Roots(np.array([w + 0j]), np.array([-w + 0j]), gain, shift)


@pytest.mark.parametrize("corner_hz", [30.0, 300.0, 3000.0])
@pytest.mark.parametrize("rate_hz", [44100, 96000])
def test_zero_to_the_right_stays_to_the_right(corner_hz: float, rate_hz: float) -> None:
    # 0° below its corner, −180° above; on the left it would be 0° everywhere
    cascade = design(all_pass(corner_hz), rate_hz)
    frequency_hz = np.geomspace(20, 5e3, 60)
    got = cascade.response(frequency_hz)
    wanted = (1 - 1j * frequency_hz / corner_hz) / (1 + 1j * frequency_hz / corner_hz)
    lead = (
        2 * np.pi * frequency_hz / rate_hz * lead_frames(cascade, all_pass(corner_hz))
    )
    off = np.angle(got / wanted * np.exp(-1j * lead), deg=True)
    assert np.abs(off).max() < 0.5
    assert np.abs(db(got)).max() <= PROMISED_DB


@pytest.mark.parametrize("name", ["phono_two_stage", "swept_bell", "riaa_passive"])
def test_filter_leads_its_circuit_by_about_a_sample_at_all_frequencies(
    reference: Reader, with_pickup: Hookup, name: str
) -> None:
    # measured on prototypes: 0.5 to 1.1 samples with a pickup before the circuit
    (roots,) = find_roots(Network(join(reference(name), with_pickup)), {})
    cascade = design(roots, 44100)
    lead = lead_frames(cascade, roots)
    assert 0.5 < lead < 1.2
    frequency_hz = np.geomspace(20, 5e3, 60)
    turn = 2 * np.pi * frequency_hz / 44100 * lead
    ratio = cascade.response(frequency_hz) / roots.response(frequency_hz)
    left = np.angle(ratio * np.exp(-1j * turn), deg=True)
    assert np.abs(left).max() < 0.25


def test_filter_of_a_circuit_with_no_zero_at_infinity_leads_by_nothing(
    reference: Reader,
) -> None:
    (roots,) = find_roots(Network(join(reference("tone_control"))), {"bass": 8})
    assert lead_frames(design(roots, 48000), roots) == pytest.approx(0, abs=0.05)


KNOBS = [
    # circuit, knob, where the others stand
    ("tone_control", "bass", {"treble": 8}),
    ("tone_control", "treble", {"bass": 2}),
    ("passive_bass", "bass", {}),
    ("swept_bell", "bell", {"sweep": 4}),
    ("swept_bell", "sweep", {"bell": 10}),
    ("swept_bell", "level", {"bell": 0}),
    ("passive_harness", "neck", {"tone": 7}),
    ("passive_harness", "tone", {"bridge": 6}),
]


@pytest.mark.parametrize(("name", "knob", "others"), KNOBS)
@pytest.mark.parametrize("pickup", [False, True])
def test_filters_of_neighbouring_settings_do_not_jump(
    reference: Reader,
    with_pickup: Hookup,
    name: str,
    knob: str,
    others: Settings,
    pickup: bool,
) -> None:
    network = Network(join(reference(name), with_pickup if pickup else None))
    frequency_hz = np.geomspace(20, 20e3, 40)
    found = []
    for position in np.linspace(0, 10, 401):
        roots = find_roots(network, {**others, knob: float(position)})[0]
        if not roots.is_silent:
            got = design(roots, 44100).response(frequency_hz)
            found.append((roots.response(frequency_hz), got))
    assert len(found) >= 400
    for (circuit, filter_), (next_circuit, next_filter) in pairwise(found):
        own = next_circuit / circuit
        step = next_filter / filter_ / own
        heard = np.abs(circuit) > HEARD
        assert np.abs(db(step[heard])).max() < 0.01
        own_turn = np.abs(np.angle(own[heard])).max()
        assert np.abs(np.angle(step[heard])).max() <= own_turn + 1e-9
