# SPDX-License-Identifier: GPL-3.0-or-later
"""One response divided by another: what is left of a chain when a load is taken out.

The divisor's poles become zeros and its zeros poles, so the quotient is as exact as the
two; it is stable when no zero of the divisor on the axis, or right of it, is left over.
A coupling capacitor's zero at DC is made up for down to 2 Hz only.
"""

import math

import numpy as np

from tonebench.errors import CircuitError
from tonebench.network.roots import Complex, Roots

#: Two roots this near to each other, relative, are one and the same.
_SAME = 1e-9
#: Below this (rad/s, 2 Hz) what a coupling capacitor took away is not made up for.
_NOT_MADE_UP = 2 * math.pi * 2.0
#: Two roots nearer to DC than this (rad/s) are both at DC.
_AT_DC = 1e-6
#: Zeros beyond this (rad/s, 16 MHz) change less than 1e-4 dB of what can be heard, and
#: may be splinters of zeros at infinity.
_FAR = 1e8


def divided(total: Roots, by: Roots) -> Roots:
    """Return the roots of total/by.

    Raises
    ------
    CircuitError
        If `by` is silent, or keeps back a frequency above DC that `total` lets
        through.
    """
    if total.is_silent:
        return total
    if by.is_silent:
        raise CircuitError(
            "what the take was recorded through lets nothing out as it is set, so it "
            "can't be taken out of the sound; turn its volume up under [recorded]"
        )
    gain = total.gain / float(by.at(np.array([total.shift + 0j]))[0].real)
    zeros, old_zeros = _without_common(total.zeros, by.zeros)
    poles, old_poles = _without_common(total.poles, by.poles)
    is_far = np.abs(old_zeros) > _FAR
    if np.any(old_zeros[is_far].real >= 0):
        old_zeros = old_zeros[~is_far]
    is_at_dc = np.abs(old_zeros) <= _AT_DC
    old_zeros[is_at_dc] = -_NOT_MADE_UP
    gain *= (total.shift / (total.shift + _NOT_MADE_UP)) ** int(is_at_dc.sum())
    if np.any(old_zeros.real >= 0):
        raise CircuitError(
            "what the take was recorded through keeps back a frequency that this chain "
            "lets through, so it can't be taken out of the sound; leave it out of "
            "[recorded]"
        )
    return Roots(
        zeros=np.concatenate([zeros, old_poles]),
        poles=np.concatenate([poles, old_zeros]),
        gain=gain,
        shift=total.shift,
        error=total.error + by.error,
    )


def _without_common(roots: Complex, others: Complex) -> tuple[Complex, Complex]:
    """Leave out what both have; a real root is never one of a pair."""
    left, kept = roots.tolist(), []
    for other in others.tolist():
        alike = [root for root in left if (root.imag == 0) == (other.imag == 0)]
        nearest = min(alike, key=lambda root: abs(root - other), default=np.inf)
        if abs(nearest - other) <= max(_SAME * abs(other), _AT_DC):
            left.remove(nearest)
        else:
            kept.append(other)
    return np.array(left, dtype=complex), np.array(kept, dtype=complex)
