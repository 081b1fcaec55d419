# SPDX-License-Identifier: GPL-3.0-or-later
"""Thousands of builds of one circuit at one setting: every part a little off its value.

The values that vary are ports of the network as drawn. With M = G + s₀·P·Qᵀ solved
once, a build is a small system of as many equations as there are varying values, and
its poles and zeros come from K as in `roots.py`; all builds together are a few stacked
solves. Knows nothing of tolerances, and of what a good build is.

Source: the Sherman-Morrison-Woodbury identity, e.g. G. H. Golub, C. F. Van Loan,
"Matrix Computations", 4th ed. 2013, section 2.1.4.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonebench.circuit.controls import Settings
from tonebench.circuit.parts import (
    Capacitor,
    Inductor,
    OpAmp,
    Part,
    Pot,
    Resistor,
    VariableResistor,
)
from tonebench.errors import CircuitError, RequestError
from tonebench.network.legs import leg_ohms
from tonebench.network.nodal import Matrices, Network
from tonebench.network.response import row_scale
from tonebench.network.roots import SILENT, Roots

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
Varying = Resistor | Capacitor | Inductor | Pot | VariableResistor

_SHIFTS_HZ = (1000.0, 130.0, 7700.0, 31.0)
#: A response this weak at the shift is looked at from another one.
_WEAK = 1e-9
#: Bounds the memory of the stacked solves, and keeps curves in the cache.
_BUILDS_AT_ONCE, _CURVES_AT_ONCE = 1000, 64


@dataclass(frozen=True, slots=True, eq=False)
class BuildRoots:
    """Product forms of many builds: H = g·Π(1 + (s − s₀)λz)/Π(1 + (s − s₀)λp).

    Attributes
    ----------
    gains : ndarray, shape (B,)
        H(s₀).
    zeros, poles : ndarray of complex, shapes (B, Z) and (B, P)
        The λ = 1/(s₀ − root); 0 stands for a root at infinity.
    shift : float
        s₀ in rad/s.
    """

    gains: Real
    zeros: Complex
    poles: Complex
    shift: float

    def level_db(self, frequency_hz: ArrayLike) -> Real:
        """Return the gain of every build in dB, shape (B, F); −inf where silent."""
        omega = 2 * np.pi * np.atleast_1d(np.asarray(frequency_hz, dtype=float))
        powers = np.stack([np.ones_like(omega), omega**2, omega**4])
        above = _pairs(self.zeros, self.shift)
        below = _pairs(self.poles, self.shift)
        found = np.empty((len(self.gains), len(omega)))
        for start in range(0, len(found), _CURVES_AT_ONCE):
            some = slice(start, start + _CURVES_AT_ONCE)
            square = np.repeat(self.gains[some, None] ** 2, len(omega), axis=1)
            for pair in above:
                square *= pair[some] @ powers
            for pair in below:
                square /= pair[some] @ powers
            with np.errstate(divide="ignore"):
                found[some] = 10 * np.log10(np.abs(square))
        return found

    def one(self, build: int) -> Roots:
        """Return the poles and zeros of one build."""

        def finite(inverse: Complex) -> Complex:
            kept = inverse[np.abs(inverse) > 1e-16]
            return np.asarray(self.shift - 1 / kept)

        zeros, poles = finite(self.zeros[build]), finite(self.poles[build])
        return Roots(zeros, poles, float(self.gains[build]), self.shift)

    @property
    def is_stable(self) -> NDArray[np.bool_]:
        """Whether every pole of a build lies in the left half-plane, shape (B,).

        A pole nearer to 0 than 1e-6 rad/s is a mode that nothing drives.
        """
        with np.errstate(divide="ignore", invalid="ignore"):
            poles = np.where(self.poles == 0, -1.0, self.shift - 1 / self.poles)
        is_bad = (poles.real > 1e-6) & (np.abs(poles) < 1e12)
        return np.asarray(~is_bad.any(axis=1))


def _pairs(inverse: Complex, shift: float) -> list[Real]:
    """Return |(1 + (jω − s₀)λ₁)(1 + (jω − s₀)λ₂)|² as c₀ + c₁ω² + c₂ω⁴ for each pair.

    With a = 1 − s₀λ it is |a₁a₂ + (λ₁a₂ + λ₂a₁)·jω − λ₁λ₂·ω²|².
    """
    order = np.argsort(inverse.imag == 0, axis=1, kind="stable")  # conjugates stay side
    lam = np.take_along_axis(inverse, order, axis=1)  # by side, real roots behind them
    if lam.shape[1] % 2:
        lam = np.concatenate([lam, np.zeros((len(lam), 1))], axis=1)
    one, two = lam[:, ::2], lam[:, 1::2]
    a, b = 1 - shift * one, 1 - shift * two
    still, first, second = (a * b).real, (one * b + two * a).real, (one * two).real
    c = np.stack([still**2, first**2 - 2 * still * second, second**2], axis=-1)
    return [np.ascontiguousarray(c[:, k]) for k in range(c.shape[1])]


@dataclass(frozen=True, slots=True, eq=False)
class _Port:
    """A value in the matrices: c·u·vᵀ, c = `amount`·factor^`power`.

    `column` is the reactive column that it is, if it is one.
    """

    ref: str
    u: Real
    v: Real
    amount: float
    power: int
    column: int | None = None

    def change(self, factors: Real) -> Real:
        return self.amount * (factors**self.power - 1)


class Builds:
    """A network at one setting whose part values may be off by any factor.

    Parameters
    ----------
    network : Network
        The chain's matrices.
    setting : mapping
        Positions of controls; those left out stand where they start.
    refs : sequence of str
        The designators of the parts that vary: resistors, capacitors, inductors, pots.

    Raises
    ------
    RequestError
        If there is no such part, or a part has no value that could vary.
    CircuitError
        If the setting leaves the circuit without a solution.
    """

    def __init__(
        self, network: Network, setting: Settings, refs: Sequence[str]
    ) -> None:
        self.refs = tuple(refs)
        self.setting = network.setting(setting)
        matrices = network.at(self.setting)
        self._ports = tuple(_ports(network, matrices, self.setting, self.refs))
        self._solve(matrices)

    def _solve(self, m: Matrices) -> None:
        """See all ports, the reactive parts, source and output from one another."""
        ports, size = self._ports, (len(self._ports), len(m.row))
        u = np.reshape([port.u for port in ports], size)
        v = np.reshape([port.v for port in ports], size)
        right = np.hstack([u.T, m.reactive_left, m.drive.sum(axis=1, keepdims=True)])
        left = np.vstack([v, m.reactive_right.T, m.row])
        reactive = m.reactive_left @ m.reactive_right.T
        best = (-1.0, 0.0, right)
        for hz in _SHIFTS_HZ:
            shift = 2 * math.pi * hz
            scale = row_scale(m.conductance, reactive, np.array([shift]))[0]
            pencil = scale * (m.conductance + shift * reactive)
            try:
                seen = left @ np.linalg.solve(pencil, scale * right)
            except np.linalg.LinAlgError:
                raise CircuitError(
                    "the circuit has no solution at this setting"
                ) from None
            best = max(best, (abs(seen[-1, -1]), shift, seen), key=lambda b: b[0])
            if best[0] > _WEAK:
                break
        self.is_silent = best[0] <= SILENT
        self._shift, self._seen = best[1], best[2]

    def roots(self, factors: ArrayLike) -> BuildRoots:
        """Return the product forms of builds.

        Parameters
        ----------
        factors : array_like, shape (B, parts)
            What each part's value is multiplied by, in the order of `refs`; above 0.
        """
        asked = np.atleast_2d(np.asarray(factors, dtype=float))
        if asked.shape[1] != len(self.refs):
            raise RequestError(
                f"there are {len(self.refs)} parts that vary, got {asked.shape[1]}"
            )
        if not np.all(asked > 0):
            raise RequestError("a part's value can't fall to 0 or below it")
        some = [
            self._some(asked[start : start + _BUILDS_AT_ONCE])
            for start in range(0, len(asked), _BUILDS_AT_ONCE)
        ]
        gains, zeros, poles = (np.concatenate(each) for each in zip(*some, strict=True))
        return BuildRoots(gains, zeros, poles, self._shift)

    def _some(self, factors: Real) -> tuple[Real, Complex, Complex]:
        """Return gains, and λ of zeros and poles, of builds that fit into memory."""
        count = len(self._ports)
        seen = np.tile(self._seen[count:, count:], (len(factors), 1, 1))
        change, weights = self._changes(factors)
        if count:
            system = change[:, :, None] * self._seen[:count, :count]
            system[:, np.arange(count), np.arange(count)] += 1
            right = change[:, :, None] * self._seen[:count, count:]
            seen -= self._seen[count:, :count] @ np.linalg.solve(system, right)
        inner = seen[:, :-1, :-1] * weights[:, None, :]
        put, reach, gains = (
            seen[:, :-1, -1],
            seen[:, -1, :-1] * weights,
            seen[:, -1, -1],
        )
        poles = np.linalg.eigvals(inner)
        if self.is_silent:
            return gains, poles.astype(complex), poles.astype(complex)
        schur = inner - put[:, :, None] * (reach / gains[:, None])[:, None, :]
        zeros = np.linalg.eigvals(schur)
        return gains, zeros.astype(complex), poles.astype(complex)

    def _changes(self, factors: Real) -> tuple[Real, Real]:
        """Return by how much each port's c changes, and the reactive parts' weights."""
        change = np.empty((len(factors), len(self._ports)))
        weights = np.ones((len(factors), self._seen.shape[1] - len(self._ports) - 1))
        for k, port in enumerate(self._ports):
            factor = factors[:, self.refs.index(port.ref)]
            change[:, k] = port.change(factor)
            if port.column is not None:
                change[:, k] *= self._shift
                weights[:, port.column] = factor
        return change, weights


def _ports(
    network: Network, m: Matrices, setting: Settings, refs: Sequence[str]
) -> Iterator[_Port]:
    """Yield every place where a value that varies stands in the matrices."""
    parts = {part.ref: part for part in network.chain.parts}
    for ref in refs:
        if not isinstance(parts.get(ref), Varying):
            raise RequestError(f"{ref}: there is no part of this name with a value")
    # where the unknowns stand is known in this folder alone
    rows = {part.ref: [row for row, _ in legs] for part, legs in network._legs}
    unit = np.eye(len(m.row))
    columns = _columns(network.chain.parts)
    for ref in refs:
        match parts[ref]:
            case Capacitor() | Inductor():
                k = columns[ref]
                p, q = m.reactive_left[:, k], m.reactive_right[:, k]
                yield _Port(ref, p, q, 1.0, 1, column=k)
            case Resistor() | Pot() | VariableResistor() as part if ref in rows:
                double = replace(part, resistance_ohm=2 * part.resistance_ohm)
                for row, once, twice in zip(
                    rows[ref],
                    leg_ohms(part, setting),
                    leg_ohms(double, setting),
                    strict=True,
                ):
                    if once and twice is not None and m.conductance[row, row] == -once:
                        yield _Port(ref, unit[row], unit[row], once - twice, 1)
            case Resistor(resistance_ohm=ohm, across=pair):
                ends = np.zeros(len(m.row))
                for node, sign in zip(pair, (1.0, -1.0), strict=True):
                    if (place := network._index.get(node)) is not None:
                        ends[place] += sign
                yield _Port(ref, ends, ends, 1 / ohm, -1)


def _columns(parts: Sequence[Part]) -> dict[str, int]:
    """Return which reactive column is which part's."""
    reactive = [
        part.ref
        for part in parts
        if isinstance(part, Capacitor | Inductor)
        or (isinstance(part, OpAmp) and math.isfinite(part.gbw_hz))
    ]
    return {ref: k for k, ref in enumerate(reactive)}
