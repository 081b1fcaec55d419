# SPDX-License-Identifier: GPL-3.0-or-later
"""What solving a circuit tells its builder, for circuits whose answers are known."""

import math
from collections.abc import Callable
from dataclasses import replace

import pytest
from commands import DIVIDER, LOW_PASS, MIXER, VOLUME

from tonebench.circuit.circuit import STRAIGHT, Circuit, Input
from tonebench.circuit.files import inspect_text, read_circuit
from tonebench.circuit.parts import OpAmp, Resistor
from tonebench.study.notes import KnobEnd, KnobRange, circuit_notes

Reader = Callable[[str], Circuit]


def of_text(text: str) -> Circuit:
    circuit = inspect_text(text).circuit
    assert circuit
    return circuit


def test_notes_of_the_tone_control_are_those_it_was_published_with(
    reference: Reader,
) -> None:
    """S. Franco, example 3.7, with 50 nF and 5 nF: computed table, and by symmetry.

    1 Ω of source changes 11 kΩ by a ten-thousandth, less than a hundredth of a dB.
    """
    notes = circuit_notes(reference("tone_control"))
    assert notes.inverts == {"in": True}
    assert notes.dc_gain_db["in"] == pytest.approx(0, abs=0.01)
    assert notes.middle_gain_db["in"] == pytest.approx(0, abs=0.01)
    assert notes.flat_within_db == pytest.approx(0, abs=0.005)
    assert notes.faults == ()
    assert notes.warnings == ()


def test_knobs_are_told_with_the_ends_of_the_computed_table(reference: Reader) -> None:
    """The same circuit behind a buffer, so that the coil before it hears no knob."""
    plain = reference("tone_control")
    buffer = OpAmp("U0", "start", "in", "in")
    parts = (*plain.parts, buffer, Resistor("R0", ("start", "gnd"), 1e6))
    circuit = replace(plain, inputs=(Input("in", "start"),), parts=parts)
    bass, treble = circuit_notes(circuit).ranges
    assert (bass.knob, treble.knob) == ("bass", "treble")
    for ends, change_db, hz in (
        (bass.at_0, -18.365, 20),
        (bass.at_10, 18.365, 20),
        (treble.at_0, -18.903, 20_000),
        (treble.at_10, 18.903, 20_000),
    ):
        (end,) = ends
        assert end.input == "in"
        assert end.change_db == pytest.approx(change_db, abs=0.002)
        assert end.at_hz == pytest.approx(hz)
    assert str(bass) == "bass  0: −18.4 dB at 20 Hz, 10: +18.4 dB at 20 Hz"


def test_a_weighting_blocks_dc_and_has_six_poles(reference: Reader) -> None:
    notes = circuit_notes(reference("a_weighting"))
    assert notes.order == 6
    assert notes.dc_gain_db == {"in": -math.inf}
    # IEC 61672-1, annex E at 500 Hz: −3.248 dB, and −2.0 dB before normalisation
    assert notes.middle_gain_db["in"] == pytest.approx(-5.248, abs=0.01)
    assert notes.inverts == {"in": False}


def test_a_low_pass_passes_dc(reference: Reader) -> None:
    notes = circuit_notes(of_text(LOW_PASS))
    assert notes.order == 1
    assert notes.dc_gain_db["in"] == pytest.approx(0, abs=1e-3)
    # from 20 Hz to 20 kHz it falls by 10 lg((1 + (20k/f₀)²)/(1 + (20/f₀)²))
    assert notes.flat_within_db == pytest.approx(22.012 / 2, abs=0.01)


def test_the_circuit_that_is_none_is_flat() -> None:
    notes = circuit_notes(STRAIGHT)
    assert (notes.order, notes.flat_within_db, notes.ranges) == (0, 0, ())


def test_each_input_has_its_own_gain() -> None:
    """With the other input held by its source of 1 Ω: 1/3 each."""
    text = MIXER.replace('"10k", across = ["r", "out"]', '"20k", across = ["r", "out"]')
    notes = circuit_notes(of_text(text))
    # conductances 2 : 1 : 2
    assert notes.middle_gain_db == {
        "left": pytest.approx(20 * math.log10(2 / 5), abs=2e-3),
        "right": pytest.approx(20 * math.log10(1 / 5), abs=2e-3),
    }


