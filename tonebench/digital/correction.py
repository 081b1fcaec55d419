# SPDX-License-Identifier: GPL-3.0-or-later
"""A short filter that takes up what the transform of the roots leaves in magnitude.

Roots at z = e^{sT} have the right places, but the samples of an exponential fold its
spectrum, and roots at infinity are left out. What is missing is smooth, so a few
minimum-phase zeros and a fixed pole or two take it up. Knows magnitudes on the unit
circle only.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

#: The highest frequency that is promised, in Hz and as a share of the rate.
TOP_HZ = 20_000.0
_TOP_SHARE = 0.4536  # 20 kHz at 44.1 kHz
_BEYOND_WEIGHT = 0.03


@dataclass(frozen=True, slots=True, eq=False)
class Correction:
    """Zeros inside the unit circle, fixed real poles, and a gain."""

    zeros: Complex
    poles: Complex
    gain: float
    error_db: float


@dataclass(frozen=True, slots=True)
class Order:
    """How many correction zeros, over which fixed poles."""

    zeros: int
    poles: tuple[float, ...]


#: Enough for pickups and tone circuits: their error stays below 0.01 dB.
SHORT = Order(4, (-0.6,))
#: For resonances of high Q in the top octave.
LONG = Order(6, (-0.65, -0.65))
#: Above this error of the short one the long one is tried.
GOOD_ENOUGH_DB = 0.02


@lru_cache(maxsize=8)
def fit_grid(sample_rate_hz: float) -> tuple[Real, Real]:
    """Return the fit's frequencies (Hz) and weights, not to be written to.

    6 points on a log scale up to 1 kHz, 34 spaced as Chebyshev nodes up to the highest
    promised frequency, 7 light ones from there to Nyquist.
    """
    top = min(TOP_HZ, _TOP_SHARE * sample_rate_hz)
    low = np.geomspace(top / 1000, top / 20, 6)
    nodes = np.cos(np.pi * (np.arange(34) + 0.5) / 34)
    middle = top * (1.075 - 0.925 * nodes) / 2
    beyond = np.linspace(top, sample_rate_hz / 2, 8)[1:]
    weights = np.ones(47)
    weights[40:] = _BEYOND_WEIGHT
    frequency_hz = np.concatenate([low, middle, beyond])
    for values in (frequency_hz, weights):
        values.setflags(write=False)
    return frequency_hz, weights


def unit_circle(frequency_hz: Real, sample_rate_hz: float) -> Complex:
    """Return z⁻¹ = e^{−jωT} at frequencies in Hz."""
    result: Complex = np.exp(-2j * np.pi * np.asarray(frequency_hz) / sample_rate_hz)
    return result


def product(roots: Complex, z_inverse: Complex) -> Complex:
    """Return Π (1 − q·z⁻¹) over the roots q, at each z⁻¹."""
    factors = 1 - np.asarray(roots)[:, None] * z_inverse[None, :]
    result: Complex = factors.prod(axis=0)
    return result


def fit_correction(
    target: Real, base: Real, sample_rate_hz: float, order: Order
) -> Correction:
    """Fit the correction that brings the magnitude `base` to `target`.

    The squared magnitude of the wanted zeros is an even trigonometric polynomial
    P(ω) = Σ cₖ cos kω; its relative least squares on the grid are linear, and the zeros
    are the roots of P inside the unit circle (spectral factorisation).

    Parameters
    ----------
    target, base : ndarray, shape (47,)
        Magnitudes of the analogue response and of the transformed roots on `fit_grid`.
    sample_rate_hz : float
        The rate.
    order : Order
        `SHORT` or `LONG`.
    """
    frequency_hz, weights = fit_grid(sample_rate_hz)
    z_inverse = unit_circle(frequency_hz, sample_rate_hz)
    poles = np.array(order.poles, dtype=complex)
    wanted = target * np.abs(product(poles, z_inverse)) / base
    usable = np.isfinite(wanted) & (wanted > 0)
    z_inverse, weights, wanted = z_inverse[usable], weights[usable], wanted[usable]
    angle = -np.angle(z_inverse)
    cosines = np.cos(np.outer(angle, np.arange(order.zeros + 1)))
    rows = cosines / wanted[:, None] ** 2 * weights[:, None]
    c = np.linalg.lstsq(rows, weights, rcond=None)[0]
    zeros = _inside(c)
    got = np.abs(product(zeros, z_inverse))
    off_db = 20 * np.log10(got / wanted)[weights == 1]
    middle_db = (off_db.max() + off_db.min()) / 2
    return Correction(
        zeros=zeros,
        poles=poles,
        gain=float(10 ** (-middle_db / 20)),
        error_db=float((off_db.max() - off_db.min()) / 2),
    )


def _inside(c: Real) -> Complex:
    """Return the zeros inside the unit circle of Σ cₖ cos kω as a polynomial in z.

    Where the polynomial dips below 0, its roots lie on the circle; they are drawn a
    little inside.
    """
    half = c[1:] / 2
    roots = np.roots(np.concatenate([half[::-1], c[:1], half]))
    order = np.argsort(np.abs(roots))
    inside = roots[order[: len(half)]]
    radius = np.abs(inside)
    inside = inside * np.minimum(1, 0.999 / np.maximum(radius, 1e-300))
    upper = inside[inside.imag > 1e-12]
    real = inside[np.abs(inside.imag) <= 1e-12].real.astype(complex)
    if len(real) + 2 * len(upper) != len(half):  # a pair split by rounding
        return np.array([], dtype=complex)
    return np.concatenate([real, upper, upper.conj()])
