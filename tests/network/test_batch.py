# SPDX-License-Identifier: GPL-3.0-or-later
"""Many settings at once against the direct solve of each."""

import itertools
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Hookup, join
from tonebench.circuit.parts import Capacitor, OpAmp, Resistor
from tonebench.errors import CircuitError
from tonebench.network.batch import responses
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.study.curves import family

HZ = np.geomspace(1, 100_000, 61)


@pytest.mark.parametrize("name", ["tern", "plover", "dunlin", "whimbrel"])
@pytest.mark.parametrize("load", [None, 1e4])
def test_many_settings_are_the_direct_solves(
    name: str, load: float | None, with_pickup: Hookup
) -> None:
    chain = join(read_circuit(name), replace(with_pickup, load_ohm=load))
    names = [control.name for control in chain.controls][-3:]
    network, settings = Network(chain), family(chain, names, {})
    found = responses(network, settings, HZ)
    wanted = np.array([response(network, setting, HZ) for setting in settings])
    assert found.shape == (len(settings), len(network.inputs), len(HZ))
    np.testing.assert_allclose(found, wanted, rtol=1e-9, atol=1e-13)  # −260 dB


def test_equal_time_constants_cost_no_digits(drawn: Callable[..., Circuit]) -> None:
    """Five equal buffered low-passes: (1 + s·RC)⁻⁵ has one pole, five times."""
    parts = []
    for k in range(5):
        parts += [
            Resistor(f"R{k}", (f"n{k}", f"a{k}"), 1e4),
            Capacitor(f"C{k}", (f"a{k}", "gnd"), 1e-8),
            OpAmp(f"U{k}", f"a{k}", f"n{k + 1}", f"n{k + 1}"),
        ]
    circuit = replace(drawn(*parts, output="n5"), inputs=drawn(*parts).inputs)
    circuit = replace(circuit, inputs=(replace(circuit.inputs[0], node="n0"),))
    found = responses(Network(join(circuit)), [{}], HZ)[0, 0]
    wanted = (1 + 2j * np.pi * HZ * 1e-4) ** -5.0
    np.testing.assert_allclose(found, wanted, rtol=1e-9, atol=1e-15)


def test_parts_without_memory_are_solved_too(drawn: Callable[..., Circuit]) -> None:
    circuit = drawn(
        Resistor("R1", ("in", "out"), 1e4), Resistor("R2", ("out", "gnd"), 1e4)
    )
    network = Network(join(circuit))
    np.testing.assert_allclose(responses(network, [{}, {}], HZ), 0.5, rtol=1e-12)
    assert responses(network, [], HZ).shape[0] == 0


def test_a_setting_that_shorts_a_source_is_refused() -> None:
    network = Network(join(read_circuit("dunlin")))
    settings = [{"bridge": position} for position in (0.0, 10.0)]
    with pytest.raises(CircuitError, match="shorts the source"):
        responses(network, settings, HZ)


def test_a_knob_of_a_circuit_in_front_may_be_turned(with_pickup: Hookup) -> None:
    from tonebench.circuit.hookup import Neighbour

    hookup = replace(with_pickup, before=(Neighbour(read_circuit("tern")),))
    network = Network(join(read_circuit("plover"), hookup))
    settings = [
        {"tern.tilt": tilt, "bass": bass}
        for tilt, bass in itertools.product((0.0, 10.0), repeat=2)
    ]
    found = responses(network, settings, HZ)
    for setting, one in zip(settings, found, strict=True):
        np.testing.assert_allclose(one, response(network, setting, HZ), rtol=1e-9)
