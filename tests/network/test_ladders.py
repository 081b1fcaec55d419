# SPDX-License-Identifier: GPL-3.0-or-later
"""Ladders against chain matrices: an independent way to the same gain.

A series element Z is the matrix [[1, Z], [0, 1]], a shunt Y is [[1, 0], [Y, 1]], and
the gain is 1 over the first entry of their product (any textbook on two-ports).
"""

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.hookup import join
from tonebench.circuit.parts import Capacitor, Inductor, Part, Resistor
from tonebench.network import roots as roots_module
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.network.roots import find_roots

Draw = Callable[..., Circuit]
Complex = NDArray[np.complex128]

HZ = np.geomspace(1, 1e5, 61)
S: Complex = np.asarray(2j * np.pi * HZ)


def some_element(
    rng: np.random.Generator, ref: str, across: tuple[str, str]
) -> tuple[Part, Complex]:
    """Return a part of a random kind and value, and its impedance at `S`."""
    match int(rng.integers(3)):
        case 0:
            ohm = 10 ** rng.uniform(2, 6)
            return Resistor(ref, across, ohm), np.full(len(S), ohm, complex)
        case 1:
            farad = 10 ** rng.uniform(-11, -6)
            return Capacitor(ref, across, farad), np.asarray(1 / (S * farad))
        case _:
            henry, winding = 10 ** rng.uniform(-3, 1), 10 ** rng.uniform(1, 4)
            part = Inductor(ref, across, henry, winding_ohm=winding)
            return part, np.asarray(winding + S * henry)


def random_ladder(drawn: Draw, seed: int) -> tuple[Circuit, Complex]:
    """Return a ladder of 2 to 16 elements and a load, and its gain at `HZ`."""
    rng = np.random.default_rng(seed)
    parts: list[Part] = []
    chain = np.tile(np.eye(2, dtype=complex), (len(S), 1, 1))
    node = "in"
    for k in range(int(rng.integers(2, 17))):
        matrix = np.tile(np.eye(2, dtype=complex), (len(S), 1, 1))
        across = (node, f"n{k}") if k % 2 == 0 else (node, "gnd")
        part, z = some_element(rng, f"Z{k}", across)
        if k % 2 == 0:
            matrix[:, 0, 1], node = z, f"n{k}"
        else:
            matrix[:, 1, 0] = 1 / z
        parts.append(part)
        chain = chain @ matrix
    load = 10 ** rng.uniform(4, 6)
    parts.append(Resistor("load", (node, "gnd"), load))
    gain = 1 / (chain[:, 0, 0] + chain[:, 0, 1] / load)
    return drawn(*parts, output=node), np.asarray(gain)


@pytest.mark.parametrize("first", range(0, 200, 20))
def test_random_ladders_solve_as_their_chain_matrices_do(
    drawn: Draw, first: int
) -> None:
    # down to −600 dB and more: no part of the path to the output is a difference
    for seed in range(first, first + 20):
        circuit, wanted = random_ladder(drawn, seed)
        got = response(Network(join(circuit)), {}, HZ)[0]
        np.testing.assert_allclose(got, wanted, rtol=1e-10, err_msg=f"seed {seed}")


@pytest.mark.parametrize("first", range(0, 200, 20))
def test_random_ladders_have_roots_that_give_their_gain(
    drawn: Draw, first: int
) -> None:
    for seed in range(first, first + 20):
        circuit, wanted = random_ladder(drawn, seed)
        (roots,) = find_roots(Network(join(circuit)), {})
        assert roots.is_stable, seed  # a ladder can't be otherwise
        heard = np.abs(wanted) > 1e-10 * np.abs(wanted).max()
        np.testing.assert_allclose(
            roots.response(HZ)[heard], wanted[heard], rtol=1e-9, err_msg=f"seed {seed}"
        )


@pytest.mark.parametrize("seed", [448, 565, 1195, 2199, 2278, 2497, 3615])
def test_ladders_whose_rounding_looks_unstable_at_infinity_are_stable(
    drawn: Draw, seed: int
) -> None:
    # out of the first 4000, those of which QZ puts an infinite pole at +1e14 and more;
    # 1e-8, since below −165 dB two of them leave 3e-9 to the eigenvalues
    circuit, wanted = random_ladder(drawn, seed)
    (roots,) = find_roots(Network(join(circuit)), {})
    assert roots.is_stable
    heard = np.abs(wanted) > 1e-10 * np.abs(wanted).max()
    np.testing.assert_allclose(roots.response(HZ)[heard], wanted[heard], rtol=1e-8)


def rc_ladder(drawn: Draw, sections: int, ohm: float, farad: float) -> Circuit:
    parts: list[Part] = []
    nodes = ["in", *(f"n{k}" for k in range(1, sections)), "out"]
    for k, (a, b) in enumerate(pairwise(nodes)):
        parts.append(Resistor(f"R{k}", (a, b), ohm))
        parts.append(Capacitor(f"C{k}", (b, "gnd"), farad))
    return drawn(*parts)


def rc_ladder_poles(sections: int, ohm: float, farad: float) -> NDArray[np.float64]:
    """Return −(4/RC)·sin²((2k − 1)π/(4n + 2)), slowest first.

    These are the eigenvalues of the tridiagonal matrix with 2 on the diagonal, 1 in its
    last place and −1 beside it.
    """
    k = np.arange(1, sections + 1)
    angle = (2 * k - 1) * np.pi / (4 * sections + 2)
    result: NDArray[np.float64] = -4 / (ohm * farad) * np.sin(angle) ** 2
    return result


@pytest.mark.parametrize("ohm", [1e3, 10e3, 100e3])
@pytest.mark.parametrize("sections", [1, 2, 5, 16, 20])
def test_rc_ladder_has_the_poles_of_its_closed_formula(
    drawn: Draw, sections: int, ohm: float
) -> None:
    (roots,) = find_roots(Network(join(rc_ladder(drawn, sections, ohm, 1e-9))), {})
    assert np.array_equal(roots.poles.imag, np.zeros(sections))
    np.testing.assert_allclose(
        np.sort(roots.poles.real)[::-1],
        rc_ladder_poles(sections, ohm, 1e-9),
        rtol=1e-12,
    )


@pytest.mark.parametrize("ohm", [1e3, 10e3, 100e3])
def test_rc_ladder_of_16_sections_is_right_by_way_of_the_scaled_pencil(
    drawn: Draw, monkeypatch: pytest.MonkeyPatch, ohm: float
) -> None:
    # Its 16 zeros at infinity are felt as a ring when the quick way is taken, down
    # where its own check no longer looks; here the check is told never to be content.
    monkeypatch.setattr(roots_module, "WANTED_ERROR", -1.0)
    monkeypatch.setattr(roots_module, "SILENT", 1e-300)
    network = Network(join(rc_ladder(drawn, 16, ohm, 1e-9)))
    (roots,) = find_roots(network, {})
    poles = rc_ladder_poles(16, ohm, 1e-9)
    wanted = 1 / np.prod(1 - S / poles[:, None], axis=0)
    np.testing.assert_allclose(roots.response(HZ), wanted, rtol=1e-9)
    np.testing.assert_allclose(np.sort(roots.poles.real)[::-1], poles, rtol=1e-12)
