# SPDX-License-Identifier: GPL-3.0-or-later
"""Hiss: the A curve against its standard, sums against closed formulas."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Hookup, join
from tonebench.circuit.parts import OpAmp, Resistor
from tonebench.study.hiss import (
    HISS_HZ,
    Hiss,
    a_weighting_db,
    hiss,
    treble_setting,
)

Drawn = Callable[..., Circuit]
Table = Callable[[str], dict[str, NDArray[np.float64]]]


def test_the_a_curve_is_that_of_the_standard(table: Table) -> None:
    """IEC 61672-1:2013, table 3: one decimal at the exact frequencies 10^(k/10)."""
    columns = table("iec_61672_1_table_3")
    nominal, wanted = columns["nominal_hz"], columns["a_db"]
    exact = 10 ** (np.round(10 * np.log10(nominal)) / 10)
    assert np.abs(a_weighting_db(exact) - wanted).max() < 0.0501


@pytest.mark.parametrize(
    ("hz", "wanted"),
    [(10.0, -70.430), (19.953, -50.452), (100.0, -19.143), (1000.0, 0.0)],
)
def test_the_a_curve_is_its_formula(hz: float, wanted: float) -> None:
    """Annex E of IEC 61672-1, computed independently."""
    assert float(a_weighting_db(hz)) == pytest.approx(wanted, abs=2e-3)


def one_resistor(drawn: Drawn, ohm: float) -> Hiss:
    return hiss(join(drawn(Resistor("R1", ("in", "out"), ohm))), {}, 300.0)


def test_ten_kilohms_hiss_with_1_8194_microvolts(drawn: Drawn) -> None:
    """√(4kTRB), 300 K, 20 Hz to 20 kHz; −112.58 dBu."""
    found = one_resistor(drawn, 10e3)
    assert 1e6 * found.plain_v == pytest.approx(1.8194, rel=1e-3)
    np.testing.assert_allclose(1e9 * found.density_v, 12.8716, rtol=1e-5)
    # the A curve lets this share of white noise by: integrated apart, 1 Hz by 1 Hz
    hz = np.arange(20.0, 20_001.0)
    share = np.mean(10 ** (a_weighting_db(hz) / 10))
    assert found.weighted_v == pytest.approx(found.plain_v * math.sqrt(share), rel=1e-3)
    dbu = 20 * math.log10(found.weighted_v / 0.7745967)
    assert found.weighted_dbu == pytest.approx(dbu, abs=1e-6)


def test_four_times_the_resistance_hisses_twice_as_much(drawn: Drawn) -> None:
    ratio = one_resistor(drawn, 4e3).weighted_v / one_resistor(drawn, 1e3).weighted_v
    assert ratio == pytest.approx(2, rel=1e-9)


def test_the_loudest_source_is_named_first_and_all_add_up(drawn: Drawn) -> None:
    """Gain 10 of a 10 kΩ source: 128.7 nV of its own, 50 nV of the op-amp's voltage."""
    stage = (
        Resistor("RS", ("in", "a"), 10e3),
        Resistor("R1", ("m", "gnd"), 1e3),
        Resistor("R2", ("out", "m"), 9e3),
        OpAmp("U1", "a", "m", "out", noise_v_per_rt_hz=5e-9),
    )
    found = hiss(join(drawn(*stage)), {}, 300.0)
    names = [(share.ref, share.origin) for share in found.shares]
    assert names[:2] == [("RS", "heat"), ("U1", "voltage")]
    total = math.sqrt(sum(share.weighted_v**2 for share in found.shares))
    assert found.weighted_v == pytest.approx(total, rel=1e-9)
    ratio = found.shares[0].weighted_v / found.shares[1].weighted_v
    assert ratio == pytest.approx(128.716 / 50, rel=1e-4)


def test_a_circuit_of_ideal_parts_makes_no_noise(drawn: Drawn) -> None:
    found = hiss(join(drawn(OpAmp("U1", "in", "out", "out"))), {})
    assert found.weighted_v == 0
    assert found.shares == ()
    assert len(found.density_v) == len(HISS_HZ)


def test_the_treble_knob_is_found_by_what_it_does() -> None:
    around = Hookup(source_ohm=1e3)
    assert treble_setting(join(read_circuit("tern"), around), {}) == {"tilt": 10.0}
    assert treble_setting(join(read_circuit("tern"), around), {"tilt": 10}) is None
    assert treble_setting(join(read_circuit("whimbrel"), around), {}) is None
    dull = treble_setting(join(read_circuit("dunlin"), around), {"tone": 0})
    assert dull == {"tone": 10.0}
