# SPDX-License-Identifier: GPL-3.0-or-later
"""Published circuits as files, tables of outside numbers, and circuits drawn in a test.

The only file of this name: two would clash when doctests are collected.
"""

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import ArrayLike, NDArray

from tonebench.circuit.circuit import Circuit, Input
from tonebench.circuit.controls import Knob, Settings, SwitchControl
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Hookup, Pickup, join
from tonebench.circuit.parts import Part, Pot, VariableResistor
from tonebench.network.nodal import Network
from tonebench.network.response import response

NOTHING: Settings = {}
REFERENCE = Path(__file__).parent / "reference_circuits"


@pytest.fixture
def reference() -> Callable[[str], Circuit]:
    """Return a reader of the reference circuits by name."""
    return lambda name: read_circuit(REFERENCE / f"{name}.toml")


@pytest.fixture
def table() -> Callable[[str], dict[str, NDArray[np.float64]]]:
    """Return a reader of the tables by name: a column by its heading, gaps as NaN."""

    def read(name: str) -> dict[str, NDArray[np.float64]]:
        lines = (REFERENCE / f"{name}.csv").read_text(encoding="utf-8").splitlines()
        rows = list(csv.DictReader(line for line in lines if line[0] != "#"))
        return {
            key: np.array([float(r[key] or "nan") for r in rows]) for key in rows[0]
        }

    return read


@pytest.fixture
def with_pickup() -> Hookup:
    """Return a coil on a 700 pF lead into 1 MΩ: the hook-up of the house scenario."""
    coil = Pickup("sedge", 6100.0, 2.2, 120e-12, losses_ohm=330e3)
    return Hookup(pickups={"": coil}, cable_farad=700e-12, load_ohm=1e6)


def _gain(
    circuit: Circuit,
    frequency_hz: ArrayLike,
    setting: Settings = NOTHING,
    hookup: Hookup | None = None,
) -> NDArray[np.complex128]:
    network = Network(join(circuit, hookup))
    return np.asarray(response(network, setting, frequency_hz)[0])


@pytest.fixture
def gain() -> Callable[..., NDArray[np.complex128]]:
    """Return the complex gain of a circuit's first input by a direct solve."""
    return _gain


@pytest.fixture
def gain_db() -> Callable[..., NDArray[np.float64]]:
    """Return the gain of a circuit's first input in dB by a direct solve."""
    return lambda *args, **named: 20 * np.log10(np.abs(_gain(*args, **named)))


def _drawn(
    *parts: Part,
    output: str = "out",
    inputs: tuple[Input, ...] = (Input("in", "in"),),
    switches: tuple[SwitchControl, ...] = (),
) -> Circuit:
    knobs = {part.knob for part in parts if isinstance(part, (Pot, VariableResistor))}
    return Circuit(
        name="drawn",
        title="Drawn for one test",
        inputs=inputs,
        output=output,
        parts=parts,
        knobs=tuple(Knob(name) for name in sorted(knobs)),
        switches=switches,
    )


@pytest.fixture
def drawn() -> Callable[..., Circuit]:
    """Return a maker of circuits from parts; knobs come from the pots."""
    return _drawn
