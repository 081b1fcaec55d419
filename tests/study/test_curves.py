# SPDX-License-Identifier: GPL-3.0-or-later
"""Curve families against closed forms, and the settings that a family runs through."""

import numpy as np
import pytest
from commands import LOW_PASS_HZ

from tonebench.circuit.circuit import Circuit, Input
from tonebench.circuit.controls import Knob, Settings, SwitchControl
from tonebench.circuit.files import inspect_text, read_circuit
from tonebench.circuit.hookup import Chain, Hookup, join
from tonebench.errors import RequestError
from tonebench.study.curves import (
    DEFAULT_HZ,
    curve_values,
    curves,
    family,
    setting_words,
)

#: A first-order low-pass at LOW_PASS_HZ behind a linear volume of no load to speak of.
BOX = """
schema = 1
input = "in"
output = "o"
[knobs.volume]
start = 10
[switches.dark]
positions = ["off", "on"]
[parts]
R1 = { resistor = "10k", across = ["in", "a"] }
C1 = { capacitor = "10n", across = ["s", "gnd"] }
S1 = { switch = "dark", common = "a", throws = { on = "s" } }
U1 = { opamp = "ideal", plus = "a", minus = "b", out = "b" }
P1 = { pot = "10k", taper = "linear", knob = "volume", ends = ["gnd", "b"], wiper = "o" }
"""  # noqa: E501


@pytest.fixture
def box() -> Chain:
    circuit = inspect_text(BOX, name="box").circuit
    assert circuit
    return join(circuit)


@pytest.mark.parametrize("volume", [10, 5, 1])
def test_curves_are_the_closed_form_to_the_last_digits(
    box: Chain, volume: float
) -> None:
    """Volume times 1/(1 + jf/f₀); a double holds some 16 digits."""
    (curve,) = curves(box, [{"volume": volume, "dark": "on"}])
    hz = curve.frequency_hz
    wanted_db = 20 * np.log10(volume / 10) - 10 * np.log10(1 + (hz / LOW_PASS_HZ) ** 2)
    np.testing.assert_allclose(curve.gain_db, wanted_db, rtol=0, atol=1e-9)
    wanted_deg = -np.degrees(np.arctan(hz / LOW_PASS_HZ))
    np.testing.assert_allclose(curve.phase_deg, wanted_deg, rtol=0, atol=1e-9)
    assert curve.digital_gain_db is None


def test_curves_run_from_10_hz_to_24_khz_unless_asked(box: Chain) -> None:
    (curve,) = curves(box, [{}])
    hz = curve.frequency_hz
    assert (hz[0], hz[-1]) == (10, 24_000)
    np.testing.assert_allclose(np.diff(np.log(hz)), np.log(2400) / (len(hz) - 1))
    assert len(hz) == len(DEFAULT_HZ)
    (asked,) = curves(box, [{}], [1000, 20])
    assert asked.frequency_hz.tolist() == [1000, 20]


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
def test_the_filter_beside_a_curve_follows_it(box: Chain, rate: float) -> None:
    hz = np.geomspace(20, 20_000, 60)
    (curve,) = curves(box, [{"dark": "on"}], hz, sample_rate_hz=rate)
    assert curve.digital_gain_db is not None
    off_db = np.abs(curve.digital_gain_db - curve.gain_db)
    assert 0 < off_db.max() <= 0.02


def test_the_plain_transform_shows_its_error(box: Chain) -> None:
    """Bilinear without a correction: tan(ωT/2)·2/T stands for ω, the textbook rule."""
    hz = np.array([1000.0, 5000.0, 15_000.0])
    (curve,) = curves(box, [{"dark": "on"}], hz, sample_rate_hz=48_000, method="plain")
    moved_hz = 48_000 / np.pi * np.tan(np.pi * hz / 48_000)
    wanted_db = -10 * np.log10(1 + (moved_hz / LOW_PASS_HZ) ** 2)
    assert curve.digital_gain_db is not None
    np.testing.assert_allclose(curve.digital_gain_db, wanted_db, atol=1e-9)


def test_silence_is_minus_infinity_and_null_in_plain_values(box: Chain) -> None:
    (curve,) = curves(box, [{"volume": 0}], [100, 1000], sample_rate_hz=48_000)
    assert curve.gain_db.tolist() == [-np.inf, -np.inf]
    values = curve_values(curve)
    for key in ("gain_db", "phase_deg", "digital_gain_db"):
        assert values[key] == [None, None]
    assert values["frequency_hz"] == [100, 1000]


