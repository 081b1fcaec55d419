# SPDX-License-Identifier: GPL-3.0-or-later
"""The transform of roots against its identities and published examples.

Printed digits are the sources' own; "computed" means from the formulas, apart from the
code under test.
"""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.polynomial import Polynomial
from numpy.typing import NDArray

from tonebench.digital.bilinear import plain_bilinear, prewarped_bilinear
from tonebench.digital.cascade import Cascade, design
from tonebench.network.roots import Roots

Complex = NDArray[np.complex128]

NYQUIST_SOFT = 0.95  # above this share of Nyquist, angles are compressed


def at_s(*roots: complex) -> Complex:
    return np.array(roots, dtype=complex)


def rational(above: list[float], below: list[float], unit: float = 1.0) -> Roots:
    """Return the roots of a ratio of polynomials in s/unit, highest power first."""
    zeros, poles = at_s(*np.roots(above)) * unit, at_s(*np.roots(below)) * unit
    gain = float(np.polyval(above, 1.0) / np.polyval(below, 1.0))
    return Roots(zeros, poles, gain, shift=unit)


# Identities


@pytest.mark.parametrize(
    ("rate_hz", "analogue_hz", "digital_hz"),
    [
        (48000, 1000, 998.58),
        (48000, 4000, 3912.20),
        (48000, 8842, 8015.54),
        (48000, 10000, 8854.58),
        (48000, 20000, 14032.59),
        (44100, 10000, 8688.99),
        (44100, 20000, 13459.32),
        (96000, 10000, 9664.34),
        (96000, 20000, 17709.17),
    ],
)
def test_plain_transform_lands_where_its_formula_says(
    rate_hz: float, analogue_hz: float, digital_hz: float
) -> None:
    # ω_d = (2/T)·atan(ω_a·T/2), computed
    (z,) = plain_bilinear(at_s(2j * math.pi * analogue_hz), rate_hz)
    assert abs(z) == pytest.approx(1, abs=1e-15)
    assert np.angle(z) * rate_hz / (2 * math.pi) == pytest.approx(digital_hz, abs=0.005)


hz = st.floats(1, 400e3)
damping = st.floats(0.001, 1)


@given(hz, damping, st.sampled_from([44100, 48000, 96000, 192000]))
@settings(deadline=None)
def test_prewarped_root_is_the_plain_transform_of_its_hyperbolic_tangent(
    frequency_hz: float, share: float, rate_hz: float
) -> None:
    # s′ = (2/T)·tanh(sT/2), so that z = e^{sT}: below 0.95 of Nyquist nothing else
    angle = math.acos(share)
    s = -2 * math.pi * frequency_hz * complex(math.cos(angle), math.sin(angle))
    (got,) = prewarped_bilinear(at_s(s), rate_hz)
    assert abs(got) < 1
    if abs(s.imag) < NYQUIST_SOFT * math.pi * rate_hz and abs(s) < 5 * rate_hz:
        warped = 2 * rate_hz * np.tanh(s / (2 * rate_hz))
        np.testing.assert_allclose(
            got, plain_bilinear(at_s(warped), rate_hz)[0], rtol=1e-9, atol=1e-12
        )


@given(hz, st.floats(-1, 1), st.sampled_from([44100, 96000]))
@settings(deadline=None)
def test_conjugate_roots_stay_conjugate(
    frequency_hz: float, share: float, rate_hz: float
) -> None:
    angle = math.acos(share)
    s = 2 * math.pi * frequency_hz * complex(math.cos(angle), math.sin(angle))
    for transform in (plain_bilinear, prewarped_bilinear):
        upper, lower = transform(at_s(s, s.conjugate()), rate_hz)
        assert upper == lower.conjugate()


def test_prewarped_angles_rise_with_frequency_and_never_wrap() -> None:
    s = at_s(*(complex(-1000, w) for w in np.geomspace(1, 1e8, 4000)))
    z = prewarped_bilinear(s, 44100)
    angles = np.angle(z[np.abs(z) > 1e-6])  # nearer to 0, an angle says nothing
    assert np.all(np.diff(angles) >= 0)
    assert 0.99 * math.pi < angles.max() <= math.pi


def test_roots_to_the_right_stay_outside_unless_they_stand_for_infinity() -> None:
    rate_hz = 44100
    near, far = at_s(3e4 + 2e4j), at_s(complex(7 * rate_hz, 1e4))
    assert abs(prewarped_bilinear(near, rate_hz)[0]) > 1
    mirrored = -far.conj()
    assert prewarped_bilinear(far, rate_hz)[0] == prewarped_bilinear(mirrored, rate_hz)


