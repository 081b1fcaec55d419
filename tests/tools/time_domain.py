# SPDX-License-Identifier: GPL-3.0-or-later
"""Circuits solved in the time domain, apart from all that tonebench does with them.

A sparse tableau: every part is a branch with a current and one equation of its own,
A·x + P·d(Qᵀx)/dt = b·u. Reads the drawing (parts, nodes, values) and nothing of the
package's matrices, tapers, roots or filters.

Sources: G. D. Hachtel, R. K. Brayton, F. G. Gustavson, "The sparse tableau approach to
network analysis and design", IEEE Trans. Circuit Theory 18(1), 1971. E. Hairer,
G. Wanner, "Solving ordinary differential equations II", section IV.5 (Radau IIA).
"""

import math
from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.hookup import Chain
from tonebench.circuit.parts import (
    Capacitor,
    Inductor,
    OpAmp,
    Part,
    Pot,
    Resistor,
    Switch,
    VariableResistor,
)
from tonebench.circuit.tapers import Taper

Real = NDArray[np.float64]
#: Where every control stands: knobs from 0 to 10, one number or one per sample.
Positions = Mapping[str, float | str | Real]
#: The ohms of a leg, one number or one per sample; None is open.
Ohms = Callable[[Positions], float | Real | None]

GROUND = {"gnd", "bias", "rail"}
_AT_ONCE = 8192

_ROOT6 = math.sqrt(6)
RADAU_C = ((4 - _ROOT6) / 10, (4 + _ROOT6) / 10, 1.0)
RADAU_A = np.array(
    [
        [(88 - 7 * _ROOT6) / 360, (296 - 169 * _ROOT6) / 1800, (-2 + 3 * _ROOT6) / 225],
        [(296 + 169 * _ROOT6) / 1800, (88 + 7 * _ROOT6) / 360, (-2 - 3 * _ROOT6) / 225],
        [(16 - _ROOT6) / 36, (16 + _ROOT6) / 36, 1 / 9],
    ]
)


class Tableau:
    """All equations of a chain whose sources all give the same voltage u."""

    def __init__(self, chain: Chain) -> None:
        self.size = 0
        self._nodes: dict[str, int] = {}
        self._entries: list[tuple[int, int, float]] = []
        self._changing: list[tuple[int, dict[int, float]]] = []
        #: Rows whose resistance a control sets.
        self.legs: list[tuple[int, Ohms]] = []
        for part in chain.parts:
            self._add(part)
        drives = [self._branch(s.node, s.back) for s in chain.sources]
        output = self._node(chain.output)
        self._fixed = np.zeros((self.size, self.size))
        for row, column, value in self._entries:
            self._fixed[row, column] += value
        self.into = np.zeros((self.size, len(self._changing)))  # P
        self.seen = np.zeros((self.size, len(self._changing)))  # Q
        for k, (row, entries) in enumerate(self._changing):
            self.into[row, k] = 1.0
            for column, value in entries.items():
                self.seen[column, k] = value
        self.drive = np.zeros(self.size)
        self.drive[drives] = 1.0
        self.row = np.zeros(self.size)
        self.row[output] = 1.0

    def at(self, positions: Positions) -> Real:
        """Return A with every leg as the controls stand."""
        matrix = self._fixed.copy()
        for row, ohms in self.legs:
            ohm = ohms(positions)
            if ohm is None:
                matrix[row, :] = 0.0
            matrix[row, row] = 1.0 if ohm is None else -float(ohm)
        return matrix

    def _unknown(self) -> int:
        self.size += 1
        return self.size - 1

    def _node(self, name: str) -> int | None:
        if name not in GROUND and name not in self._nodes:
            self._nodes[name] = self._unknown()
        return self._nodes.get(name)

    def _between(self, a: str, b: str, scale: float = 1.0) -> dict[int, float]:
        """Return the coefficients of scale·(v(a) − v(b))."""
        found: dict[int, float] = {}
        for name, sign in ((a, scale), (b, -scale)):
            if (k := self._node(name)) is not None:
                found[k] = found.get(k, 0.0) + sign
        return found

    def _branch(self, a: str, b: str, reads_voltage: bool = True) -> int:
        """Add a current from a to b, and its row: v(a) − v(b) unless told otherwise."""
        ends = self._between(a, b)
        row = self._unknown()
        for node, sign in ends.items():
            self._entries.append((node, row, sign))
            if reads_voltage:
                self._entries.append((row, node, sign))
        return row

    def _add(self, part: Part) -> None:
        match part:
            case Resistor(across=(a, b)):
                row = self._branch(a, b)
                self._entries.append((row, row, -part.resistance_ohm))
            case Capacitor(across=(a, b)):  # i − C·dv/dt = 0
                row = self._branch(a, b, reads_voltage=False)
                self._entries.append((row, row, 1.0))
                ends = self._between(a, b, -part.capacitance_farad)
                self._changing.append((row, ends))
            case Inductor(across=(a, b)):  # v − R·i − L·di/dt = 0
                row = self._branch(a, b)
                self._entries.append((row, row, -part.winding_ohm))
                self._changing.append((row, {row: -part.inductance_henry}))
            case OpAmp():  # v(plus) − v(minus) − v(out)·(1/A + s/ω) = 0
                row = self._branch(part.out, "gnd", reads_voltage=False)
                for node, sign in self._between(part.plus, part.minus).items():
                    self._entries.append((row, node, sign))
                (out,) = self._between(part.out, "gnd")
                self._entries.append((row, out, -1 / part.open_loop_gain))
                if math.isfinite(part.gbw_hz):
                    seconds = 1 / (2 * math.pi * part.gbw_hz)
                    self._changing.append((row, {out: -seconds}))
            case Pot(ends=(a, b), wiper=w, tap=None, open_at=None):
                self._leg(a, w, lambda at: _before(part, at))
                self._leg(w, b, lambda at: part.resistance_ohm - _before(part, at))
            case VariableResistor(across=(a, b), open_at=None):
                self._leg(a, b, lambda at: _before(part, at))
            case Switch():
                for node in dict.fromkeys(n for _, nodes in part.throws for n in nodes):
                    self._leg(part.common, node, _contact(part, node))
            case _:
                raise NotImplementedError(part)

    def _leg(self, a: str, b: str, ohms: Ohms) -> None:
        if a != b and not {a, b} <= GROUND:
            self.legs.append((self._branch(a, b), ohms))