def test_a_volume_goes_down_to_silence_and_comes_back_from_it() -> None:
    (volume,) = circuit_notes(of_text(VOLUME)).ranges
    assert volume.at_0 == (KnobEnd("in", -math.inf, None),)
    assert volume.at_10 == (KnobEnd("in", 0, None),)
    assert str(volume) == "volume  0: silent, 10: 0.0 dB"
    silent = of_text(VOLUME.replace("start = 10", "start = 0"))
    (volume,) = circuit_notes(silent).ranges
    assert str(volume) == "volume  0: silent, 10: heard"


def test_a_knob_that_changes_all_frequencies_alike_has_no_frequency() -> None:
    """A volume behind a buffer: half, and at half 25 kΩ against a load of 1 MΩ."""
    text = """
        schema = 1
        input = "in"
        output = "out"
        [knobs.volume]
        [parts]
        R1 = { resistor = "1M", across = ["in", "gnd"] }
        U1 = { opamp = "ideal", plus = "in", minus = "a", out = "a" }
        [parts.P1]
        pot = "100k"
        taper = "linear"
        knob = "volume"
        ends = ["gnd", "a"]
        wiper = "out"
    """
    (volume,) = circuit_notes(of_text(text)).ranges
    (end,) = volume.at_10
    assert end.at_hz is None
    assert end.change_db == pytest.approx(20 * math.log10(2 * 1.025), abs=1e-6)
    assert str(volume) == "volume  0: silent, 10: +6.2 dB"


def test_a_knob_that_moves_nothing_is_said_to() -> None:
    still = (KnobEnd("in", 0.04, 100.0),)
    assert str(KnobRange("x", still, still)) == "x  moves nothing in this setting"
    two = (KnobEnd("a", -3, 100), KnobEnd("b", 0, 100))
    told = str(KnobRange("x", two, two))
    assert told == "x  0: −3.0 dB at 100 Hz, 10: −3.0 dB at 100 Hz (from a)"


def test_a_setting_that_shorts_an_op_amp_is_a_fault_with_the_setting() -> None:
    text = """
        schema = 1
        input = "in"
        output = "out"
        [knobs.gain]
        [parts]
        R1 = { resistor = "10k", across = ["in", "m"] }
        U1 = { opamp = "generic", plus = "gnd", minus = "m", out = "out" }
        R2 = { resistor = "10k", across = ["m", "out"] }
        P1 = { pot = "10k", taper = "linear", knob = "gain", across = ["out", "gnd"] }
    """
    notes = circuit_notes(of_text(text))
    (fault,) = notes.faults
    assert str(fault).startswith("P1 shorts the output of U1 with gain at 0; ")
    assert "gain 0" in fault.hint
    assert notes.ranges == ()


def test_an_op_amp_that_feeds_itself_the_wrong_way_is_warned_of() -> None:
    """More of the output comes back to plus (1/2) than to minus (1/11): it latches.

    The drawing alone can't tell: there is feedback to both inputs.
    """
    text = """
        schema = 1
        input = "in"
        output = "out"
        [parts]
        R1 = { resistor = "10k", across = ["in", "p"] }
        R2 = { resistor = "10k", across = ["p", "out"] }
        R3 = { resistor = "10k", across = ["out", "m"] }
        R4 = { resistor = "1k", across = ["m", "gnd"] }
        U1 = { opamp = "ideal", plus = "p", minus = "m", out = "out" }
    """
    notes = circuit_notes(of_text(text))
    assert notes.faults == ()
    (warning,) = notes.warnings
    assert "the circuit latches" in str(warning)
    assert "are the inputs of an op-amp swapped?" in str(warning)
    swapped = text.replace('plus = "p", minus = "m"', 'plus = "m", minus = "p"')
    assert circuit_notes(of_text(swapped)).warnings == ()


def test_a_divider_has_nothing_to_warn_of() -> None:
    notes = circuit_notes(of_text(DIVIDER))
    assert notes.warnings == ()
    assert notes.middle_gain_db["in"] == pytest.approx(-6.0206, abs=1e-3)


@pytest.mark.parametrize("name", ["dunlin", "whimbrel"])
def test_circuits_of_many_controls_are_looked_at_in_little_time(name: str) -> None:
    assert circuit_notes(read_circuit(name)).order > 0
