# SPDX-License-Identifier: GPL-3.0-or-later
"""Designed filters against the circuits that they stand for, at all rates.

The circuit's own curve comes from a direct solve at each frequency, standard curves
from their tables. Bounds are the promises of `design`: 0.02 dB up to 20 kHz.
"""

from collections.abc import Callable
from itertools import pairwise, product

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
CIRCUITS = [
    "a_weighting", "c_weighting", "feedback_high_pass", "feedback_low_pass",
    "impedance_converter", "passive_bass", "passive_harness", "phono_two_stage",
    "riaa_feedback", "riaa_iec", "riaa_passive", "sallen_key_high_pass",
    "sallen_key_low_pass", "sallen_key_low_pass_gain", "simulated_inductor",
    "swept_bell", "tone_control", "tone_control_two_capacitors",
]  # fmt: skip
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


# Phase


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


# The plain transform: published and computed errors


def plain_error_db(roots: Roots, rate_hz: float, frequency_hz: Real) -> Real:
    cascade = design(roots, rate_hz, method="plain")
    return db(cascade.response(frequency_hz) / roots.response(frequency_hz))


def test_plain_a_weighting_at_48_khz_falls_as_is_known(reference: Reader) -> None:
    # computed; −2.7 dB at 12.5 kHz is printed in the read-me of jmrplens/phonometry
    (roots,) = find_roots(Network(join(reference("a_weighting"))), {})
    exact_hz = 1000 * 10 ** (np.array([9, 10, 11, 12, 13]) / 10)
    ratio = plain_error_db(roots, 48000, exact_hz)
    off_db = ratio - plain_error_db(roots, 48000, np.array([1000.0]))
    wanted = [-0.530, -1.216, -2.738, -6.21, -15.67]
    np.testing.assert_allclose(off_db, wanted, rtol=0, atol=0.006)


@pytest.mark.parametrize(
    ("rate_hz", "wanted"),
    [
        (44100, (-1.61, -4.57, -13.5)),
        (48000, (-1.33, -3.61, -9.06)),
        (96000, (-0.30, -0.73, -1.37)),
    ],
)
def test_plain_riaa_falls_as_computed(
    reference: Reader, rate_hz: float, wanted: tuple[float, ...]
) -> None:
    (roots,) = find_roots(Network(join(reference("riaa_feedback"))), {})
    off_db = plain_error_db(roots, rate_hz, np.array([10e3, 15e3, 20e3]))
    off_db -= plain_error_db(roots, rate_hz, np.array([1000.0]))
    np.testing.assert_allclose(off_db, wanted, rtol=0, atol=0.051)


def second_order_low_pass(f0: float, q: float) -> Roots:
    w = 2 * np.pi * f0
    pole = w * complex(-1 / (2 * q), np.sqrt(1 - 1 / (4 * q * q)))
    poles = np.array([pole, pole.conjugate()])
    gain = float((w**2 / np.prod(w - poles)).real)
    return Roots(np.empty(0, complex), poles, gain, shift=w)


def first_order(pole_hz: float, zero_hz: float | None = None) -> Roots:
    w = 2 * np.pi * pole_hz
    gain = 0.5
    zeros = np.empty(0, complex)
    if zero_hz is not None:
        zeros = np.array([-2 * np.pi * zero_hz + 0j])
        gain *= 1 + pole_hz / zero_hz
    return Roots(zeros, np.array([-w + 0j]), gain, shift=w)


@pytest.mark.parametrize(
    ("roots", "rate_hz", "to_20_khz_db", "to_10_khz_db"),
    [
        (second_order_low_pass(4054.6, 6.349), 44100, 27.5, 3.86),
        (second_order_low_pass(4054.6, 6.349), 48000, 18.5, 3.20),
        (second_order_low_pass(4054.6, 6.349), 96000, 2.86, 0.75),
        (first_order(8841.9, 869.7), 44100, 0.80, 0.65),
        (first_order(8841.9, 869.7), 48000, 0.69, 0.54),
        (first_order(8841.9, 869.7), 96000, 0.20, 0.13),
        (first_order(5000), 44100, 13.3, 1.38),
        (first_order(5000), 48000, 8.87, 1.14),
        (first_order(5000), 96000, 1.31, 0.26),
    ],
)
def test_plain_transform_errs_as_computed_and_the_corrected_one_does_not(
    roots: Roots, rate_hz: float, to_20_khz_db: float, to_10_khz_db: float
) -> None:
    # three digits
    off_db = np.abs(plain_error_db(roots, rate_hz, HZ))
    assert off_db.max() == pytest.approx(to_20_khz_db, rel=0.006, abs=0.0051)
    to_10_khz = np.abs(plain_error_db(roots, rate_hz, np.geomspace(20, 10e3, 160)))
    assert to_10_khz.max() == pytest.approx(to_10_khz_db, rel=0.006, abs=0.0051)
    corrected = design(roots, rate_hz).response(HZ) / roots.response(HZ)
    assert np.abs(db(corrected)).max() <= PROMISED_DB


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
