# SPDX-License-Identifier: GPL-3.0-or-later
"""Circuits solved in the time domain, apart from all that tonebench does with them.

While knobs turn: the trapezoidal rule at a fine rate. Standing still: Radau IIA of
order 5, between the samples of a band-limited input. Knows the tableau only.

Source: E. Hairer, G. Wanner, "Solving ordinary differential equations II", section
IV.5 (Radau IIA).
"""

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from tableau import Positions, Tableau

from tonebench.circuit.hookup import Chain

Real = NDArray[np.float64]

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
