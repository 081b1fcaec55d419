# SPDX-License-Identifier: GPL-3.0-or-later
"""A frozen digital filter: second-order sections designed from poles and zeros.

The same design serves files, live playing and plug-ins, at every rate. It keeps no
signal; `runner.py` does.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tonebench.digital.bilinear import plain_bilinear, prewarped_bilinear
from tonebench.digital.correction import (
    GOOD_ENOUGH_DB,
    LONG,
    SHORT,
    Correction,
    fit_correction,
    fit_grid,
    product,
    unit_circle,
)
from tonebench.errors import CircuitError
from tonebench.network.roots import Roots

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
Method = Literal["corrected", "plain"]

#: Roots nearer to z = 0 than this change nothing that float64 could hold.
_NOTHING = 1e-14
_SMALLEST_LEAD = 0.05
#: The points of the fit up to 1 kHz: low enough to tell polarity from delay.
_LOW_POINTS = 6


@dataclass(frozen=True, slots=True, eq=False)
class Cascade:
    """Second-order sections (n, 6): b0 b1 b2 a0 a1 a2 with a0 = 1, float64.

    `error_db` is the largest difference from the analogue magnitude at the points of
    the fit, up to 20 kHz.
    """

    sections: Real
    sample_rate_hz: float
    error_db: float = 0.0

    def __post_init__(self) -> None:
        sections = np.array(self.sections, dtype=float).reshape(-1, 6)
        sections.setflags(write=False)
        object.__setattr__(self, "sections", sections)

    @property
    def is_silent(self) -> bool:
        """Whether nothing at all comes out."""
        return bool(np.any(np.all(self.sections[:, :3] == 0, axis=1)))

    def response(self, frequency_hz: Real) -> Complex:
        """Return the complex gain at frequencies in Hz, shape (F,)."""
        z = unit_circle(frequency_hz, self.sample_rate_hz)
        powers = np.stack([np.ones_like(z), z, z * z])
        above = self.sections[:, :3] @ powers
        below = self.sections[:, 3:] @ powers
        result: Complex = np.prod(above / below, axis=0)
        return result


def design(
    roots: Roots, sample_rate_hz: float, method: Method = "corrected"
) -> Cascade:
    """Design the filter that sounds as the circuit does.

    Parameters
    ----------
    roots : Roots
        Poles and zeros of the circuit, from `tonebench.network.roots.find_roots`.
    sample_rate_hz : float
        Rate of the filter.
    method : {"corrected", "plain"}
        ``corrected``: every root prewarped, then a short magnitude correction; within
        0.02 dB up to 20 kHz at 44.1 kHz and above. ``plain``: the textbook transform,
        for study; it presses everything above Nyquist into the top octave.

    Raises
    ------
    CircuitError
        If the circuit is not stable at this setting.
    """
    if roots.is_silent:
        return Cascade(np.array([[0.0, 0, 0, 1, 0, 0]]), sample_rate_hz)
    if not roots.is_stable:
        worst = roots.poles[np.argmax(roots.poles.real)]
        raise CircuitError(
            "the circuit is not stable at this setting: it would oscillate or latch "
            f"(a pole at {worst.real:+.3g} rad/s, {abs(worst.imag) / 6.2832:.3g} Hz)"
        )
    if len(roots.zeros) == len(roots.poles) == 0:
        return Cascade(np.array([[roots.gain, 0, 0, 1, 0, 0]]), sample_rate_hz)
    if method == "plain":
        return _plain(roots, sample_rate_hz)
    both = prewarped_bilinear(np.append(roots.zeros, roots.poles), sample_rate_hz)
    zeros, poles = np.split(both, [len(roots.zeros)])
    frequency_hz, _ = fit_grid(sample_rate_hz)
    analogue = roots.response(frequency_hz)
    z = unit_circle(frequency_hz, sample_rate_hz)
    base = product(zeros, z) / product(poles, z)
    correction = _best_correction(np.abs(analogue), np.abs(base), sample_rate_hz)
    zeros = np.concatenate([zeros, correction.zeros])
    poles = np.concatenate([poles, correction.poles])
    loudest = int(np.argmax(np.abs(analogue[:_LOW_POINTS])))
    at = z[loudest : loudest + 1]
    filtered = product(zeros, at) / product(poles, at)
    # the sign that the filter lacks, told where the circuit is loudest
    sign = 1.0 if (filtered[0] / analogue[loudest]).real >= 0 else -1.0
    gain = correction.gain * sign
    sections = _sections(zeros, poles, gain)
    return Cascade(sections, sample_rate_hz, correction.error_db)


def _best_correction(target: Real, base: Real, sample_rate_hz: float) -> Correction:
    short = fit_correction(target, base, sample_rate_hz, SHORT)
    if short.error_db <= GOOD_ENOUGH_DB:
        return short
    long = fit_correction(target, base, sample_rate_hz, LONG)
    return min(short, long, key=lambda fit: fit.error_db)


def _plain(roots: Roots, sample_rate_hz: float) -> Cascade:
    zeros = plain_bilinear(roots.zeros, sample_rate_hz)
    poles = plain_bilinear(roots.poles, sample_rate_hz)
    missing = len(poles) - len(zeros)
    zeros = np.concatenate([zeros, -np.ones(max(missing, 0))])
    poles = np.concatenate([poles, -np.ones(max(-missing, 0))])
    z = np.array([np.exp(-2j * np.pi * 0.1)])
    s = 2 * sample_rate_hz * (1 - z) / (1 + z)
    ratio = roots.at(s) / (product(zeros, z) / product(poles, z))
    return Cascade(_sections(zeros, poles, float(ratio.real[0])), sample_rate_hz)


def _sections(zeros: Complex, poles: Complex, gain: float) -> Real:
    """Pair roots into sections: poles nearest the circle take the nearest zeros.

    The order runs from the gentlest section to the most resonant one, the gain stands
    in the first.
    """
    below = _quadratics(poles)
    above = _quadratics(zeros)
    below.sort(key=lambda pair: max(abs(pair[0]), abs(pair[1])), reverse=True)
    sections = []
    for pair in below:
        nearest = min(above, key=lambda other: abs(other[0] - pair[0]), default=None)
        if nearest is not None:
            above.remove(nearest)
        sections.append((nearest or (0j, 0j), pair))
    sections += [(pair, (0j, 0j)) for pair in above]
    sections = sections[::-1] or [((0j, 0j), (0j, 0j))]
    rows = np.array([[*_polynomial(a), *_polynomial(b)] for a, b in sections])
    rows[0, :3] *= gain
    return rows


def _quadratics(roots: Complex) -> list[tuple[complex, complex]]:
    """Group roots into conjugate pairs, and real ones by two (the last with 0)."""
    roots = roots[np.abs(roots) > _NOTHING]
    pairs = [(complex(r), complex(r.conjugate())) for r in roots if r.imag > 0]
    real = sorted((complex(r) for r in roots if r.imag == 0), key=lambda r: r.real)
    if len(real) % 2:
        real.append(0j)
    return pairs + list(zip(real[::2], real[1::2], strict=True))


def _polynomial(pair: tuple[complex, complex]) -> tuple[float, float, float]:
    return 1.0, -(pair[0] + pair[1]).real, (pair[0] * pair[1]).real


def lead_frames(cascade: Cascade, roots: Roots) -> float:
    """Return how many frames the filter leads the circuit by (a constant delay).

    Left-out roots at infinity make a filter answer up to about a sample early, the same
    at all frequencies. Fitted from 100 Hz to 5 kHz; 0 for a silent setting.
    """
    if roots.is_silent:
        return 0.0
    frequency_hz = np.geomspace(100, min(5000, cascade.sample_rate_hz / 5), 40)
    ratio = cascade.response(frequency_hz) / roots.response(frequency_hz)
    angle = 2 * np.pi * frequency_hz / cascade.sample_rate_hz
    return float(np.sum(np.unwrap(np.angle(ratio)) * angle) / np.sum(angle**2))


def aligned(cascade: Cascade, lead: float) -> Cascade:
    """Return the filter delayed by its lead, so that it answers when the circuit does.

    Channels that are summed must be aligned, or their treble partly cancels. The delay
    is a first-order all-pass, so magnitude stays as it is; a lead below a twentieth of
    a frame, or a lag, is left alone.

    Source: J.-P. Thiran, "Recursive digital filters with maximally flat group delay",
    IEEE Trans. Circuit Theory 18(6), 1971: a = (1 − D)/(1 + D) for a delay D.
    """
    if lead < _SMALLEST_LEAD:
        return cascade
    a = (1 - lead) / (1 + lead)
    delay = [[a, 1.0, 0.0, 1.0, a, 0.0]]
    sections = np.concatenate([cascade.sections, delay])
    return Cascade(sections, cascade.sample_rate_hz, cascade.error_db)