def _before(part: Pot | VariableResistor, at: Positions) -> float | Real:
    rotation = np.asarray(at[part.knob], dtype=float) / 10
    track = part.resistance_ohm - 2 * part.end_ohm
    return part.end_ohm + track * _share(part.taper, rotation)


def _share(taper: Taper, rotation: Real) -> Real:
    """Return the share of the track, the laws of audio tapers written out anew."""
    b = (100 / taper.percent - 1) ** 2
    if taper.law == "audio":
        return np.asarray((b**rotation - 1) / (b - 1))
    if taper.law == "reverse-audio":
        return np.asarray((b - b ** (1 - rotation)) / (b - 1))
    return np.interp(rotation * 10, *zip(*taper.points, strict=True))


def _contact(part: Switch, node: str) -> Ohms:
    return lambda at: 0.0 if node in part.thrown_to(str(at[part.switch])) else None


def trapezoidal(
    chain: Chain, positions: Callable[[Real], Positions], heard: Real, rate_hz: float
) -> Real:
    """Return what comes out while knobs turn, their legs new at every sample.

    With M = A + (2/h)·P·Qᵀ and e = (2/h)·q + dq/dt the rule reads M·x = P·e + b·u,
    then e ← (4/h)·Qᵀx − e. Only e is recursive; M⁻¹ follows the legs by the formula of
    Woodbury, for many samples at once.

    Parameters
    ----------
    chain : Chain
        The circuit and its hook-up.
    positions : callable
        Where the controls stand at times in seconds, an array; switches stand still.
    heard : ndarray, shape (samples,)
        The source's own voltage; silent before it begins.
    rate_hz : float
        Rate of the integration: far above that of the sound.
    """
    tableau, rate = Tableau(chain), 2 * rate_hz
    begin = positions(np.array(0.0))
    legs = [leg for leg in tableau.legs if leg[1](begin) is not None]
    rows = [row for row, _ in legs]

    def ohms(at: Positions, count: int) -> Real:
        return np.column_stack([np.broadcast_to(leg(at), count) for _, leg in legs])

    base_ohms = ohms(begin, 1)
    base = tableau.at(begin) + rate * tableau.into @ tableau.seen.T
    unit = np.eye(tableau.size)[:, rows]
    x = np.linalg.solve(base, np.column_stack([tableau.into, tableau.drive, unit]))
    count = tableau.into.shape[1]
    reads = np.vstack([tableau.seen.T, tableau.row])
    still, from_legs = np.split(reads @ x, [count + 1], axis=1)
    to_legs, among_legs = np.split(x[rows], [count + 1], axis=1)
    output, e = np.empty(len(heard)), np.zeros(count)
    for start in range(0, len(heard), _AT_ONCE):
        u = heard[start : start + _AT_ONCE]
        times = (start + np.arange(len(u))) / rate_hz
        off = (ohms(positions(times), len(u)) - base_ohms)[:, :, None]
        moved = np.linalg.solve(np.eye(len(legs)) - off * among_legs, off * to_legs)
        now = still + from_legs @ moved
        keeps = 2 * rate * now[:, :count, :count] - np.eye(count)
        takes = 2 * rate * now[:, :count, count] * u[:, None]
        before = np.empty((len(u), count))
        for k in range(len(u)):
            before[k] = e
            e = keeps[k] @ e + takes[k]
        out = np.einsum("nc,nc->n", now[:, count, :count], before)
        output[start : start + len(u)] = out + now[:, count, count] * u
    return output


