# SPDX-License-Identifier: GPL-3.0-or-later
"""The response of a network by a direct solve at each frequency: the truth.

Everything faster (poles and zeros, digital filters) is tested against this file.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonebench.circuit.controls import Settings
from tonebench.errors import CircuitError
from tonebench.network.nodal import Matrices, Network

_FREQUENCIES_AT_ONCE = 128  # bounds the memory of a batch: 128 complex N×N matrices

Complex = NDArray[np.complex128]


def response(network: Network, setting: Settings, frequency_hz: ArrayLike) -> Complex:
    """Solve the network at each frequency.

    Parameters
    ----------
    network : Network
        The chain's matrices.
    setting : mapping
        Positions of controls; those left out stand where they start.
    frequency_hz : array_like, shape (F,)
        Frequencies in Hz.

    Returns
    -------
    ndarray, shape (inputs, F), complex
        Output voltage over each source's own voltage, the other sources silent.

    Raises
    ------
    CircuitError
        If the setting shorts a source, or leaves the circuit without a solution.
    """
    s = 2j * np.pi * np.atleast_1d(np.asarray(frequency_hz, dtype=float))
    return solve(network.at(network.setting(setting)), s)


def solve(matrices: Matrices, s: NDArray[np.complex128]) -> Complex:
    """Solve one setting's matrices at complex frequencies `s` (rad/s), shape (F,).

    Returns the transfer from each input to the output, shape (inputs, F).
    """
    m = matrices
    reactive = m.reactive_left @ m.reactive_right.T
    parts = [
        _solve_batch(m, reactive, s[start : start + _FREQUENCIES_AT_ONCE])
        for start in range(0, len(s), _FREQUENCIES_AT_ONCE)
    ]
    return np.concatenate(parts, axis=1)


def _solve_batch(
    m: Matrices, reactive: NDArray[np.float64], s: NDArray[np.complex128]
) -> Complex:
    scale = row_scale(m.conductance, reactive, np.abs(s))
    pencil = scale * m.conductance + (s[:, None, None] * scale) * reactive
    try:
        x = np.linalg.solve(pencil, scale * m.drive)
    except np.linalg.LinAlgError:
        raise CircuitError(
            "the circuit has no solution at this setting; "
            "an op-amp without feedback, or two outputs against each other"
        ) from None
    found: Complex = np.einsum("n,fni->if", m.row, x)
    return found


def row_scale(
    conductance: NDArray[np.float64],
    reactive: NDArray[np.float64],
    size_of_s: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return powers of two that bring the rows of G + s·C near 1, shape (F, N, 1).

    Siemens and henries in one matrix mislead the choice of pivots: unscaled, a solve
    at 100 kHz can keep five digits only. Powers of two round nothing.
    """
    still, moving = np.abs(conductance).max(axis=1), np.abs(reactive).max(axis=1)
    size = np.maximum(still, size_of_s[:, None] * moving)
    exponent = np.round(np.log2(np.where(size > 0, size, 1)))
    scale: NDArray[np.float64] = np.exp2(-exponent)[:, :, None]
    return scale
