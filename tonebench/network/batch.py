# SPDX-License-Identifier: GPL-3.0-or-later
"""The responses of many settings at once, as exact as the direct solve and far faster.

Each setting is seen from a real s₀, M = G + s₀·P·Qᵀ, and reduced to its reactive parts:
H(s) = row·x₀ − (s − s₀)·(row·M⁻¹P)(1 + (s − s₀)K)⁻¹(Qᵀx₀) with K = Qᵀ M⁻¹ P, x₀ = M⁻¹b
(Woodbury's identity); with K = V Λ V⁻¹ that is a sum over its eigenvalues. Each setting
is checked against direct solves; where the sum misses, the small system is solved at
every frequency, and at last the whole one.
"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonebench.circuit.controls import Settings
from tonebench.network.nodal import Matrices, Network
from tonebench.network.response import Complex, row_scale, solve

Real = NDArray[np.float64]

#: Where a setting is seen from, in rad/s (1 kHz).
_SHIFT = 2 * math.pi * 1000.0
#: Largest error that the check allows, relative to each input's largest gain or, where
#: less, to a thousandth of it; below −320 dB there is nothing.
_WANTED_ERROR = 1e-10
_QUIET = 1e-3
_NOTHING = 1e-16
_CHECKS = 5
#: Bounds the memory of a batch: complex numbers at once.
_NUMBERS_AT_ONCE = 4_000_000


def responses(
    network: Network, settings: Sequence[Settings], frequency_hz: ArrayLike
) -> Complex:
    """Return the responses of a network at many settings.

    Parameters
    ----------
    network : Network
        The chain's matrices.
    settings : sequence of mappings
        Positions of controls; those left out stand where they start.
    frequency_hz : array_like, shape (F,)
        Frequencies in Hz.

    Returns
    -------
    ndarray, shape (settings, inputs, F), complex
        As `tonebench.network.response.response` of each setting.

    Raises
    ------
    CircuitError
        If a setting shorts a source, or leaves the circuit without a solution.
    """
    s = 2j * np.pi * np.atleast_1d(np.asarray(frequency_hz, dtype=float))
    return solve_all([network.at(network.setting(each)) for each in settings], s)


def solve_all(matrices: Sequence[Matrices], s: NDArray[np.complex128]) -> Complex:
    """Solve many sets of matrices of one shape at complex frequencies (rad/s).

    Returns the transfers, shape (sets, inputs, F).
    """
    if not matrices:
        return np.empty((0, 0, len(s)), dtype=complex)
    reactive = matrices[0].reactive_left.shape[1]
    step = max(1, _NUMBERS_AT_ONCE // max(1, len(s) * max(reactive, 1)))
    found = [
        _solve_batch(matrices[start : start + step], s)
        for start in range(0, len(matrices), step)
    ]
    return np.concatenate(found)


def _solve_batch(matrices: Sequence[Matrices], s: NDArray[np.complex128]) -> Complex:
    at = np.unique(np.linspace(0, len(s) - 1, _CHECKS).round().astype(int))
    try:
        seen = _Shifted(matrices)
        found, truth = seen.by_sum(s), _direct(matrices, s[at])
    except np.linalg.LinAlgError:  # rare: the direct solve says what is wrong
        return np.array([solve(each, s) for each in matrices])
    for k in np.flatnonzero(_misses(found[:, :, at], truth)):
        found[k] = seen.by_solving(int(k), s)
        if _misses(found[k : k + 1, :, at], truth[k : k + 1])[0]:
            found[k] = solve(matrices[int(k)], s)
    return found


def _direct(matrices: Sequence[Matrices], s: NDArray[np.complex128]) -> Complex:
    """Solve the whole matrices at a few frequencies, all settings at once."""
    pencils, columns = [], []
    for m in matrices:
        reactive = m.reactive_left @ m.reactive_right.T
        scale = row_scale(m.conductance, reactive, np.abs(s))
        pencils.append(scale * (m.conductance + s[:, None, None] * reactive))
        columns.append(scale * m.drive)
    x = np.linalg.solve(np.array(pencils), np.array(columns))
    rows = np.array([m.row for m in matrices])
    found: Complex = np.einsum("sn,sfni->sif", rows, x)
    return found


def _misses(found: Complex, truth: Complex) -> NDArray[np.bool_]:
    size = np.abs(truth)
    allowed = np.maximum(size, _QUIET * size.max(axis=2, keepdims=True))
    with np.errstate(invalid="ignore"):
        is_met = np.abs(found - truth) <= _WANTED_ERROR * allowed + _NOTHING
    return np.asarray(~is_met.all(axis=(1, 2)))


class _Shifted:
    """Many networks of one shape seen from s₀; lives only while a batch is solved."""

    def __init__(self, matrices: Sequence[Matrices]) -> None:
        pencil = np.empty((len(matrices), *matrices[0].conductance.shape))
        left = np.array([m.reactive_left for m in matrices])
        right = np.array([m.reactive_right for m in matrices])
        drive = np.array([m.drive for m in matrices])
        row = np.array([m.row for m in matrices])
        columns = np.concatenate([left, drive], axis=2)
        for k, m in enumerate(matrices):
            reactive = m.reactive_left @ m.reactive_right.T
            scale = row_scale(m.conductance, reactive, np.array([_SHIFT]))[0]
            pencil[k] = scale * (m.conductance + _SHIFT * reactive)
            columns[k] *= scale
        x = np.linalg.solve(pencil, columns)
        count = left.shape[2]
        turned = np.swapaxes(right, 1, 2)
        self.inner = turned @ x[:, :, :count]
        self.seen = turned @ x[:, :, count:]
        self.gains = np.einsum("sn,sni->si", row, x[:, :, count:])
        self.reach = np.einsum("sn,snr->sr", row, x[:, :, :count])

    def by_sum(self, s: NDArray[np.complex128]) -> Complex:
        values, vectors = np.linalg.eig(self.inner)
        near = _inverse_times(vectors, self.seen)
        weights = np.einsum("sr,srk->sk", self.reach, vectors)[:, :, None] * near
        away = s - _SHIFT
        with np.errstate(all="ignore"):
            terms = away / (1 + away * values[:, :, None])
            found = self.gains[:, :, None] - np.swapaxes(weights, 1, 2) @ terms
        return np.asarray(found)

    def by_solving(self, k: int, s: NDArray[np.complex128]) -> Complex:
        away = (s - _SHIFT)[:, None, None]
        small = np.eye(self.inner.shape[1]) + away * self.inner[k]
        try:
            x = np.linalg.solve(small, away * self.seen[k])
        except np.linalg.LinAlgError:
            return np.full((self.gains.shape[1], len(s)), np.nan + 0j)
        return np.asarray(
            self.gains[k][:, None] - np.einsum("r,fri->if", self.reach[k], x)
        )


def _inverse_times(vectors: Complex, columns: Real) -> Complex:
    try:
        return np.asarray(np.linalg.solve(vectors, columns.astype(complex)))
    except (
        np.linalg.LinAlgError
    ):  # equal eigenvalues in one of them; the check finds it
        pairs = zip(vectors, columns, strict=True)
        return np.array([np.linalg.lstsq(v, c, rcond=None)[0] for v, c in pairs])
