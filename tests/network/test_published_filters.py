# SPDX-License-Identifier: GPL-3.0-or-later
"""Filters and simulated inductors, read from `tests/reference_circuits`.

"Computed" means: from a closed formula, apart from the code under test. Figures are
given with the digits that their source prints.
"""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import ArrayLike, NDArray

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.hookup import join
from tonebench.circuit.parts import Capacitor, Transconductor
from tonebench.network.nodal import Network
from tonebench.network.roots import Roots, find_roots

Reader = Callable[[str], Circuit]
Gain = Callable[..., NDArray[np.complex128]]
GainDb = Callable[..., NDArray[np.float64]]


def roots_of(circuit: Circuit) -> Roots:
    (roots,) = find_roots(Network(join(circuit)), {})
    return roots


# Second-order filters. Sources: A. Malvino, D. Bates, "Electronic Principles", 7th
# ed.; S. Franco, "Design with Operational Amplifiers". `exact` is computed.


@pytest.mark.parametrize(
    ("name", "parts", "exact", "printed"),
    [
        ("sallen_key_high_pass", {}, (1995.382, 0.707107), (2000, 0.707)),
        (
            "sallen_key_high_pass",
            {"C1": "100n", "C2": "100n", "R1": "2.653k", "R2": "23.87k"},
            None,
            (200, 1.5),
        ),
        (
            "sallen_key_high_pass",
            {"C1": "100n", "C2": "100n", "R1": "2.67k", "R2": "23.7k"},
            (200.07, 1.4897),
            None,
        ),
        ("sallen_key_low_pass", {}, (8189.67, 0.57735), (8190, 0.577)),
        (
            "sallen_key_low_pass",
            {"R1": "5.758k", "R2": "2.199k", "C1": "20n", "C2": "1n"},
            None,
            (10e3, 2),
        ),
        ("sallen_key_low_pass_gain", {}, (19409.1, 0.57732), (19.4e3, 0.578)),
        ("feedback_low_pass", {}, None, (10e3, 4)),
        ("feedback_high_pass", {}, (200.000, 0.707107), None),
    ],
)
def test_second_order_filter_has_its_frequency_and_q(
    reference: Reader,
    name: str,
    parts: dict[str, str],
    exact: tuple[float, float] | None,
    printed: tuple[float, float] | None,
) -> None:
    roots = roots_of(reference(name).with_parts(parts))
    (pole,) = roots.poles[roots.poles.imag > 0]
    got = (abs(pole) / (2 * math.pi), abs(pole) / (-2 * pole.real))
    if exact:  # as many digits as are given
        assert got == pytest.approx(exact, rel=4e-5)
    if printed:  # three digits
        assert got == pytest.approx(printed, rel=0.005)


def test_butterworth_high_pass_falls_3_db_at_its_corner(
    gain_db: GainDb, reference: Reader
) -> None:
    # Malvino, example 21-9, prints the corner as 2 kHz; computed: 1995.382 Hz
    circuit = reference("sallen_key_high_pass")
    assert gain_db(circuit, 1995.382) == pytest.approx(-3.0103, abs=1e-4)


def test_high_pass_of_q_1_5_falls_3_db_at_139_87_hz(
    gain_db: GainDb, reference: Reader
) -> None:
    # Franco, example 3.12; computed for exactly 200 Hz and Q 1.5
    exact = 1 / (2 * math.pi * 200 * 100e-9)
    parts: dict[str, str | float] = {
        "C1": "100n", "C2": "100n", "R1": exact / 3, "R2": exact * 3,
    }  # fmt: skip
    circuit = reference("sallen_key_high_pass").with_parts(parts)
    assert gain_db(circuit, 139.87) == pytest.approx(-3.0103, abs=1e-3)


def test_feedback_low_pass_peaks_by_its_gain_times_q(
    gain_db: GainDb, reference: Reader
) -> None:
    # Franco, example 3.16: gain 2, Q 4 at 10 kHz; its resistors have six digits
    assert gain_db(reference("feedback_low_pass"), 10e3) == pytest.approx(
        20 * math.log10(8), abs=1e-3
    )