def test_root_at_dc_stays_at_dc() -> None:
    for transform in (plain_bilinear, prewarped_bilinear):
        assert transform(at_s(0), 48000)[0] == 1


# Published examples of the plain transform


def butterworth(order: int, cutoff: float) -> Roots:
    k = np.arange(order)
    poles = cutoff * np.exp(1j * np.pi * (2 * k + order + 1) / (2 * order))
    gain = np.prod(-poles / (cutoff - poles))
    return Roots(np.empty(0, complex), poles, float(gain.real), shift=cutoff)


def by_damping(cascade: Cascade) -> NDArray[np.float64]:
    """Return (a1, a2) of the sections, the most resonant first."""
    below = cascade.sections[:, 4:]
    return below[np.argsort(-below[:, 1])]


def test_butterworth_of_order_6_has_the_textbook_sections() -> None:
    # A. V. Oppenheim, R. W. Schafer, "Discrete-Time Signal Processing", example 7.3:
    # Td = 1, stop-band met exactly; four digits (coefficients from memory, recomputed)
    cascade = design(butterworth(6, 0.766231), 1.0, method="plain")
    wanted = [(-1.2686, 0.7051), (-1.0106, 0.3583), (-0.9044, 0.2155)]
    np.testing.assert_allclose(by_damping(cascade), wanted, atol=6e-5)
    gain = float(np.prod(cascade.sections[:, 0]))
    assert gain == pytest.approx(0.0007378, abs=6e-8)
    np.testing.assert_allclose(
        cascade.sections[:, :3] / cascade.sections[:, :1], [[1, 2, 1]] * 3, rtol=1e-12
    )
    edges = np.abs(cascade.response(np.array([0.1, 0.15])))  # 0.2π and 0.3π
    np.testing.assert_allclose(edges, [0.93721, 0.17783], atol=6e-6)


def test_butterworth_with_a_rounded_cutoff_has_the_computed_gain() -> None:
    cascade = design(butterworth(6, 0.766), 1.0, method="plain")
    assert np.prod(cascade.sections[:, 0]) == pytest.approx(0.00073681, abs=6e-9)
    assert by_damping(cascade)[0] == pytest.approx([-1.2689, 0.7052], abs=6e-5)


def test_single_pole_low_pass_has_the_textbook_coefficients() -> None:
    # J. G. Proakis, D. G. Manolakis, "Digital Signal Processing": 3 dB at 0.2π gives
    # 0.245 (1 + z⁻¹)/(1 − 0.509 z⁻¹); computed with more digits
    edge = 2 * math.tan(0.1 * math.pi)
    cascade = design(rational([edge], [1.0, edge]), 1.0, method="plain")
    (section,) = cascade.sections
    wanted = [0.245237, 0.245237, 0, 1, -0.509525, 0]
    np.testing.assert_allclose(section, wanted, atol=6e-7)


def test_resonator_has_the_computed_coefficients() -> None:
    # the same book's example, (s + 0.1)/((s + 0.1)² + 16) with T = 1/2; its printed
    # coefficients do not follow from its own formula, so these are computed
    resonator = rational([1.0, 0.1], [1.0, 0.2, 16.01])
    (section,) = design(resonator, 2.0, method="plain").sections
    wanted = [0.12496, 0.00610, -0.11887, 1, 0.00061, 0.95123]
    np.testing.assert_allclose(section, wanted, atol=6e-6)


def prewarped(frequency_hz: float, rate_hz: float) -> float:
    """Return the analogue frequency in rad/s that lands on `frequency_hz`."""
    return 2 * rate_hz * math.tan(math.pi * frequency_hz / rate_hz)


@pytest.mark.parametrize(
    ("above", "wanted"),
    [
        ([1.0], (0.00391613, 0.00783225, 0.00391613)),
        ([1.0, 0.0, 0.0], (0.91158667, -1.82317334, 0.91158667)),
    ],
)
def test_butterworth_at_1_khz_has_the_computed_coefficients(
    above: list[float], wanted: tuple[float, ...]
) -> None:
    unit = prewarped(1000, 48000)
    roots = rational(above, [1.0, math.sqrt(2), 1.0], unit)
    (section,) = design(roots, 48000, method="plain").sections
    np.testing.assert_allclose(section[:3], wanted, atol=1e-8)
    np.testing.assert_allclose(section[3:], (1, -1.81534108, 0.83100559), atol=1e-8)


