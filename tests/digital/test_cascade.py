# SPDX-License-Identifier: GPL-3.0-or-later
"""Designed filters against the circuits that they stand for, at all rates.

The circuit's own curve comes from a direct solve at each frequency, standard curves
from their tables. Bounds are the promises of `design`: 0.02 dB up to 20 kHz.
"""

from collections.abc import Callable
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import freqz_sos

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.controls import Settings
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Hookup, join
from tonebench.digital.cascade import Cascade, design, lead_frames
from tonebench.errors import CircuitError
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.network.roots import Roots, find_roots

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]
Reader = Callable[[str], Circuit]
TableReader = Callable[[str], dict[str, Real]]

RATES = [44100, 48000, 88200, 96000, 192000]
HZ = np.geomspace(20, 20e3, 160)
HEARD = 1e-5  # −100 dB
PROMISED_DB = 0.02
CIRCUITS = sorted(
    path.stem
    for path in (Path(__file__).parents[1] / "reference_circuits").glob("*.toml")
)
SHIPPED = ["dunlin", "plover", "tern", "whimbrel"]


def corners(circuit: Circuit) -> list[Settings]:
    """Return all combinations of switches, and knobs at both ends and the centre."""
    names = [control.name for control in circuit.controls]
    places: list[tuple[float | str, ...]] = [(0, 5, 10)] * len(circuit.knobs)
    places += [switch.positions for switch in circuit.switches]
    return [dict(zip(names, place, strict=True)) for place in product(*places)]


def db(value: Complex | Real) -> Real:
    return np.asarray(20 * np.log10(np.abs(value)))


def is_inside_the_circle(cascade: Cascade) -> bool:
    """Ask whether 1 + a₁z⁻¹ + a₂z⁻² has both roots inside: the stability triangle."""
    a1, a2 = cascade.sections[:, 4], cascade.sections[:, 5]
    return bool(np.all(np.abs(a2) < 1) and np.all(np.abs(a1) < 1 + a2))


def assert_sounds_as(cascade: Cascade, truth: Complex, what: str) -> None:
    got = cascade.response(HZ)
    heard = np.abs(truth) > HEARD
    off_db = np.abs(db(got[heard] / truth[heard])).max(initial=0)
    assert off_db <= PROMISED_DB, what
    assert is_inside_the_circle(cascade), what
    # polarity: at 20 Hz the filter's lead turns nothing
    assert (got[0] / truth[0]).real > 0, what


# Magnitude


@pytest.mark.parametrize("pickup", [False, True])
@pytest.mark.parametrize("name", CIRCUITS)
def test_filter_sounds_as_its_reference_circuit_at_every_corner_and_rate(
    reference: Reader, with_pickup: Hookup, name: str, pickup: bool
) -> None:
    circuit = reference(name)
    network = Network(join(circuit, with_pickup if pickup else None))
    for setting in corners(circuit):
        truth = response(network, setting, HZ)
        for roots, wanted in zip(find_roots(network, setting), truth, strict=True):
            for rate_hz in RATES if not roots.is_silent else []:
                cascade = design(roots, rate_hz)
                assert_sounds_as(cascade, wanted, f"{setting} at {rate_hz}")


@pytest.mark.parametrize("name", SHIPPED)
def test_filter_sounds_as_its_house_circuit_at_every_corner(
    with_pickup: Hookup, name: str
) -> None:
    circuit = read_circuit(name)
    network = Network(join(circuit, with_pickup))
    for setting in corners(circuit):
        truth = response(network, setting, HZ)
        for roots, wanted in zip(find_roots(network, setting), truth, strict=True):
            for rate_hz in (44100, 48000) if not roots.is_silent else ():
                cascade = design(roots, rate_hz)
                assert_sounds_as(cascade, wanted, f"{setting} at {rate_hz}")


@pytest.mark.parametrize("rate_hz", RATES)
def test_digital_riaa_meets_the_table(
    reference: Reader, table: TableReader, rate_hz: float
) -> None:
    columns = table("riaa_table")
    (roots,) = find_roots(Network(join(reference("riaa_feedback"))), {})
    cascade = design(roots, rate_hz)
    got_db = db(cascade.response(columns["hz"]) / cascade.response(np.array([1e3])))
    np.testing.assert_allclose(got_db, columns["riaa_db"], atol=PROMISED_DB)


@pytest.mark.parametrize("rate_hz", RATES)
@pytest.mark.parametrize("curve", ["a", "c"])
def test_digital_weighting_stays_within_class_1(
    reference: Reader, table: TableReader, curve: str, rate_hz: float
) -> None:
    columns = table("iec_61672_1_table_3")
    exact_hz = 1000 * 10 ** (np.arange(-20, 14) / 10)
    (roots,) = find_roots(Network(join(reference(f"{curve}_weighting"))), {})
    cascade = design(roots, rate_hz)
    got_db = db(cascade.response(exact_hz) / cascade.response(np.array([1e3])))
    off_db = got_db - columns[f"{curve}_db"]
    assert np.all(off_db <= columns["class_1_above_db"])
    assert np.all(off_db >= columns["class_1_below_db"])
    heard = exact_hz >= 19
    assert np.abs(off_db[heard]).max() <= 0.05 + PROMISED_DB  # the table's last digit


