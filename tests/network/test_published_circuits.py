# SPDX-License-Identifier: GPL-3.0-or-later
"""Weighting, RIAA and a phono preamp, read from `tests/reference_circuits`.

"Computed" means: from a closed formula, apart from the code under test. Figures are
given with the digits that their source prints.
"""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import ArrayLike, NDArray

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.hookup import join
from tonebench.circuit.parts import OpAmp
from tonebench.network.nodal import Network
from tonebench.network.roots import Roots, find_roots

Reader = Callable[[str], Circuit]
TableReader = Callable[[str], dict[str, NDArray[np.float64]]]
GainDb = Callable[..., NDArray[np.float64]]


def roots_of(circuit: Circuit) -> Roots:
    (roots,) = find_roots(Network(join(circuit)), {})
    return roots


# A- and C-weighting: IEC 61672-1:2013, table 3 and annex E


@pytest.mark.parametrize("curve", ["a", "c"])
def test_weighting_made_of_rc_sections_meets_the_table(
    gain_db: GainDb, reference: Reader, table: TableReader, curve: str
) -> None:
    # half of the table's last digit; only at the exact frequencies, not at the labels
    circuit = reference(f"{curve}_weighting")
    wanted_db = table("iec_61672_1_table_3")[f"{curve}_db"]
    exact_hz = 1000 * 10 ** (np.arange(-20, 14) / 10)
    got_db = gain_db(circuit, exact_hz) - gain_db(circuit, 1000.0)
    np.testing.assert_allclose(got_db, wanted_db, atol=0.05)


@pytest.mark.parametrize(("curve", "at_1_khz_db"), [("a", -1.999656), ("c", -0.061902)])
def test_weighting_before_normalisation_is_the_formula_of_annex_e(
    gain_db: GainDb, reference: Reader, curve: str, at_1_khz_db: float
) -> None:
    # 772.634 nF and the others are rounded to six digits: 1e-5 dB
    assert gain_db(reference(f"{curve}_weighting"), 1000.0) == pytest.approx(
        at_1_khz_db, abs=1e-5
    )


def test_poles_of_a_weighting_are_those_of_annex_e(reference: Reader) -> None:
    roots = roots_of(reference("a_weighting"))
    hz = np.sort(-roots.poles.real) / (2 * math.pi)
    wanted = [20.598997, 20.598997, 107.65265, 737.86223, 12194.217, 12194.217]
    np.testing.assert_allclose(hz, wanted, rtol=2e-6)
    near = roots.zeros[np.abs(roots.zeros) < 1e9]  # the other two are at infinity
    assert near.tolist() == [0, 0, 0, 0]


# RIAA: time constants 3180, 318 and 75 µs; IEC 60098 (1976) adds 7950 µs


@pytest.mark.parametrize("name", ["riaa_passive", "riaa_feedback"])
def test_exact_riaa_networks_meet_the_tables(
    gain_db: GainDb, reference: Reader, table: TableReader, name: str
) -> None:
    circuit, columns = reference(name), table("riaa_table")
    got_db = gain_db(circuit, columns["hz"]) - gain_db(circuit, 1000.0)
    np.testing.assert_allclose(got_db, columns["riaa_db"], atol=1e-3)
    printed = ~np.isnan(columns["published_db"])
    np.testing.assert_allclose(
        got_db[printed], columns["published_db"][printed], atol=0.1
    )


def test_riaa_with_the_high_pass_of_1976_meets_the_table(
    gain_db: GainDb, reference: Reader, table: TableReader
) -> None:
    circuit, columns = reference("riaa_iec"), table("riaa_table")
    given = ~np.isnan(columns["iec_db"])
    got_db = gain_db(circuit, columns["hz"][given]) - gain_db(circuit, 1000.0)
    np.testing.assert_allclose(got_db, columns["iec_db"][given], atol=1e-3)


def test_riaa_stands_19_911_db_higher_at_dc_than_at_1_khz(
    gain_db: GainDb, reference: Reader
) -> None:
    # printed as 19.911018 dB, a ratio of 9.89808 (waynestegall.com/audio/riaa.htm);
    # 117.778 k is rounded to six digits
    circuit = reference("riaa_feedback")
    rise_db = gain_db(circuit, 0.0) - gain_db(circuit, 1000.0)
    assert rise_db == pytest.approx(19.911018, abs=5e-5)


