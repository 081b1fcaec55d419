# SPDX-License-Identifier: GPL-3.0-or-later
"""What comes to nodes inside a chain, not only to its output. Knows no parts."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain
from tonebench.errors import CircuitError
from tonebench.network.nodal import Network
from tonebench.network.response import row_scale

Real = NDArray[np.float64]


class Inside:
    """A chain that tells the response at several of its nodes.

    Parameters
    ----------
    chain : Chain
        The circuit with its hook-up.
    nodes : sequence of str
        The nodes to look at, by their names in the chain.
    """

    def __init__(self, chain: Chain, nodes: Sequence[str]) -> None:
        self._network = Network(chain)
        at_nodes = (Network(replace(chain, output=node)) for node in nodes)
        rows = [network.at(network.setting({})).row for network in at_nodes]
        self._rows: Real = np.reshape(rows, (len(nodes), -1))

    def response(
        self, changes: Settings, frequency_hz: ArrayLike
    ) -> NDArray[np.complex128]:
        """Return volts at each node for 1 V on all inputs, shape (nodes, F).

        Raises
        ------
        CircuitError
            If the setting shorts a source, or leaves the circuit without a solution.
        """
        omega = 2 * np.pi * np.atleast_1d(np.asarray(frequency_hz, dtype=float))
        m = self._network.at(self._network.setting(changes))
        reactive = m.reactive_left @ m.reactive_right.T
        scale = row_scale(m.conductance, reactive, omega)
        pencil = scale * m.conductance + (1j * omega[:, None, None] * scale) * reactive
        try:
            x = np.linalg.solve(pencil, scale * m.drive.sum(axis=1, keepdims=True))
        except np.linalg.LinAlgError:
            raise CircuitError("the circuit has no solution at this setting") from None
        return np.asarray(self._rows @ x[:, :, 0].T, complex)
