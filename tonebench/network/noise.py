# SPDX-License-Identifier: GPL-3.0-or-later
"""Noise at the output: what every resistance and every op-amp adds to it.

One solve of the transposed network per frequency tells what a current into any pair of
nodes, or a voltage in series with an op-amp's input, does at the output; the sources
are independent, so their powers add. White noise only, since parts name no more. Knows
nothing of ears, and of how loud a take is.

Source: R. Rohrer, L. Nagel, R. Meyer, L. Weber, "Computationally efficient electronic-
circuit noise calculations", IEEE J. Solid-State Circuits 6(4), 1971.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain, Source
from tonebench.circuit.parts import (
    GROUND,
    Inductor,
    OpAmp,
    Pair,
    Part,
    Resistor,
    Switch,
)
from tonebench.errors import CircuitError
from tonebench.network.legs import leg_nodes, leg_ohms
from tonebench.network.nodal import Network
from tonebench.network.response import row_scale

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

#: k in J/K: exact since the SI of 2019.
BOLTZMANN = 1.380649e-23
#: A room of 25 °C.
ROOM_KELVIN = 298.15

Origin = Literal["heat", "voltage", "current"]


@dataclass(frozen=True, slots=True, eq=False)
class NoiseSource:
    """What one source of noise adds at the output.

    Attributes
    ----------
    ref : str
        The part that makes it.
    origin : {"heat", "voltage", "current"}
        A resistance's heat (Johnson), or an op-amp's voltage or current noise.
    power : ndarray, shape (F,)
        Density at the output, V²/Hz.
    """

    ref: str
    origin: Origin
    power: Real


@dataclass(frozen=True, slots=True, eq=False)
class Noise:
    """Noise at the output at some frequencies, by its sources."""

    frequency_hz: Real
    sources: tuple[NoiseSource, ...]

    @property
    def power(self) -> Real:
        """Density of all sources together at the output in V²/Hz, shape (F,)."""
        total = np.zeros_like(self.frequency_hz)
        for source in self.sources:
            total = total + source.power
        return total


def noise(
    network: Network,
    setting: Settings,
    frequency_hz: ArrayLike,
    temperature_kelvin: float = ROOM_KELVIN,
) -> Noise:
    """Return the noise of a network at its output, its inputs at rest.

    Parameters
    ----------
    network : Network
        The chain's matrices. A pickup's winding, its losses and the load are
        resistances like any other.
    setting : mapping
        Positions of controls; those left out stand where they start.
    frequency_hz : array_like, shape (F,)
        Frequencies in Hz, above 0.
    temperature_kelvin : float
        Of all resistances. Their noise is 4kTR V²/Hz (Johnson, Nyquist, 1928).

    Raises
    ------
    CircuitError
        If the setting shorts a source, or leaves the circuit without a solution.
    """
    hz = np.atleast_1d(np.asarray(frequency_hz, dtype=float))
    quiet = Network(_with_input_sources(network.chain))
    complete = quiet.setting(setting)
    reach = _Reach(quiet, complete, hz)
    found = [
        NoiseSource(part.ref, origin, density * gain_squared)
        for part in network.chain.parts
        for origin, density, gain_squared in _sources(
            part, complete, reach, 4 * BOLTZMANN * temperature_kelvin
        )
    ]
    return Noise(hz, tuple(found))


def _with_input_sources(chain: Chain) -> Chain:
    """Return a chain with a voltage in series with each op-amp's plus input."""
    parts: list[Part] = []
    sources = list(chain.sources)
    for part in chain.parts:
        if isinstance(part, OpAmp):
            name = f"{part.ref}.noise"
            sources.append(Source(name, name, part.plus))
            part = replace(part, plus=name)
        parts.append(part)
    return replace(chain, parts=tuple(parts), sources=tuple(sources))


class _Reach:
    """What currents into nodes, and voltages at op-amps' inputs, do at the output."""

    def __init__(self, network: Network, setting: Settings, hz: Real) -> None:
        m = network.at(setting)
        self.s: Complex = np.asarray(2j * np.pi * hz, complex)
        reactive = m.reactive_left @ m.reactive_right.T
        scale = row_scale(m.conductance, reactive, 2 * np.pi * hz)
        pencil = scale * m.conductance + (self.s[:, None, None] * scale) * reactive
        try:
            y = np.linalg.solve(np.swapaxes(pencil, 1, 2), m.row[:, None])
        except np.linalg.LinAlgError:
            raise CircuitError("the circuit has no solution at this setting") from None
        self._adjoint: Complex = np.asarray(scale[:, :, 0] * y[:, :, 0], complex)
        self._index = network._index  # where the unknowns stand: known in this folder
        driven = zip(network.inputs, (self._adjoint @ m.drive).T, strict=True)
        self._voltages = dict(driven)

    def current(self, pair: Pair) -> Real:
        """Return |volts at the output per ampere from pair[1] to pair[0]|²."""
        total = np.zeros(len(self.s), complex)
        for node, sign in zip(pair, (1.0, -1.0), strict=True):
            if (place := self._index.get(node)) is not None:
                total += sign * self._adjoint[:, place]
        return np.asarray(np.abs(total) ** 2)

    def voltage(self, op_amp: OpAmp) -> Real:
        """Return |gain from a voltage in series with an input of an op-amp|²."""
        return np.asarray(np.abs(self._voltages[f"{op_amp.ref}.noise"]) ** 2)


def _sources(
    part: Part, setting: Settings, reach: _Reach, heat: float
) -> Iterator[tuple[Origin, Real | float, Real]]:
    """Yield where a part's noise comes from, its density, and its way to the output.

    `heat` is 4kT. What isn't white in itself is a winding's: its voltage drives the
    current that its inductance lets through.
    """
    if pairs := leg_nodes(part):
        if isinstance(part, Switch):
            return
        for pair, ohm in zip(pairs, leg_ohms(part, setting), strict=True):
            if ohm:
                yield "heat", heat / ohm, reach.current(pair)
        return
    match part:
        case Resistor():
            yield "heat", heat / part.resistance_ohm, reach.current(part.across)
        case Inductor():
            impedance = part.winding_ohm + reach.s * part.inductance_henry
            amperes = heat * part.winding_ohm / np.abs(impedance) ** 2
            yield "heat", amperes, reach.current(part.across)
        case OpAmp():
            yield "voltage", part.noise_v_per_rt_hz**2, reach.voltage(part)
            ampere = part.current_noise_a_per_rt_hz**2
            both = reach.current((part.plus, GROUND))
            both = both + reach.current((part.minus, GROUND))
            yield "current", ampere, both
