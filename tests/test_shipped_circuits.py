# SPDX-License-Identifier: GPL-3.0-or-later
"""What is promised of every shipped circuit, with and without every shipped pickup."""

import itertools

import numpy as np
import pytest

from tonebench.circuit.controls import Knob
from tonebench.circuit.files import inspect_circuit, read_circuit, read_pickup
from tonebench.circuit.hookup import Hookup, join
from tonebench.digital.cascade import design
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.network.roots import find_roots
from tonebench.shipped import names
from tonebench.study.curves import curves
from tonebench.study.notes import circuit_notes

RATES_HZ = (44_100, 48_000, 88_200, 96_000, 192_000)
HEARD_HZ = np.geomspace(20, 20_000, 240)
WIDE_HZ = np.geomspace(1, 100_000, 60)
CIRCUITS = names("circuit")


def hookups():
    """No pickup, and every shipped pickup on a stage and at a desk."""
    yield "no pickup", Hookup(source_ohm=1e3)
    for name in names("pickup"):
        pickup = {"": read_pickup(name)}
        yield f"{name}, 1 MΩ", Hookup(pickup, cable_farad=700e-12, load_ohm=1e6)
        yield f"{name}, 10 kΩ", Hookup(pickup, cable_farad=700e-12, load_ohm=1e4)


def grid(network, positions):
    """Every combination of the knobs' `positions` and all switch positions."""
    controls = network.chain.controls
    choices = [positions if isinstance(c, Knob) else c.positions for c in controls]
    for chosen in itertools.product(*choices):
        yield dict(zip((c.name for c in controls), chosen, strict=True))


def decibel(answer):
    return 20 * np.log10(np.abs(answer))


@pytest.mark.parametrize("circuit", CIRCUITS)
def test_poles_and_zeros_agree_with_direct_solves_at_every_knob_corner(circuit):
    for name, hookup in hookups():
        network = Network(join(read_circuit(circuit), hookup))
        for setting in grid(network, (0.0, 10.0)):
            truth = response(network, setting, WIDE_HZ)
            for roots, exact in zip(find_roots(network, setting), truth, strict=True):
                if roots.is_silent:
                    # silent means: nothing comes out but rounding
                    assert np.abs(exact).max() < 1e-13
                    continue
                assert roots.is_stable
                error = np.abs(roots.response(WIDE_HZ) / exact - 1)
                assert error.max() <= 1e-9, (name, setting)


@pytest.mark.parametrize("circuit", CIRCUITS)
def test_filters_follow_the_circuit_within_a_fiftieth_of_a_db(circuit):
    """20 Hz to 20 kHz, corners and centres, where the response is above −100 dB."""
    for name, hookup in hookups():
        network = Network(join(read_circuit(circuit), hookup))
        for setting in grid(network, (0.0, 5.0, 10.0)):
            for roots in find_roots(network, setting):
                if roots.is_silent:
                    continue
                exact = decibel(roots.response(HEARD_HZ))
                heard = exact > -100
                for rate in RATES_HZ:
                    cascade = design(roots, rate)
                    off = decibel(cascade.response(HEARD_HZ)) - exact
                    worst = np.abs(off[heard]).max(initial=0)
                    assert worst <= 0.02, (name, setting, rate)


@pytest.mark.parametrize("circuit", CIRCUITS)
def test_a_shipped_circuit_reads_without_a_remark_and_is_stable_everywhere(circuit):
    inspection = inspect_circuit(circuit)
    assert inspection.faults == ()
    assert inspection.warnings == ()

    notes = circuit_notes(inspection.circuit)
    assert notes.faults == ()
    assert notes.warnings == ()


def on_stage(circuit, load_ohm=1e6, **setting):
    hookup = Hookup({"": read_pickup("sedge")}, cable_farad=700e-12, load_ohm=load_ohm)
    chain = join(read_circuit(circuit), hookup)
    (curve,) = curves(chain, [setting], [41.2, 500.0, 3700.0])
    return dict(zip((41, 500, 3700), curve.gain_db, strict=True))


def test_the_pickups_peak_passes_tern_and_is_damped_by_plover_at_every_setting():
    """The house question, first half; the closed form of a pickup damped by 47 kΩ."""
    tern = on_stage("tern")
    assert tern[3700] - tern[500] > 8

    # R, L, C and losses as in presets/pickups/sedge.toml, the lead, and plover's R1
    s = 2j * np.pi * np.array([500.0, 3700.0])
    shunt = 1 / 330e3 + 1 / 47e3 + s * (120e-12 + 700e-12)
    loaded = decibel(1 / (1 + (6100 + 2.2 * s) * shunt))
    plover = on_stage("plover")
    assert plover[3700] - plover[500] == pytest.approx(loaded[1] - loaded[0], abs=0.1)
    assert loaded[1] - loaded[0] < 0

    for centre, bell, bass in itertools.product((0, 5, 10), repeat=3):
        turned = on_stage("plover", centre=centre, bell=bell, bass=bass)
        assert turned[3700] < tern[3700] - 3


def test_plovers_low_end_depends_on_what_follows_and_terns_does_not():
    """The house question, second half: a first-order high-pass of C6 and what follows.

    C6 = 470 nF sees 25 kΩ ∥ load behind 100 Ω: 1/(2π·C·R), the textbook corner.
    """
    f = 41.2
    expected = {}
    for load in (1e6, 1e4):
        resistance = 25e3 * load / (25e3 + load) + 100
        corner = 1 / (2 * np.pi * 470e-9 * resistance)
        expected[load] = -10 * np.log10(1 + (corner / f) ** 2)
    lost = on_stage("plover", 1e4)[41] - on_stage("plover", 1e6)[41]
    flat = decibel(1e4 * 25e3 / (1e4 + 25e3) / (1e4 * 25e3 / (1e4 + 25e3) + 100))
    assert lost == pytest.approx(expected[1e4] - expected[1e6] + flat, abs=0.05)
    assert lost < -2.5

    kept = on_stage("tern", 1e4)[41] - on_stage("tern", 1e6)[41]
    assert kept == pytest.approx(0, abs=0.2)