def test_plain_values_are_the_curve_without_rounding(box: Chain) -> None:
    (curve,) = curves(box, [{"volume": 3}])
    values = curve_values(curve)
    assert values["gain_db"] == curve.gain_db.tolist()
    assert values["phase_deg"] == curve.phase_deg.tolist()
    assert values["settings"] == {"volume": 3.0, "dark": "off"}
    assert "digital_gain_db" not in values


def test_every_input_has_a_curve_of_its_own_in_the_order_of_the_drawing() -> None:
    hookup = Hookup(source_ohm=5e3)
    found = curves(join(read_circuit("dunlin"), hookup), [{"mode": "blend"}, {}])
    assert [curve.input for curve in found] == ["neck", "bridge"] * 2
    assert found[0].setting["mode"] == "blend"
    assert found[2].setting["mode"] == "volumes"


@pytest.mark.parametrize(
    "hz", [[], [0.0], [-20.0], [20.0, float("nan")], [float("inf")]]
)
def test_frequencies_that_are_none_are_refused(box: Chain, hz: list[float]) -> None:
    with pytest.raises(RequestError, match="numbers above 0 Hz"):
        curves(box, [{}], hz)


@pytest.mark.parametrize("rate", [0, 999, 1_000_001, float("nan")])
def test_rates_beyond_reason_are_refused(box: Chain, rate: float) -> None:
    with pytest.raises(RequestError, match="rate must be from 1000 to 1000000 Hz"):
        curves(box, [{}], sample_rate_hz=rate)


def test_settings_that_a_circuit_does_not_have_are_refused(box: Chain) -> None:
    for setting in ({"volum": 5}, {"volume": 11}, {"dark": "dim"}):
        with pytest.raises(RequestError):
            curves(box, [setting])


# Families


def test_a_family_is_every_combination_of_0_5_and_10_and_of_a_switch(
    box: Chain,
) -> None:
    assert family(box, ["volume"], {}) == tuple({"volume": x} for x in (0, 5, 10))
    both = family(box, ["dark", "volume"], {})
    assert [(s["dark"], s["volume"]) for s in both] == [
        ("off", 0), ("off", 5), ("off", 10), ("on", 0), ("on", 5), ("on", 10),
    ]  # fmt: skip


def test_a_family_keeps_what_else_was_set(box: Chain) -> None:
    assert {s["volume"] for s in family(box, ["dark"], {"volume": 3})} == {3}
    # what the family runs through is not held by a setting of it
    assert [s["volume"] for s in family(box, ["volume"], {"volume": 3})] == [0, 5, 10]


def test_a_family_of_nothing_is_the_setting_itself(box: Chain) -> None:
    assert family(box, [], {"volume": 3}) == ({"volume": 3},)


def test_a_control_that_is_named_twice_counts_once(box: Chain) -> None:
    assert family(box, ["volume", "volume"], {}) == family(box, ["volume"], {})


def test_a_family_of_unknown_controls_is_refused_with_the_nearest(box: Chain) -> None:
    with pytest.raises(RequestError, match="'volum'; did you mean 'volume'"):
        family(box, ["volum"], {})


def many(count: int) -> Chain:
    circuit = Circuit(
        "many", "Many", (Input("in", "in"),), "in", (),
        knobs=tuple(Knob(f"k{n}") for n in range(count)),
        switches=(SwitchControl("s", ("a", "b")),),
    )  # fmt: skip
    return join(circuit)


def test_a_family_that_nobody_could_read_is_refused() -> None:
    names = [f"k{n}" for n in range(6)]
    assert len(family(many(6), names, {})) == 729
    with pytest.raises(RequestError, match="a family of 1458 curves"):
        family(many(6), [*names, "s"], {})


# Words


def test_a_setting_is_said_as_it_is_read_off_the_knobs() -> None:
    setting: Settings = {"bass": 7.5, "treble": 0, "range": "high", "mid": 3.3}
    assert setting_words(setting) == "bass 7½, treble 0, range high, mid 3.3"
    assert setting_words(setting, ["range", "bass"]) == "bass 7½, range high"
    assert setting_words({}) == ""
