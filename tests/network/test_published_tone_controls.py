# SPDX-License-Identifier: GPL-3.0-or-later
"""Bass and treble controls, read from `tests/reference_circuits`.

"Computed" means: from a closed formula, apart from the code under test. Figures are
given with the digits that their source prints.
"""

import math
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from tonebench.circuit.circuit import Circuit

Reader = Callable[[str], Circuit]
Gain = Callable[..., NDArray[np.complex128]]
GainDb = Callable[..., NDArray[np.float64]]


# Bass and treble in the feedback: circuit of S. Franco, "Design with Operational
# Amplifiers", example 3.7, with C1 = 50 nF and C2 = 5 nF. The table is computed.

TONE_HZ = [10, 20, 32, 50, 100, 200, 320, 500, 1e3, 2e3, 5e3, 10e3, 20e3, 100e3]
TONE_TABLE = {  # (bass, treble): dB at TONE_HZ
    (10, 5): """19.581 18.365 16.595 14.108 9.321 4.739 2.489 1.192 0.329 0.084 0.014
                0.003 0.001 0.000""",
    (5, 10): """0.024 0.088 0.195 0.365 0.683 0.977 1.284 1.868 3.955 7.839 13.957
                17.330 18.903 19.562""",
    (10, 10): """19.672 18.645 17.076 14.761 10.062 5.323 2.979 2.027 3.500 7.607
                 13.907 17.316 18.899 19.562""",
    (7.5, 5): """7.326 6.701 5.694 4.161 1.355 -0.329 -0.562 -0.428 -0.161 -0.045
                 -0.008 -0.002 0.000 0.000""",
    (5, 7.5): """0.015 0.056 0.124 0.234 0.457 0.704 0.894 1.054 1.195 1.241 1.255
                 1.257 1.258 1.258""",
}


@pytest.mark.parametrize(("knobs", "level_db"), TONE_TABLE.items())
def test_tone_control_has_the_computed_curve(
    gain_db: GainDb, reference: Reader, knobs: tuple[float, float], level_db: str
) -> None:
    setting = dict(zip(("bass", "treble"), knobs, strict=True))
    wanted = [float(word) for word in level_db.split()]
    got = gain_db(reference("tone_control"), TONE_HZ, setting)
    np.testing.assert_allclose(got, wanted, rtol=0, atol=0.002)


@pytest.mark.parametrize("bass", [0, 1.3, 5, 8, 10])
@pytest.mark.parametrize("treble", [0, 2.5, 5, 9])
def test_tone_control_cuts_what_it_boosts(
    gain_db: GainDb, reference: Reader, bass: float, treble: float
) -> None:
    # exact by the symmetry of the circuit when both pots are linear
    circuit = reference("tone_control")
    boost = gain_db(circuit, TONE_HZ, {"bass": bass, "treble": treble})
    cut = gain_db(circuit, TONE_HZ, {"bass": 10 - bass, "treble": 10 - treble})
    np.testing.assert_allclose(boost + cut, 0, atol=1e-7)


def test_tone_control_with_both_knobs_centred_only_inverts(
    gain: Gain, reference: Reader
) -> None:
    np.testing.assert_allclose(
        gain(reference("tone_control"), TONE_HZ), -1, rtol=0, atol=1e-13
    )


def test_tone_control_reaches_the_limits_of_its_formulas(
    gain_db: GainDb, reference: Reader
) -> None:
    # bass: 1 + R2/R1; treble: C1 and C2 shorted, by hand
    circuit = reference("tone_control")
    bass_db = gain_db(circuit, 0.01, {"bass": 10})
    assert bass_db == pytest.approx(20 * math.log10(1 + 100 / 11), abs=1e-4)
    middle = 1 / 33e3  # the star of three 11 k
    treble = (middle + 1 / 3.6e3) / (middle + 1 / 503.6e3)
    treble_db = gain_db(circuit, 1e8, {"treble": 10})
    assert treble_db == pytest.approx(20 * math.log10(treble), abs=1e-4)
    assert treble_db == pytest.approx(19.59, abs=0.005)


@pytest.mark.parametrize(("knob", "hz"), [("bass", 281.5), ("treble", 779.8)])
def test_tone_control_passes_3_db_where_computed(
    gain_db: GainDb, reference: Reader, knob: str, hz: float
) -> None:
    circuit = reference("tone_control")
    # read off a grid of frequencies, which leaves a hundredth of a dB
    assert gain_db(circuit, hz, {knob: 10}) == pytest.approx(3, abs=0.02)


def test_tone_control_with_the_printed_capacitors_has_the_computed_curve(
    gain_db: GainDb, reference: Reader
) -> None:
    printed = {"C1": "51n", "C1b": "51n", "C2": "5.1n"}
    circuit = reference("tone_control").with_parts(printed)
    bass = gain_db(circuit, [20.0, 100.0], {"bass": 10})
    np.testing.assert_allclose(bass, [18.308, 9.180], rtol=0, atol=0.001)
    treble = gain_db(circuit, [1e3, 10e3], {"treble": 10})
    np.testing.assert_allclose(treble, [4.043, 17.398], rtol=0, atol=0.001)


def test_tone_control_with_two_treble_capacitors_has_the_computed_curve(
    gain_db: GainDb, reference: Reader
) -> None:
    circuit = reference("tone_control_two_capacitors")
    treble = gain_db(circuit, [1e3, 10e3], {"treble": 10})
    np.testing.assert_allclose(treble, [3.447, 17.124], rtol=0, atol=0.001)


# Passive bass leg: structure from memory, numbers computed


@pytest.mark.parametrize(
    ("bass", "level_db"),
    [(10, (-2.226, -10.710, -20.405)), (0, (-39.478, -30.946, -21.250))],
)
def test_passive_bass_has_the_computed_curve(
    gain_db: GainDb, reference: Reader, bass: float, level_db: tuple[float, ...]
) -> None:
    got = gain_db(reference("passive_bass"), [20.0, 100.0, 1e3], {"bass": bass})
    np.testing.assert_allclose(got, level_db, rtol=0, atol=0.001)


def test_passive_bass_keeps_to_its_dividers_at_both_ends(
    gain: Gain, reference: Reader
) -> None:
    circuit = reference("passive_bass")
    boost = gain(circuit, [0.0, 1e9], {"bass": 10})
    np.testing.assert_allclose(np.abs(boost), [101 / 111, 1 / 11], rtol=1e-6)
    cut = gain(circuit, [0.0, 1e9], {"bass": 0})
    np.testing.assert_allclose(np.abs(cut), [1 / 111, 1 / 11], rtol=1e-6)


def test_passive_bass_on_an_audio_pot_is_flat_at_the_centre(
    gain_db: GainDb, reference: Reader
) -> None:
    level_db = gain_db(reference("passive_bass"), np.geomspace(10, 1e5, 200))
    assert level_db.max() == pytest.approx(-20.15, abs=0.01)
    assert level_db.min() == pytest.approx(-20.87, abs=0.01)
