# SPDX-License-Identifier: GPL-3.0-or-later
"""Impedances at ports against closed forms of textbooks."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from tonebench.circuit.circuit import Circuit, Input
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Hookup, Pickup, join
from tonebench.circuit.parts import Capacitor, OpAmp, Pot, Resistor
from tonebench.circuit.tapers import parse_taper
from tonebench.network.impedance import Port, impedance, seen_by_load, seen_by_source
from tonebench.network.nodal import Network


def _at(port: Port, hz: list[float], **setting: float) -> np.ndarray:
    return impedance(Network(port.chain), setting, hz, port.node, port.back)


def test_the_simulated_inductor_is_its_closed_form(
    drawn: Callable[..., Circuit],
) -> None:
    """Z = R1(1 + sC·R2)/(1 + sC·R1): a textbook's one-op-amp inductor.

    Computed independently for 470 Ω, 100 kΩ and 47 nF: 489.170 + j1381.166 Ω at 100 Hz.
    """
    circuit = drawn(
        Capacitor("C1", ("in", "p"), 47e-9),
        Resistor("R2", ("p", "gnd"), 100e3),
        OpAmp("U1", "p", "out", "out"),
        Resistor("R1", ("out", "in"), 470.0),
    )
    hz = [10.0, 100.0, 1000.0, 10_000.0]
    found = _at(seen_by_source(join(circuit), "in"), hz)
    s = 2j * np.pi * np.array(hz)
    wanted = 470 * (1 + s * 47e-9 * 100e3) / (1 + s * 47e-9 * 470)
    np.testing.assert_allclose(found, wanted, rtol=1e-9)
    assert found[1] == pytest.approx(489.170 + 1381.166j, abs=1e-3)


@pytest.mark.parametrize("hookup_has", ["nothing", "pickup", "source"])
def test_what_drives_an_input_is_not_part_of_what_it_sees(
    drawn: Callable[..., Circuit], hookup_has: str
) -> None:
    circuit = drawn(
        Resistor("R1", ("in", "gnd"), 220e3), Resistor("R2", ("in", "out"), 10e3)
    )
    hookup = {
        "nothing": Hookup(load_ohm=100e3),
        "pickup": Hookup(
            {"": Pickup("coil", 6e3, 2.0, 1e-10, losses_ohm=300e3)},
            cable_farad=1e-9,
            inner_farad=1e-10,
            load_ohm=100e3,
        ),
        "source": Hookup(source_ohm=600.0, cable_farad=1e-9, load_ohm=100e3),
    }[hookup_has]
    found = _at(seen_by_source(join(circuit, hookup), "in"), [100.0, 5000.0])
    np.testing.assert_allclose(found, 220e3 * 110e3 / 330e3, rtol=1e-9)


def test_the_pickup_of_another_input_stays(drawn: Callable[..., Circuit]) -> None:
    """One coil of two on a common node sees the other's: R + jωL (losses left out)."""
    circuit = drawn(
        Resistor("R1", ("a", "out"), 1e4),
        Resistor("R2", ("b", "out"), 1e4),
        inputs=(Input("a", "a"), Input("ab", "b")),
    )
    chain = join(circuit, Hookup({"": Pickup("coil", 6e3, 2.0, 1e-18)}))
    found = _at(seen_by_source(chain, "a"), [1000.0])
    np.testing.assert_allclose(found, 26e3 + 2j * np.pi * 1000 * 2.0, rtol=1e-6)


def test_a_volume_shows_most_at_a_quarter_of_its_resistance(
    drawn: Callable[..., Circuit],
) -> None:
    """Wiper at half of a 100 kΩ track on a stiff source: 50 k in parallel with 50 k."""
    volume = Pot("P1", 100e3, parse_taper("linear"), "volume", ("gnd", "in"), "out")
    chain = join(drawn(volume), Hookup(load_ohm=10e3, load_farad=1e-9))
    port = seen_by_load(chain)
    for position, wanted in ((5.0, 25e3), (10.0, 0.0), (0.0, 0.0)):
        found = _at(port, [1000.0], volume=position)
        np.testing.assert_allclose(found, wanted, rtol=1e-9, atol=1e-9)


def test_the_lead_at_an_instruments_jack_is_no_part_of_its_output() -> None:
    hookup = Hookup(source_ohm=6000.0, cable_farad=700e-12, load_ohm=1e6)
    chain = join(read_circuit("dunlin"), hookup)
    refs = {part.ref for part in seen_by_load(chain).chain.parts}
    assert {"lead", "load"} <= {part.ref for part in chain.parts}
    assert not {"lead", "load"} & refs
    onto = replace(hookup, place="floor")
    kept = {
        part.ref for part in seen_by_load(join(read_circuit("tern"), onto)).chain.parts
    }
    assert "lead" in kept