def test_passive_riaa_loses_19_911_db_at_1_khz(
    gain_db: GainDb, reference: Reader
) -> None:
    assert gain_db(reference("riaa_passive"), 1000.0) == pytest.approx(
        -19.911, abs=1e-3
    )


# Two-op-amp phono preamp: application note AN-346 (SNOA586D), figure 3. The numbers
# were printed by a symbolic nodal solver: Tiburonboy/Symbolic-modified-nodal-analysis
# @e29f925, "Two amplifier RIAA Phono Preamp".


def test_phono_preamp_has_the_printed_gains(gain_db: GainDb, reference: Reader) -> None:
    hz = [10.0, 14.9994999, 19.9989999, 999.90099, 1004.90049]
    db = [54.32273597, 54.23176407, 54.00773139, 34.7837666512, 34.7671616947]
    np.testing.assert_allclose(
        gain_db(reference("phono_two_stage"), hz), db, rtol=0, atol=1e-6
    )


def test_phono_preamp_at_50_khz_has_the_printed_gain(
    gain_db: GainDb, reference: Reader
) -> None:
    assert gain_db(reference("phono_two_stage"), 50e3) == pytest.approx(
        7.224067, abs=1e-6
    )


def test_phono_preamp_has_the_printed_poles_and_zeros(reference: Reader) -> None:
    roots = roots_of(reference("phono_two_stage"))
    assert np.array_equal(roots.poles.imag, np.zeros(4))
    np.testing.assert_allclose(
        np.sort(roots.poles.real)[::-1],
        [-8.73032761723, -10.0200400802, -318.126868995, -13338.433641],
        rtol=1e-9,
    )
    # the fourth pole's zero is at infinity; the capacitor at the output has none
    near = roots.zeros[np.abs(roots.zeros) < 1e9]
    order = np.argsort(np.abs(near))
    assert near[order][0] == 0
    np.testing.assert_allclose(
        near[order][1:], [-0.0558265334652, -3183.86896860], rtol=1e-9
    )


def with_one_pole_op_amps(circuit: Circuit, gbw_hz: float, gain: float) -> Circuit:
    parts = tuple(
        replace(part, gbw_hz=gbw_hz, open_loop_gain=gain)
        if isinstance(part, OpAmp)
        else part
        for part in circuit.parts
    )
    return replace(circuit, parts=parts)


def test_phono_preamp_of_one_pole_op_amps_loses_what_was_computed(
    gain_db: GainDb, reference: Reader
) -> None:
    circuit = with_one_pole_op_amps(reference("phono_two_stage"), 10e6, 1e5)
    assert gain_db(circuit, 1000.0) == pytest.approx(34.77450, abs=6e-6)
    assert roots_of(circuit).is_stable


@pytest.mark.parametrize(
    ("one_pole", "at_20_hz_db", "highest_db"),
    [(False, -0.050, 0.066), (True, -0.056, 0.065)],
)
def test_phono_preamp_strays_from_riaa_as_computed(
    gain_db: GainDb,
    reference: Reader,
    one_pole: bool,
    at_20_hz_db: float,
    highest_db: float,
) -> None:
    circuit = reference("phono_two_stage")
    if one_pole:
        circuit = with_one_pole_op_amps(circuit, 10e6, 1e5)
    hz = np.geomspace(20, 20e3, 601)
    off_db = gain_db(circuit, hz) - gain_db(circuit, 1000.0) - riaa_db(hz)
    assert off_db[0] == off_db.min() == pytest.approx(at_20_hz_db, abs=5e-4)
    assert off_db.max() == pytest.approx(highest_db, abs=5e-4)


def riaa_db(frequency_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    def level(hz: ArrayLike) -> NDArray[np.complex128]:
        s = 2j * np.pi * np.asarray(hz)
        return (1 + 318e-6 * s) / ((1 + 3180e-6 * s) * (1 + 75e-6 * s))

    result: NDArray[np.float64] = 20 * np.log10(
        np.abs(level(frequency_hz) / level(1000.0))
    )
    return result
