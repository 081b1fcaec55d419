# SPDX-License-Identifier: GPL-3.0-or-later
"""What the plain transform is known to get wrong, and the corrected one does not.

Errors over the analogue circuit, computed from closed formulas apart from the code
under test, to the digits given.
"""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.hookup import join
from tonebench.digital.cascade import design
from tonebench.network.nodal import Network
from tonebench.network.roots import Roots, find_roots

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]
Reader = Callable[[str], Circuit]

HZ = np.geomspace(20, 20e3, 160)
PROMISED_DB = 0.02


def db(value: Complex | Real) -> Real:
    return np.asarray(20 * np.log10(np.abs(value)))


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
