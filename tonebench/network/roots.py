# SPDX-License-Identifier: GPL-3.0-or-later
"""Poles, zeros and gain of a network at a setting, in product form.

With M = G + s₀·P·Qᵀ and K = Qᵀ M⁻¹ P, the poles are s₀ − 1/λ over the eigenvalues λ of
K, and the zeros those of K − (Qᵀx₀)(row·M⁻¹P)/H(s₀), x₀ = M⁻¹b (a Schur complement of
the system matrix of H. H. Rosenbrock, "State-space and multivariable theory", 1970).
Roots at infinity are λ = 0 and need no threshold. Each result is checked against direct
solves; where it misses, the scaled pencil is solved by QZ instead.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.controls import Settings
from tonebench.network.nodal import Matrices, Network
from tonebench.network.response import row_scale, solve

Complex = NDArray[np.complex128]
#: Whether each input is driven on its own, or all by the same voltage.
Drive = Literal["each", "together"]

#: A network is silent when its output stays this far below its largest node voltage.
SILENT = 1e-13
#: The self-check: product form against direct solves, relative.
WANTED_ERROR = 4e-10
_CHECK_HZ = np.array([0.1, 1.0, 11.0, 97.0, 830.0, 7.3e3, 29e3, 1e5])
_CHECK_S = 2j * np.pi * _CHECK_HZ
_SHIFTS = 2 * math.pi * np.array([1000.0, 130.0, 7700.0, 31.0, 43e3])
#: Roots beyond this (rad/s) are at infinity.
_FAR = 1e16
#: Zeros beyond this (rad/s, 16 MHz) may be splinters of a zero at infinity.
_MAYBE_FAR = 1e8
#: They are, when without them nothing changes by more than this up to 100 kHz.
_UNCHANGED = 1e-10
#: Zeros nearer to DC than this (rad/s) may be the splinters of a multiple zero at DC.
_NEAR_DC = 1.0
#: Nearer than this (rad/s) a pole and a zero are both at DC: a time constant of days.
_AT_DC = 1e-6
#: A pole right of the axis and beyond this (rad/s, 160 GHz) is rounding's idea of
#: infinity: no circuit of parts on a board oscillates there.
_BEYOND_OSCILLATION = 1e12


@dataclass(frozen=True, slots=True, eq=False)
class Roots:
    """H(s) = gain · Π (s − zᵢ)/(s₀ − zᵢ) / Π (s − pᵢ)/(s₀ − pᵢ), all finite roots.

    Attributes
    ----------
    zeros, poles : ndarray of complex
        In rad/s.
    gain : float
        H(s₀); 0 where the network is silent.
    shift : float
        s₀, real and positive, in rad/s.
    error : float
        Largest relative difference from the direct solves of the self-check.
    """

    zeros: Complex
    poles: Complex
    gain: float
    shift: float
    error: float = 0.0

    @property
    def is_silent(self) -> bool:
        """Whether nothing at all comes out (a volume at 0)."""
        return self.gain == 0

    @property
    def is_stable(self) -> bool:
        """Whether every pole lies in the left half-plane."""
        return bool(np.all(self.poles.real < 0))

    def at(self, s: Complex) -> Complex:
        """Return H at complex frequencies `s` in rad/s, shape (F,)."""
        above, below = (
            np.prod((s[:, None] - roots) / (self.shift - roots), axis=1)
            for roots in (self.zeros, self.poles)
        )
        value: Complex = self.gain * above / below
        return value

    def response(self, frequency_hz: NDArray[np.float64]) -> Complex:
        """Return H at frequencies in Hz, shape (F,)."""
        return self.at(2j * np.pi * np.asarray(frequency_hz, dtype=float))


def find_roots(
    network: Network, setting: Settings, drive: Drive = "each"
) -> tuple[Roots, ...]:
    """Return the roots from each input to the output.

    Parameters
    ----------
    network : Network
        The chain's matrices.
    setting : mapping
        Positions of controls; those left out stand where they start.
    drive : {"each", "together"}
        One result per input, or a single one for the same voltage on all of them.

    Raises
    ------
    CircuitError
        If the setting shorts a source, or leaves the circuit without a solution.
    """
    matrices = network.at(network.setting(setting))
    if drive == "together":
        total = matrices.drive.sum(axis=1, keepdims=True)
        matrices = replace(matrices, drive=total)
    return roots_of(matrices)


def roots_of(matrices: Matrices) -> tuple[Roots, ...]:
    """Return the roots from each driving column of the matrices to the output."""
    truth = solve(matrices, _CHECK_S)
    largest = np.abs(truth).max(axis=1)
    heard = largest > SILENT
    silent = Roots(np.empty(0, complex), np.empty(0, complex), 0.0, _SHIFTS[0])
    if not heard.any():
        return (silent,) * len(heard)
    shifted = _Shifted.best(matrices, heard)
    return tuple(
        _checked(matrices, shifted, k, truth[k]) if heard[k] else silent
        for k in range(len(heard))
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Shifted:
    """A network seen from s₀: K, and for each input Qᵀx₀ and H(s₀)."""

    shift: float
    inner: NDArray[np.float64]
    seen: NDArray[np.float64]
    gains: NDArray[np.float64]
    reach: NDArray[np.float64]
    poles: Complex

    @classmethod
    def best(cls, m: Matrices, heard: NDArray[np.bool_]) -> "_Shifted":
        """Shift by 1 kHz, or by another frequency where H(s₀) happens to vanish."""
        columns = np.concatenate([m.reactive_left, m.drive], axis=1)
        reactive = m.reactive_left @ m.reactive_right.T
        found: list[tuple[float, float, NDArray[np.float64]]] = []
        for shift in _SHIFTS:
            scale = row_scale(m.conductance, reactive, np.array([shift]))[0]
            pencil = scale * (m.conductance + shift * reactive)
            x = np.linalg.solve(pencil, scale * columns)
            gains = m.row @ x[:, m.reactive_left.shape[1] :]
            weakest = float(np.abs(gains[heard]).min())
            found.append((weakest, float(shift), x))
            if weakest > 1e-9:
                break
        _, shift, x = max(found, key=lambda entry: entry[0])
        count = m.reactive_left.shape[1]
        inner = m.reactive_right.T @ x[:, :count]
        return cls(
            shift=shift,
            inner=inner,
            seen=m.reactive_right.T @ x[:, count:],
            gains=m.row @ x[:, count:],
            reach=m.row @ x[:, :count],
            poles=_finite_roots(inner, shift),
        )

    def zeros(self, k: int) -> Complex:
        if self.gains[k] == 0:
            return np.empty(0, complex)
        schur = self.inner - np.outer(self.seen[:, k], self.reach) / self.gains[k]
        return _finite_roots(schur, self.shift)


def _finite_roots(inner: NDArray[np.float64], shift: float) -> Complex:
    eigenvalues = np.linalg.eigvals(inner).astype(complex)
    eigenvalues = eigenvalues[np.abs(eigenvalues) > 1 / _FAR]
    return _paired(shift - 1 / eigenvalues)


def _paired(roots: Complex) -> Complex:
    """Drop the imaginary dust of real roots; keep pairs exactly conjugate."""
    is_real = np.abs(roots.imag) <= 1e-13 * np.abs(roots)
    upper = roots[~is_real & (roots.imag > 0)]
    real = np.sort(roots[is_real].real).astype(complex)
    return np.concatenate([real, upper, upper.conj()])


def _checked(m: Matrices, shifted: _Shifted, k: int, truth: Complex) -> Roots:
    plain = Roots(
        shifted.zeros(k), shifted.poles, float(shifted.gains[k]), shifted.shift
    )
    roots = _best_of(_tidied(plain), truth)
    if roots.error <= WANTED_ERROR:
        return roots
    return _best_of([roots, *_tidied(_by_qz(m, k, truth))], truth)


def _tidied(roots: Roots) -> list[Roots]:
    near = replace(roots, zeros=_without_splinters(roots.zeros, roots.shift))
    return [_cancelled(candidate) for candidate in _dc_snaps(near)]


def _without_splinters(zeros: Complex, shift: float) -> Complex:
    """Leave out the splinters of a multiple zero at infinity.

    Where a response falls by several powers of s, rounding makes a ring of very far
    zeros of that, half of them right of the axis. Together they change nothing.
    """
    order = np.argsort(-np.abs(zeros))
    for count in range(int(np.sum(np.abs(zeros) > _MAYBE_FAR)), 0, -1):
        far = zeros[order[:count]]
        factor = np.prod((_CHECK_S[:, None] - far) / (shift - far), axis=1)
        if abs(far.imag.sum()) <= 1e-12 and np.abs(factor - 1).max() <= _UNCHANGED:
            return zeros[order[count:]]
    return zeros


def _best_of(candidates: Sequence[Roots], truth: Complex) -> Roots:
    """Return the first candidate that passes the self-check, or is about the best."""
    measured = []
    for roots in candidates:
        with np.errstate(all="ignore"):
            error = np.abs(roots.at(_CHECK_S) / truth - 1)[1:]
        error = error[np.abs(truth[1:]) > SILENT * np.abs(truth).max()]
        worst = float(error.max()) if np.isfinite(error).all() else math.inf
        measured.append(replace(roots, error=worst))
    allowed = max(WANTED_ERROR, 2 * min(roots.error for roots in measured))
    return next(roots for roots in measured if roots.error <= allowed)


def _cancelled(roots: Roots) -> Roots:
    """Leave out modes that can't be heard or driven: a pole with its equal zero.

    A capacitor hanging from an open switch, or a node between two capacitors, has a
    pole at DC but for rounding, which must not count as unstable.
    """
    zeros, zeros_at_dc = _parted(roots.zeros)
    poles, poles_at_dc = _parted(roots.poles)
    shared = min(len(zeros_at_dc), len(poles_at_dc))
    if shared:  # what is left of a split multiple zero may be half a pair
        zeros_at_dc = [0j] * (len(zeros_at_dc) - shared)
    zeros += zeros_at_dc
    kept = poles_at_dc[shared:]
    for pole in poles:
        if pole.real > 0 and abs(pole) > _BEYOND_OSCILLATION:
            continue
        near = min(zeros, key=lambda zero: abs(zero - pole), default=math.inf)
        if abs(near - pole) <= 1e-12 * abs(pole):
            zeros.remove(near)
        else:
            kept.append(pole)
    return replace(roots, zeros=_array(zeros), poles=_array(kept))


def _parted(roots: Complex) -> tuple[list[complex], list[complex]]:
    """Return the roots away from DC, and those at DC, nearest first."""
    ordered = sorted(roots.tolist(), key=abs)
    at_dc = [root for root in ordered if abs(root) <= _AT_DC]
    return ordered[len(at_dc) :], at_dc


def _array(values: Sequence[complex]) -> Complex:
    return np.array(values, dtype=complex)


def _dc_snaps(roots: Roots) -> list[Roots]:
    """Return the roots with none, one, two … of the zeros nearest to DC put at DC.

    Several coupling capacitors make a multiple zero at DC, which comes out of any
    eigenvalue solver as a ring of splinters. Which of them stand for DC, and which are
    true zeros of very low frequency, the check against direct solves decides.
    """
    order = np.argsort(np.abs(roots.zeros))
    candidates = [roots]
    for count in range(1, 1 + int(np.sum(np.abs(roots.zeros) < _NEAR_DC))):
        nearest = order[:count]
        if abs(roots.zeros[nearest].imag.sum()) > 1e-12:  # never half a pair
            continue
        zeros = roots.zeros.copy()
        zeros[nearest] = 0
        candidates.append(replace(roots, zeros=zeros))
    return candidates[::-1]


def _by_qz(m: Matrices, k: int, truth: Complex) -> Roots:
    """Solve the pencils by QZ, scaled to about 1 rad/s and equilibrated."""
    import scipy.linalg

    reactive = m.reactive_left @ m.reactive_right.T
    n = len(reactive)
    system = np.zeros((n + 1, n + 1))
    system[:n, :n], system[:n, n], system[n, :n] = m.conductance, -m.drive[:, k], m.row
    storage = np.zeros_like(system)
    storage[:n, :n] = reactive

    def finite(left: NDArray[np.float64], right: NDArray[np.float64]) -> Complex:
        unit = 2 * math.pi * 1000.0
        a, b = _equilibrated(left, right * unit)
        values = scipy.linalg.eigvals(a, -b, homogeneous_eigvals=True)
        alpha, beta = values[0], values[1]
        is_finite = np.abs(beta) > np.abs(alpha) * (unit / _FAR)
        return _paired(np.asarray(unit * alpha[is_finite] / beta[is_finite]))

    zeros = finite(system, storage)
    poles = finite(m.conductance, reactive)
    shift = float(_SHIFTS[0])
    gain = solve(replace(m, drive=m.drive[:, k : k + 1]), np.array([shift + 0j]))
    return Roots(zeros, poles, float(gain[0, 0].real), shift)


def _equilibrated(
    a: NDArray[np.float64], b: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Scale rows and columns of both matrices alike until their largest entries are 1.

    Powers of two only, so that scaling itself rounds nothing.
    """
    a, b = a.copy(), b.copy()
    for _ in range(4):
        for axis in (1, 0):
            size = np.maximum(np.abs(a), np.abs(b)).max(axis=axis, keepdims=True)
            scale = 2.0 ** -np.round(np.log2(np.where(size > 0, size, 1)))
            a, b = a * scale, b * scale
    return a, b