def test_feedback_high_pass_follows_its_formula(
    gain: Gain, gain_db: GainDb, reference: Reader
) -> None:
    circuit = reference("feedback_high_pass")
    level_db = gain_db(circuit, [200.0, 50.0, 400.0])
    np.testing.assert_allclose(level_db, [-3.0103, -24.099, -0.263], rtol=0, atol=1e-3)
    # H = −(C/C₂) s² / (s² + s (2C + C₂)/(R₁CC₂) + 1/(R₁R₂CC₂)) with C = C₂
    s = 2j * np.pi * np.geomspace(1, 1e5, 50)
    c, r1, r2 = 100e-9, 16.8809e3, 3.75132e3
    wanted = -(s**2) / (s**2 + s * 3 / (r1 * c) + 1 / (r1 * r2 * c**2))
    np.testing.assert_allclose(gain(circuit, s.imag / (2 * np.pi)), wanted, rtol=1e-12)


# Simulated inductors, driven by a current: 1 mA per volt, so that H is Z in kΩ


def impedance(
    gain: Gain, circuit: Circuit, frequency_hz: ArrayLike
) -> NDArray[np.complex128]:
    return 1000 * gain(circuit, frequency_hz)


def test_inductor_of_one_op_amp_has_the_impedance_of_its_formula(
    gain: Gain, reference: Reader
) -> None:
    # Z = R₁ (1 + sCR₂)/(1 + sCR₁), derived by hand
    circuit = reference("simulated_inductor")
    hz = np.geomspace(1, 1e5, 60)
    s = 2j * np.pi * hz
    wanted = 470 * (1 + s * 47e-9 * 100e3) / (1 + s * 47e-9 * 470)
    np.testing.assert_allclose(impedance(gain, circuit, hz), wanted, rtol=1e-9)
    printed = [470.192 + 138.143j, 489.170 + 1381.166j, 2351.13 + 13553.23j]
    np.testing.assert_allclose(
        impedance(gain, circuit, [10.0, 100.0, 1e3]), printed, rtol=2e-6
    )


def test_inductor_of_one_op_amp_reads_as_2_2_henry_and_470_ohm(
    gain: Gain, reference: Reader
) -> None:
    # L = R₁C (R₂ − R₁) exactly at low frequencies; the textbook says R₁R₂C = 2.209 H
    z = impedance(gain, reference("simulated_inductor"), 0.1)[0]
    assert z.imag / (2 * math.pi * 0.1) == pytest.approx(2.19862, rel=1e-5)
    assert z.real == pytest.approx(470, rel=1e-5)


def in_series(circuit: Circuit, farad: float) -> Circuit:
    """Put a capacitor between the current and the one-port."""
    driven = tuple(
        replace(part, into=("gnd", "top")) if isinstance(part, Transconductor) else part
        for part in circuit.parts
    )
    series = Capacitor("Cs", ("top", "x"), farad)
    return replace(circuit, parts=(*driven, series), output="top")


def test_inductor_of_one_op_amp_resonates_with_a_series_capacitor(
    gain: Gain, reference: Reader
) -> None:
    circuit = in_series(reference("simulated_inductor"), 1e-6)
    hz = np.linspace(106.5, 108, 15001)  # 0.1 mHz apart
    z = impedance(gain, circuit, hz)
    assert hz[np.abs(z).argmin()] == pytest.approx(107.084, abs=6e-4)
    assert np.abs(z).min() == pytest.approx(492.04, abs=5e-3)
    assert hz[np.abs(z.imag).argmin()] == pytest.approx(107.348, abs=6e-4)


def test_inductor_of_two_op_amps_is_1_henry_at_all_frequencies(
    gain: Gain, reference: Reader
) -> None:
    # Z = Z₁Z₃Z₅/(Z₂Z₄) = s R³C/R
    hz = np.geomspace(1, 1e5, 60)
    z = impedance(gain, reference("impedance_converter"), hz)
    np.testing.assert_allclose(z, 2j * np.pi * hz * 1.0, rtol=1e-9)
