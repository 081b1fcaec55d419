# SPDX-License-Identifier: GPL-3.0-or-later
"""Impedances: the voltage that one ampere makes between two nodes of a chain.

What a pickup sees of a circuit, and what a circuit shows to whatever it feeds. Sources
keep their resistance and lose their voltage, as textbooks take them.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain
from tonebench.circuit.parts import (
    GROUND,
    Capacitor,
    Inductor,
    Part,
    Resistor,
)
from tonebench.network.nodal import Network
from tonebench.network.response import Complex, solve

#: What hangs on an output without being part of the circuit.
_LOADS = ("load", "load capacitance")


@dataclass(frozen=True, slots=True)
class Port:
    """Two nodes of a chain between which an impedance is seen."""

    chain: Chain
    node: str
    back: str


def impedance(
    network: Network, setting: Settings, frequency_hz: ArrayLike, node: str, back: str
) -> Complex:
    """Return the impedance between two nodes, shape (F,), in ohm.

    Parameters
    ----------
    network : Network
        The chain's matrices; its sources count as shorted.
    setting : mapping
        Positions of controls; those left out stand where they start.
    frequency_hz : array_like, shape (F,)
        Frequencies in Hz.
    node, back : str
        Where the ampere enters, and where it leaves.

    Raises
    ------
    CircuitError
        If the setting leaves the circuit without a solution.
    """
    s = 2j * np.pi * np.atleast_1d(np.asarray(frequency_hz, dtype=float))
    matrices = network.at(network.setting(setting))
    index = network._index  # the same folder: where the unknowns of nodes stand
    across = np.zeros(len(matrices.row))
    for name, sign in ((node, 1.0), (back, -1.0)):
        if (k := index.get(name)) is not None:
            across[k] += sign
    found: Complex = solve(replace(matrices, drive=across[:, None], row=across), s)[0]
    return found


def seen_by_source(chain: Chain, name: str) -> Port:
    """Return what the pickup or source of an input looks into.

    The pickup is taken away, with the lead and the wire at its very terminals; all else
    stays, and another input keeps its pickup.
    """
    source = next(each for each in chain.sources if each.input == name)
    node, back = source.node, source.back
    own = (f"pickup.{name}", f"source.{name}")
    for part in chain.parts:  # behind what stands in series with its voltage
        match part:
            case Resistor() | Inductor() | Capacitor() if part.ref in own:
                node = part.across[1]
    wires = ("lead", f"lead.{name}", f"inner.{name}")
    parts = tuple(
        part
        for part in chain.parts
        if not (
            part.ref in own
            or part.ref.startswith(f"{own[0]}.")
            or _hangs(part, wires, node, back)
        )
    )
    sources = tuple(each for each in chain.sources if each.input != name)
    return Port(replace(chain, parts=parts, sources=sources), node, back)


def seen_by_load(chain: Chain) -> Port:
    """Return what a load looks back into; the load itself and the lead are gone."""
    out = chain.output
    names = (*_LOADS, "lead")
    parts = tuple(part for part in chain.parts if not _hangs(part, names, out, GROUND))
    return Port(replace(chain, parts=parts), out, GROUND)


def _hangs(part: Part, names: tuple[str, ...], node: str, back: str) -> bool:
    match part:
        case Resistor() | Capacitor():
            return part.ref in names and part.across == (node, back)
    return False
