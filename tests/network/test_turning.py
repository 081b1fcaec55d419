# SPDX-License-Identifier: GPL-3.0-or-later
"""Knobs turned at little cost against direct solves, which know nothing of legs."""

from collections.abc import Callable

import numpy as np
import pytest

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.controls import Knob
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Hookup, join
from tonebench.circuit.parts import Capacitor, Pot, Resistor, VariableResistor
from tonebench.circuit.tapers import parse_taper
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.network.turning import Turning

HZ = np.geomspace(20, 20_000, 30)
NAMES = ["tern", "plover", "dunlin", "whimbrel"]


def network_of(name: str, hookup: Hookup) -> tuple[Network, list[str]]:
    network = Network(join(read_circuit(name), hookup))
    return network, [c.name for c in network.chain.controls if isinstance(c, Knob)]


@pytest.mark.parametrize("name", NAMES)
def test_responses_equal_direct_solves_anywhere_and_at_the_ends(
    name: str, with_pickup: Hookup
) -> None:
    network, knobs = network_of(name, with_pickup)
    turning = Turning(network, {}, HZ, knobs)
    draw = np.random.default_rng(7)
    size = (12, len(knobs))
    positions = np.vstack(
        [draw.uniform(0, 10, size), draw.choice([0.0, 5.0, 10.0], size)]
    )
    direct = np.array(
        [response(network, turning.setting(p), HZ).sum(0) for p in positions.tolist()]
    )
    atol = 1e-10 * np.abs(direct).max()
    np.testing.assert_allclose(turning.responses(positions), direct, rtol=0, atol=atol)


@pytest.mark.parametrize("name", NAMES)
def test_slopes_equal_differences_of_direct_solves(
    name: str, with_pickup: Hookup
) -> None:
    """Central differences over ±1e-4 positions err by some 1e-8."""
    network, knobs = network_of(name, with_pickup)
    turning = Turning(network, {}, HZ, knobs)
    position = np.random.default_rng(3).uniform(1, 4, len(knobs))
    _, slopes = turning.with_slopes(position.tolist())
    for k in range(len(knobs)):
        step = np.eye(len(knobs))[k] * 1e-4
        up, down = (
            response(network, turning.setting(p.tolist()), HZ).sum(0)
            for p in (position + step, position - step)
        )
        size = np.abs(up).max()
        np.testing.assert_allclose(slopes[k], (up - down) / 2e-4, atol=1e-6 * size)


def test_switches_stand_where_they_are_told(with_pickup: Hookup) -> None:
    network, knobs = network_of("whimbrel", with_pickup)
    turning = Turning(network, {"corner": "75"}, HZ, knobs)
    direct = response(network, {"corner": "75", "bell": 2.0}, HZ)[0]
    np.testing.assert_allclose(turning.responses([[2.0]])[0], direct, rtol=1e-9)


def test_a_pot_that_leaves_its_track_is_solved_directly(
    drawn: Callable[..., Circuit],
) -> None:
    linear = parse_taper("linear")
    circuit = drawn(
        Resistor("R1", ("in", "out"), 1e4),
        VariableResistor("P1", 1e5, linear, "tone", ("out", "x"), open_at=9.5),
        Capacitor("C1", ("x", "gnd"), 1e-8),
        Pot("P2", 1e5, linear, "level", ("gnd", "out"), "w"),
    )
    network = Network(join(circuit))
    turning = Turning(network, {}, HZ, ["tone", "level"])
    for at in ([10.0, 5.0], [9.0, 0.0], [0.0, 10.0]):
        direct = response(network, turning.setting(at), HZ)[0]
        np.testing.assert_allclose(turning.responses([at])[0], direct, rtol=1e-10)
    _, slopes = turning.with_slopes([10.0, 10.0])
    assert slopes.shape == (2, len(HZ))
    assert np.all(np.isfinite(slopes))
