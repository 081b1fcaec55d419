# SPDX-License-Identifier: GPL-3.0-or-later
"""One response divided by another: what is left of a chain when a load is taken out.

The divisor's poles become zeros and its zeros poles, so the quotient is as exact as the
two; it is stable when the divisor has no zeros right of the axis, or on it.
"""

import numpy as np

from tonebench.errors import CircuitError
from tonebench.network.roots import Complex, Roots

#: A pole and a zero this near to each other, relative, are one and the same.
_SAME = 1e-9


def divided(total: Roots, by: Roots) -> Roots:
    """Return the roots of total/by.

    Raises
    ------
    CircuitError
        If `by` is silent, or blocks some frequency, so that nothing can be divided out.
    """
    if total.is_silent:
        return total
    if by.is_silent or np.any(by.zeros.real >= 0):
        raise CircuitError(
            "what loaded the take blocks some frequency altogether, so it can't be "
            "taken out of the sound"
        )
    zeros, poles = _without_common(
        np.concatenate([total.zeros, by.poles]), np.concatenate([total.poles, by.zeros])
    )
    gain = total.gain / float(by.at(np.array([total.shift + 0j]))[0].real)
    error = total.error + by.error
    return Roots(zeros, poles, gain, total.shift, error)


def _without_common(zeros: Complex, poles: Complex) -> tuple[Complex, Complex]:
    left, kept = zeros.tolist(), []
    for pole in poles.tolist():
        nearest = min(left, key=lambda zero: abs(zero - pole), default=np.inf)
        if abs(nearest - pole) <= _SAME * abs(pole):
            left.remove(nearest)
        else:
            kept.append(pole)
    return np.array(left, dtype=complex), np.array(kept, dtype=complex)
