# SPDX-License-Identifier: GPL-3.0-or-later
"""A network at a few frequencies, solved once, whose knobs then turn at little cost.

A knob changes nothing but the resistances of its legs, so a new position needs a few
unknowns per frequency instead of all; the slope by each knob comes with it, exactly but
for the pots' laws. Switches stand still. For searches over many positions.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonebench.circuit.controls import Settings
from tonebench.circuit.parts import Pot, VariableResistor
from tonebench.errors import CircuitError
from tonebench.network.legs import Ohms, leg_ohms
from tonebench.network.nodal import Network
from tonebench.network.response import response, row_scale

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

#: The step, in positions, over which a pot's law is differenced.
_STEP = 1e-4
#: Where the network is solved: no pot is off its track here.
_MIDDLE = 5.0


class Turning:
    """The response of a network over the positions of some of its knobs.

    Parameters
    ----------
    network : Network
        The chain's matrices.
    setting : mapping
        Where all other controls stand; those left out stand where they start.
    frequency_hz : array_like, shape (F,)
        Frequencies in Hz.
    knobs : sequence of str
        The knobs that turn, in the order of all positions.

    Raises
    ------
    CircuitError
        If a setting shorts a source, or leaves the circuit without a solution.
    """

    def __init__(
        self,
        network: Network,
        setting: Settings,
        frequency_hz: ArrayLike,
        knobs: Sequence[str],
    ) -> None:
        self.knobs = tuple(knobs)
        self.frequency_hz = np.atleast_1d(np.asarray(frequency_hz, dtype=float))
        self._network = network
        self._still = network.setting(setting)
        turned = [
            (part, [row for row, _ in legs])
            for part, legs in network._legs
            if isinstance(part, Pot | VariableResistor) and part.knob in self.knobs
        ]
        #: pots that leave their track would leave islands: solved one by one
        self._is_direct = any(part.open_at is not None for part, _ in turned)
        middle = {**self._still, **dict.fromkeys(self.knobs, _MIDDLE)}
        ohms = dict(self._rows(middle))
        used = [
            (row, part, k)
            for part, rows in turned
            for k, row in enumerate(rows)
            if not _is_never_used(part, k)
        ]
        self._rows_turned = [row for row, _, _ in used]
        self._legs = [(part, k) for _, part, k in used]
        self._middle = np.array([ohms[row] or 0.0 for row in self._rows_turned])
        self._solve(middle)

    def _solve(self, middle: Settings) -> None:
        m = self._network.at(middle)
        s = 2j * np.pi * self.frequency_hz
        for row in self._rows_turned:  # also a leg that a loop of 0 ohm had left out
            if m.conductance[row, row] == 1.0:
                self._is_direct = True
        reactive = m.reactive_left @ m.reactive_right.T
        scale = row_scale(m.conductance, reactive, np.abs(s))
        pencil = scale * m.conductance + (s[:, None, None] * scale) * reactive
        drives = np.hstack(
            [
                m.drive.sum(axis=1, keepdims=True),
                np.eye(len(m.row))[:, self._rows_turned],
            ]
        )
        try:
            x = np.linalg.solve(pencil, scale * drives)
        except np.linalg.LinAlgError:
            raise CircuitError("the circuit has no solution at this setting") from None
        out = np.einsum("n,fnk->fk", m.row, x)
        legs = x[:, self._rows_turned]
        self._transfer, self._passed = out[:, 0], out[:, 1:]
        self._seen, self._mutual = legs[:, :, 0], legs[:, :, 1:]

    def _rows(self, setting: Settings) -> list[tuple[int, Ohms]]:
        return [(row, ohm) for (row, _), ohm in self._network._legs_at(setting)]

    def setting(self, positions: Sequence[float]) -> Settings:
        """Return the complete setting at some positions of the knobs."""
        return {**self._still, **dict(zip(self.knobs, positions, strict=True))}

    def responses(self, positions: ArrayLike) -> Complex:
        """Return the response, all inputs together, at every row of positions.

        Shape (S, K) gives (S, F).
        """
        rows = np.atleast_2d(np.asarray(positions, dtype=float))
        settings = [self.setting(row.tolist()) for row in rows]
        if self._is_direct:
            return np.array([self._direct(setting) for setting in settings])
        changes = [self._change(setting) for setting in settings]
        change = np.array([c for c, _ in changes])[:, None, :]
        unit = np.array([u for _, u in changes])[:, None, :]
        system = change[..., None] * self._mutual + _diagonal(unit)
        right = (change * self._seen)[..., None]
        pushed = _solved(system, right)[..., 0]
        found: Complex = self._transfer - np.sum(self._passed * pushed, axis=-1)
        return found

    def with_slopes(self, position: Sequence[float]) -> tuple[Complex, Complex]:
        """Return the response (F,) and its slope by each knob's position (K, F)."""
        setting = self.setting(position)
        if self._is_direct:
            return self._direct_slopes(position)
        change, unit = self._change(setting)
        system = np.asarray(
            change[:, None] * self._mutual + _diagonal(unit[None]), complex
        )
        right = (change * self._seen)[..., None]
        pushed = _solved(system, right)[..., 0]
        flowing = self._seen - np.einsum("fij,fj->fi", self._mutual, pushed)
        across = np.swapaxes(system, 1, 2)
        passed = _solved(across, self._passed[..., None])[..., 0] * unit
        by_ohm = passed * flowing  # the matrices hold −R
        slopes = np.zeros((len(self.knobs), len(self.frequency_hz)), complex)
        for k, (part, leg) in enumerate(self._legs):
            slope = _law_slope(part, leg, setting)
            slopes[self.knobs.index(part.knob)] += slope * by_ohm[:, k]
        found: Complex = self._transfer - np.sum(self._passed * pushed, axis=1)
        return found, slopes

    def _change(self, setting: Settings) -> tuple[Real, Real]:
        """Return (change, unit) of each leg: its row times a scale that keeps both ≤ 1.

        An open leg is a change without bounds, its unit 0.
        """
        ohms = dict(self._rows(setting))
        change, unit = np.ones(len(self._middle)), np.zeros(len(self._middle))
        for k, row in enumerate(self._rows_turned):
            ohm = ohms[row]
            if ohm is not None:
                plain = self._middle[k] - ohm
                unit[k] = 1 / max(1.0, abs(plain))
                change[k] = plain * unit[k]
        return change, unit

    def _direct(self, setting: Settings) -> Complex:
        found: Complex = response(self._network, setting, self.frequency_hz).sum(axis=0)
        return found

    def _direct_slopes(self, position: Sequence[float]) -> tuple[Complex, Complex]:
        here = self._direct(self.setting(position))
        slopes = []
        for k in range(len(self.knobs)):
            moved = np.array(position, dtype=float)
            moved[k] += _STEP if moved[k] < _MIDDLE else -_STEP
            there = self._direct(self.setting(moved.tolist()))
            slopes.append((there - here) / (moved[k] - position[k]))
        return here, np.reshape(slopes, (len(self.knobs), len(here)))


def _is_never_used(part: Pot | VariableResistor, leg: int) -> bool:
    """Whether a leg is open at both ends and in the middle (a pot's track, no tap)."""
    return isinstance(part, Pot) and all(
        leg_ohms(part, {part.knob: at})[leg] is None for at in (0.0, _MIDDLE, 10.0)
    )


def _diagonal(values: Real) -> Real:
    return np.asarray(values[..., None] * np.eye(values.shape[-1]))


def _solved(system: Complex, right: Complex) -> Complex:
    try:
        return np.asarray(np.linalg.solve(system, right))
    except np.linalg.LinAlgError:
        raise CircuitError("the circuit has no solution at this setting") from None


def _law_slope(part: Pot | VariableResistor, leg: int, setting: Settings) -> float:
    """Return d(ohm)/d(position) of a leg."""
    position = float(setting[part.knob])
    ends = [max(0.0, position - _STEP), min(10.0, position + _STEP)]
    low, high = (leg_ohms(part, {part.knob: at})[leg] for at in ends)
    if low is None or high is None:
        return 0.0
    return (high - low) / (ends[1] - ends[0])