# Audio EQ Cookbook (W3C Group Note): prototypes and computed coefficients at 48 kHz


Prototype = Callable[[float, float], tuple[list[float], list[float]]]


def peaking(gain_db: float, q: float) -> tuple[list[float], list[float]]:
    a = 10 ** (gain_db / 40)
    return [1, a / q, 1], [1, 1 / (a * q), 1]


def low_shelf(gain_db: float, q: float) -> tuple[list[float], list[float]]:
    a = 10 ** (gain_db / 40)
    return [a, a**1.5 / q, a**2], [a, math.sqrt(a) / q, 1]


def high_shelf(gain_db: float, q: float) -> tuple[list[float], list[float]]:
    a = 10 ** (gain_db / 40)
    return [a**2, a**1.5 / q, a], [1, math.sqrt(a) / q, a]


def q_of_slope(gain_db: float, slope: float) -> float:
    # 1/Q = √((A + 1/A)(1/S − 1) + 2)
    a = 10 ** (gain_db / 40)
    return 1 / math.sqrt((a + 1 / a) * (1 / slope - 1) + 2)


COOKBOOK = [
    # prototype, Hz, dB, Q; b0, b1, b2, a1, a2; dB at DC, f0 and Nyquist
    (
        (peaking, 1000, 6, 1.0),
        "1.043953086990 -1.895320723937 0.867722284760 -1.895320723937 0.911675371750",
        (0, 6, 0),
    ),
    (
        (low_shelf, 100, 6, q_of_slope(6, 1)),
        "1.003217895737 -1.984364430777 0.981386698749 -1.984424329139 0.984544696124",
        (6, 3, 0),
    ),
    (
        (high_shelf, 8000, 6, q_of_slope(6, 1)),
        "1.571670188571 -1.248879926747 0.448691733076 -0.433510141577 0.204992136478",
        (0, 3, 6),
    ),
    (
        (low_shelf, 100, -12, math.sqrt(0.5)),
        "0.993499742117 -1.973979264147 0.980564286056 -1.973852920326 0.974190371994",
        (-12, -6, 0),
    ),
    (
        (high_shelf, 8000, -12, math.sqrt(0.5)),
        "0.405682136849 -0.096414350672 0.073661854830 -0.954602802476 0.337532443483",
        (0, -6, -12),
    ),
]


@pytest.mark.parametrize(("filter_", "coefficients", "levels_db"), COOKBOOK)
def test_prewarped_prototype_becomes_the_cookbook_filter(
    filter_: tuple[Prototype, float, float, float],
    coefficients: str,
    levels_db: tuple[float, float, float],
) -> None:
    prototype, f0, gain_db, q = filter_
    above, below = prototype(gain_db, q)
    roots = rational(above, below, prewarped(f0, 48000))
    cascade = design(roots, 48000, method="plain")
    (section,) = cascade.sections
    wanted = [float(word) for word in coefficients.split()]
    np.testing.assert_allclose(section[[0, 1, 2, 4, 5]], wanted, rtol=0, atol=1e-9)
    at = np.abs(cascade.response(np.array([0.0, f0, 24000.0])))
    np.testing.assert_allclose(20 * np.log10(at), levels_db, atol=1e-6)


def test_boost_and_cut_of_the_cookbook_are_a_wire() -> None:
    frequency_hz = np.geomspace(20, 20e3, 50)
    total = np.ones(50, complex)
    for gain_db in (9.0, -9.0):
        above, below = peaking(gain_db, 2.5)
        roots = rational(above, below, prewarped(3000, 48000))
        total *= design(roots, 48000, method="plain").response(frequency_hz)
    np.testing.assert_allclose(total, 1, rtol=1e-12)


def test_plain_transform_is_the_substitution_of_its_formula() -> None:
    # H_d(e^{jω}) = H_a(j·(2/T)·tan(ωT/2)), a polynomial at a time
    above, below = [0.3, 2e3, 4e7], [1.0, 5900.0, 5.45e7, 2.5e11]
    cascade = design(rational(above, below, 1.0), 44100, method="plain")
    frequency_hz = np.linspace(10, 22000, 80)
    s = 2j * 44100 * np.tan(np.pi * frequency_hz / 44100)
    wanted = Polynomial(above[::-1])(s) / Polynomial(below[::-1])(s)
    np.testing.assert_allclose(cascade.response(frequency_hz), wanted, rtol=1e-9)
