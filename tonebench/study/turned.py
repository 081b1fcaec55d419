# SPDX-License-Identifier: GPL-3.0-or-later
"""Curves in dB of one chain over many settings, those without an answer left out.

The common ground of all that looks at what knobs do. Judges nothing.
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.controls import Control, Knob, Settings
from tonebench.circuit.hookup import Chain
from tonebench.circuit.parts import Capacitor, Inductor, Part, Resistor
from tonebench.errors import CircuitError
from tonebench.network.batch import responses
from tonebench.network.nodal import Network
from tonebench.network.roots import SILENT

Real = NDArray[np.float64]

#: What knobs are told over: 20 Hz to 20 kHz, 48 steps an octave.
HEARD_HZ: Real = np.geomspace(20, 20_000, 479)
#: What stands for a pickup that is no coil when only its resistance is wanted, in ohm.
_PIEZO_OHM = 1000.0


class Turned:
    """A chain whose knobs are turned; `changes` is where they stand otherwise."""

    def __init__(self, chain: Chain, changes: Settings) -> None:
        self.chain = chain
        self.network = Network(chain)
        self.start = chain.setting(changes)

    @property
    def controls(self) -> tuple[Control, ...]:
        """Every control of the chain."""
        return self.chain.controls

    @cached_property
    def bare(self) -> "Turned":
        """The circuit by itself: coils as their resistance, without lead and load."""
        return Turned(_bare(self.chain), self.start)

    def levels_db(
        self, settings: Sequence[Settings], frequency_hz: Real = HEARD_HZ
    ) -> Real:
        """Return gains in dB, shape (settings, inputs, F).

        −inf where nothing comes out of an input at all, NaN for a setting that shorts
        a source or has no answer.
        """
        full = [{**self.start, **setting} for setting in settings]
        try:
            magnitude = np.abs(responses(self.network, full, frequency_hz))
        except CircuitError:
            magnitude = np.array([self._one(each, frequency_hz) for each in full])
        silent = magnitude.max(axis=2, keepdims=True) <= SILENT
        with np.errstate(divide="ignore"):
            return np.where(silent, -np.inf, 20 * np.log10(magnitude))

    def _one(self, setting: Settings, frequency_hz: Real) -> Real:
        try:
            return np.asarray(
                np.abs(responses(self.network, [setting], frequency_hz)[0])
            )
        except CircuitError:
            return np.full((len(self.network.inputs), len(frequency_hz)), np.nan)


def places(control: Control, count: int) -> list[float | str]:
    """Return the positions of a switch, or so many of a knob, evenly spaced."""
    if isinstance(control, Knob):
        return [float(place) for place in np.linspace(0, 10, count)]
    return list(control.positions)


def _bare(chain: Chain) -> Chain:
    parts: list[Part] = []
    for part in chain.parts:
        is_pickups = part.ref.startswith("pickup.")
        match part:
            case Inductor() if is_pickups:
                parts.append(Resistor(part.ref, part.across, part.winding_ohm))
            case Capacitor() if part.ref in {
                f"pickup.{s.input}" for s in chain.sources
            }:
                parts.append(Resistor(part.ref, part.across, _PIEZO_OHM))
            case Resistor() | Capacitor() if is_pickups or _is_around(part.ref):
                pass
            case _:
                parts.append(part)
    return replace(chain, parts=tuple(parts))


def _is_around(ref: str) -> bool:
    return ref.startswith(("lead.", "inner.")) or ref in (
        "lead",
        "load",
        "load capacitance",
    )
