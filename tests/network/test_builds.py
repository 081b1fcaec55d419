# SPDX-License-Identifier: GPL-3.0-or-later
"""Thousands of builds at once against each of them solved directly, one by one."""

from dataclasses import replace

import numpy as np
import pytest

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Chain, Hookup, join
from tonebench.circuit.parts import (
    Capacitor,
    Inductor,
    OpAmp,
    Part,
    Pot,
    Resistor,
    VariableResistor,
)
from tonebench.errors import RequestError
from tonebench.network.builds import Builds
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.network.roots import find_roots

HZ = np.geomspace(20, 20_000, 61)
FIELDS = ("resistance_ohm", "capacitance_farad", "inductance_henry")


def value_field(part: Part) -> str | None:
    return next((field for field in FIELDS if hasattr(part, field)), None)


def refs_of(circuit: Circuit) -> list[str]:
    return [part.ref for part in circuit.parts if value_field(part)]


def rebuilt(chain: Chain, factors: dict[str, float]) -> Chain:
    """Return a chain whose parts have other values, for a solve of its own."""

    def changed(part: Part) -> Part:
        field = value_field(part)
        if field is None or part.ref not in factors:
            return part
        return replace(part, **{field: getattr(part, field) * factors[part.ref]})

    return replace(chain, parts=tuple(changed(part) for part in chain.parts))


@pytest.mark.parametrize("name", ["tern", "plover", "whimbrel", "dunlin"])
@pytest.mark.parametrize("position", [0.0, 3.7, 10.0])
def test_builds_are_what_a_direct_solve_of_each_gives(
    name: str, position: float, with_pickup: Hookup
) -> None:
    """A second method: other values in the matrices, solved frequency by frequency."""
    circuit = read_circuit(name)
    chain = join(circuit, with_pickup)
    network = Network(chain)
    silent = {"level", "neck", "bridge"}  # these stay up, or there is nothing to see
    setting = {k.name: 6.0 if k.name in silent else position for k in circuit.knobs}
    refs = refs_of(circuit)
    factors = 1 + np.random.default_rng(7).uniform(-0.3, 0.3, (12, len(refs)))
    levels = Builds(network, setting, refs).roots(factors).level_db(HZ)
    for build, found in zip(factors, levels, strict=True):
        other = rebuilt(chain, dict(zip(refs, build, strict=True)))
        answer = response(Network(other), setting, HZ).sum(axis=0)
        wanted = 20 * np.log10(np.abs(answer))
        np.testing.assert_allclose(found, wanted, rtol=0, atol=1e-7)


@pytest.mark.parametrize("name", ["plover", "whimbrel"])
def test_a_build_without_any_error_has_the_roots_of_the_drawing(
    name: str, with_pickup: Hookup
) -> None:
    network = Network(join(read_circuit(name), with_pickup))
    builds = Builds(network, {}, refs_of(network.chain.circuit))
    one = builds.roots(np.ones((1, len(builds.refs)))).one(0)
    (drawn,) = find_roots(network, {})
    answer = one.response(HZ) / drawn.response(HZ)
    np.testing.assert_allclose(answer, 1, rtol=0, atol=1e-7)
    assert one.is_stable


def test_a_resistor_too_small_for_a_conductance_varies_too(drawn) -> None:  # type: ignore[no-untyped-def]
    """A divider of 4 Ω and 4 Ω: R2·f/(R1 + R2·f), textbook."""
    parts = Resistor("R1", ("in", "out"), 4.0), Resistor("R2", ("out", "gnd"), 4.0)
    builds = Builds(Network(join(drawn(*parts))), {}, ("R2",))
    levels = builds.roots([[0.5], [1.0], [3.0]]).level_db([1000.0])[:, 0]
    wanted = 20 * np.log10([2 / 6, 0.5, 12 / 16])
    np.testing.assert_allclose(levels, wanted, rtol=0, atol=1e-12)


def test_a_silent_setting_is_silent_in_every_build() -> None:
    chain = join(read_circuit("tern"), Hookup(source_ohm=1e4))
    builds = Builds(Network(chain), {"level": 0}, ("R6", "C4"))
    assert builds.is_silent
    levels = builds.roots([[1.0, 1.0], [0.9, 1.1]]).level_db(HZ)
    assert np.all(levels < -250)


def test_a_build_that_oscillates_is_found_among_those_that_do_not(drawn) -> None:  # type: ignore[no-untyped-def]
    """A Sallen-Key of equal parts oscillates from a gain of 3 on (textbook)."""
    parts = (
        Resistor("R1", ("in", "a"), 10e3),
        Resistor("R2", ("a", "b"), 10e3),
        Capacitor("C1", ("a", "out"), 10e-9),
        Capacitor("C2", ("b", "gnd"), 10e-9),
        Resistor("R3", ("m", "gnd"), 10e3),
        Resistor("R4", ("out", "m"), 19.9e3),
        OpAmp("U1", "b", "m", "out"),
    )
    builds = Builds(Network(join(drawn(*parts))), {}, ("R4",))
    stable = builds.roots([[0.99], [1.0], [1.01], [1.1]]).is_stable
    assert stable.tolist() == [True, True, False, False]


def test_what_can_not_vary_is_refused(drawn) -> None:  # type: ignore[no-untyped-def]
    network = Network(join(drawn(Resistor("R1", ("in", "out"), 1e3))))
    with pytest.raises(RequestError, match="R9: there is no part of this name"):
        Builds(network, {}, ("R9",))
    builds = Builds(network, {}, ("R1",))
    with pytest.raises(RequestError, match="there are 1 parts that vary, got 2"):
        builds.roots([[1.0, 1.0]])
    with pytest.raises(RequestError, match="can't fall to 0 or below"):
        builds.roots([[0.0]])


def test_every_kind_of_part_with_a_value_varies(drawn) -> None:  # type: ignore[no-untyped-def]
    kinds = {type(p) for n in ("tern", "plover") for p in read_circuit(n).parts}
    assert {Resistor, Capacitor, Pot, VariableResistor, OpAmp} <= kinds
    coil = Inductor("L1", ("in", "out"), 1.0), Resistor("R1", ("out", "gnd"), 1e3)
    builds = Builds(Network(join(drawn(*coil))), {}, ("L1",))
    corner = 1e3 / (2 * np.pi)  # R/(2πL), textbook
    levels = builds.roots([[1.0], [2.0]]).level_db([corner, corner / 2])
    assert levels[0, 0] == pytest.approx(10 * np.log10(0.5), abs=1e-9)
    assert levels[1, 1] == pytest.approx(10 * np.log10(0.5), abs=1e-9)