def random_roots(rng: np.random.Generator, count: int, right: float = 0.0) -> Complex:
    """Return real roots and pairs with Q to 20, from 10 Hz to 200 kHz, some right."""
    found: list[complex] = []
    while len(found) < count:
        size = 2 * np.pi * 10 ** rng.uniform(1, np.log10(200e3))
        side = 1 if rng.random() < right else -1
        if count - len(found) >= 2 and rng.random() < 0.6:
            q = 10 ** rng.uniform(np.log10(0.51), np.log10(20))
            root = size * complex(side / (2 * q), np.sqrt(1 - 1 / (4 * q * q)))
            found += [root, root.conjugate()]
        else:
            found.append(complex(side * size))
    return np.array(found)


def random_set(seed: int) -> Roots:
    """Return 2 to 9 poles with up to as many zeros, some of them at DC or right."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 10))
    poles = random_roots(rng, count)
    zeros = random_roots(rng, int(rng.integers(0, count + 1)), right=0.15)
    if rng.random() < 0.3:
        zeros[np.flatnonzero(zeros.imag == 0)[:2]] = 0
    gain = float(rng.choice([-1, 1]) * 10 ** rng.uniform(-2, 2))
    return Roots(zeros, poles, gain, shift=2 * np.pi * 1000)


@pytest.mark.parametrize("rate_hz", [44100, 48000])
def test_99_of_100_random_stable_circuits_are_met_within_a_tenth_of_a_db(
    rate_hz: float,
) -> None:
    worst = []
    for seed in range(300):
        roots = random_set(seed)
        cascade, truth = design(roots, rate_hz), roots.response(HZ)
        heard = np.abs(truth) > HEARD * np.abs(truth).max()
        got = cascade.response(HZ)
        worst.append(np.abs(db(got[heard] / truth[heard])).max())
        assert is_inside_the_circle(cascade), seed
        assert (got[0] / truth[0]).real > 0, seed
    assert np.quantile(worst, 0.99) <= 0.1


def test_error_that_a_filter_claims_is_about_the_one_that_it_has() -> None:
    for seed in range(60):
        roots = random_set(seed)
        cascade, truth = design(roots, 44100), roots.response(HZ)
        off_db = np.abs(db(cascade.response(HZ) / truth)).max()
        assert off_db <= 1.5 * cascade.error_db + 0.01, seed


# The value itself


def test_response_is_what_a_textbook_evaluation_of_the_sections_gives() -> None:
    cascade = design(random_set(3), 48000)
    frequency_hz = np.linspace(1, 23999, 200)
    _, wanted = freqz_sos(cascade.sections.copy(), worN=frequency_hz, fs=48000)
    np.testing.assert_allclose(cascade.response(frequency_hz), wanted, rtol=1e-9)


def test_sections_are_frozen_and_start_with_1_below() -> None:
    given = np.array([[0.5, 0, 0, 1, -0.5, 0]])
    cascade = Cascade(given, 48000)
    given[0, 0] = 9
    assert cascade.sections[0, 0] == 0.5
    with pytest.raises(ValueError, match="read-only"):
        cascade.sections[0, 0] = 1
    for seed in range(10):
        assert np.all(design(random_set(seed), 44100).sections[:, 3] == 1)


@pytest.mark.parametrize("gain", [1.0, -0.3, 1e-6, 123.456])
@pytest.mark.parametrize("method", ["corrected", "plain"])
def test_constant_circuit_is_an_exact_gain(gain: float, method: str) -> None:
    none = np.empty(0, complex)
    roots = Roots(none, none, gain, shift=1.0)
    cascade = design(roots, 44100, method=method)  # type: ignore[arg-type]
    assert np.array_equal(cascade.sections, [[gain, 0, 0, 1, 0, 0]])
    assert np.all(cascade.response(HZ) == gain)


@pytest.mark.parametrize("method", ["corrected", "plain"])
def test_silent_setting_gives_exact_zeros(reference: Reader, method: str) -> None:
    network = Network(join(reference("swept_bell")))
    (roots,) = find_roots(network, {"level": 0})
    cascade = design(roots, 48000, method=method)  # type: ignore[arg-type]
    assert cascade.is_silent
    assert not cascade.response(HZ).any()
    assert lead_frames(cascade, roots) == 0
    assert not design(random_set(1), 48000).is_silent


@pytest.mark.parametrize("method", ["corrected", "plain"])
@pytest.mark.parametrize("pole", [10.0, 0.0, 1e-3])
def test_unstable_roots_are_refused_in_one_sentence(pole: float, method: str) -> None:
    poles = np.array([-1000, pole], complex)
    roots = Roots(np.empty(0, complex), poles, 1.0, shift=6000.0)
    with pytest.raises(CircuitError, match="not stable") as error:
        design(roots, 48000, method=method)  # type: ignore[arg-type]
    assert "\n" not in str(error.value)


def test_improper_roots_are_designed_too() -> None:
    # more zeros than poles, as of a differentiator
    roots = Roots(np.zeros(2, complex), np.array([-1e5 + 0j]), 1e-3, shift=6000.0)
    cascade = design(roots, 48000)
    assert np.abs(db(cascade.response(HZ) / roots.response(HZ))).max() < 0.1
    assert is_inside_the_circle(cascade)