def exact(
    chain: Chain, positions: Positions, samples: Real, rate_hz: float, steps: int = 2
) -> Real:
    """Return what comes out of a circuit that stands still, at the input's own rate.

    Radau IIA of order 5, `steps` steps to a sample; between the samples the input is
    what its band-limited spectrum says. Begin and end the input with silence.

    Parameters
    ----------
    chain : Chain
        The circuit and its hook-up.
    positions : mapping
        Where all controls stand.
    samples : ndarray, shape (frames,)
        The source's own voltage.
    rate_hz : float
        The rate of the samples.
    steps : int
        Steps of the integration to a sample.
    """
    tableau = Tableau(chain)
    keeps, takes, reads = _radau_step(tableau, positions, 1 / (rate_hz * steps))
    count, stages = takes.shape
    # all steps of a sample in one: from its start to its end, over all its stages
    whole, driven = np.eye(count), np.zeros((count, stages * steps))
    for k in range(steps):
        out_whole = reads[:count] @ whole
        out_driven = reads[:count] @ driven
        out_driven[k * stages : (k + 1) * stages] += reads[count:]
        whole, driven = keeps @ whole, keeps @ driven
        driven[:, k * stages : (k + 1) * stages] += takes
    between = _between_samples(samples, steps)
    stored = between @ driven.T
    power, reach = whole, 1
    while reach < len(stored):  # s[n] = W·s[n−1] + d[n] for all n, by doubling
        stored[reach:] += stored[:-reach] @ power.T
        power, reach = power @ power, 2 * reach
    output = between @ out_driven
    output[1:] += stored[:-1] @ out_whole
    return np.concatenate([[0.0], output[:-1]])


def _radau_step(
    tableau: Tableau, positions: Positions, h: float
) -> tuple[Real, Real, Real]:
    """Return one step of q: q ← keeps·q + takes·u, output = reads·(q, u) at its end.

    The unknowns are x and h·dq/dt at the three stages; u are the input's values there.
    """
    size, count = tableau.into.shape
    stages = len(RADAU_C)
    one, eye = np.eye(stages), np.eye(count)
    system = np.block(
        [
            [np.kron(one, tableau.at(positions)), np.kron(one, tableau.into / h)],
            [np.kron(one, tableau.seen.T), -np.kron(RADAU_A, eye)],
        ]
    )
    right = np.block(
        [
            [np.zeros((stages * size, count)), np.kron(one, tableau.drive[:, None])],
            [np.tile(eye, (stages, 1)), np.zeros((stages * count, stages))],
        ]
    )
    scale = np.abs(system).max(axis=1, keepdims=True)
    found = np.linalg.solve(system / scale, right / scale)
    at_end = found[(stages - 1) * size : stages * size]
    q = tableau.seen.T @ at_end
    return q[:, :count], q[:, count:], tableau.row @ at_end


def _between_samples(samples: Real, steps: int) -> Real:
    """Return the band-limited input at all stages after each sample, in time order."""
    spectrum = np.fft.rfft(samples)
    turn = 2j * np.pi * np.fft.rfftfreq(len(samples))
    return np.column_stack(
        [
            np.fft.irfft(spectrum * np.exp(turn * (k + c) / steps), len(samples))
            for k in range(steps)
            for c in RADAU_C
        ]
    )
