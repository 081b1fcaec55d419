# SPDX-License-Identifier: GPL-3.0-or-later
"""The bilinear transform of poles and zeros, with each root prewarped or without.

The transform maps s to z = (1 + sT/2)/(1 − sT/2). With every root first moved to
s′ = (2/T)·tanh(sT/2), it lands on z = e^{sT}: its own frequency and its own decay.
Knows roots and a rate, nothing of circuits.
"""

import numpy as np
from numpy.typing import NDArray

Complex = NDArray[np.complex128]

#: Above this share of the Nyquist angle, angles are compressed so that none wraps.
_SOFT = 0.95 * np.pi


def plain_bilinear(roots: Complex, sample_rate_hz: float) -> Complex:
    """Return z = (1 + sT/2)/(1 − sT/2) for each root s in rad/s.

    Source: A. V. Oppenheim, R. W. Schafer, "Discrete-Time Signal Processing",
    section 7.2.2.
    """
    half = np.asarray(roots, dtype=np.complex128) / (2 * sample_rate_hz)
    return (1 + half) / (1 - half)


def prewarped_bilinear(roots: Complex, sample_rate_hz: float) -> Complex:
    """Return z = e^{sT} for each root s in rad/s: the bilinear of prewarped roots.

    Roots in the right half-plane with |s|·T beyond 2π are mirrored first: these zeros
    are a circuit's numerical way of saying "at infinity", and left alone they make the
    phase jump a whole sample between neighbouring settings. Angles near Nyquist are
    compressed smoothly towards it, what is taken from the angle going into the decay.
    """
    turn = np.asarray(roots, dtype=complex) / sample_rate_hz
    is_far = (turn.real > 0) & (np.abs(turn) > 2 * np.pi)
    turn = np.where(is_far, -turn.conj(), turn)
    angle = np.abs(turn.imag)
    room = np.pi - _SOFT
    over = np.maximum(angle - _SOFT, 0)
    kept = np.minimum(angle, _SOFT) + room * (1 - np.exp(-over / room))
    decay = np.where(turn.real > 0, turn.real, turn.real - (angle - kept))
    radius = np.exp(np.clip(decay, -700, 700))
    result: Complex = radius * np.exp(1j * np.sign(turn.imag) * kept)
    return result
