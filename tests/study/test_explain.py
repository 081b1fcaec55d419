# SPDX-License-Identifier: GPL-3.0-or-later
"""The house scenario explained, and what is refused."""

import math
from collections.abc import Callable
from dataclasses import replace

import pytest

from tonebench.circuit.circuit import STRAIGHT, Circuit
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Hookup
from tonebench.circuit.parts import Capacitor, OpAmp, Resistor
from tonebench.errors import CircuitError, RequestError
from tonebench.plan.comparison import Side
from tonebench.study.explain import explain


@pytest.fixture
def at_the_desk(with_pickup: Hookup) -> Hookup:
    return replace(with_pickup, load_ohm=10e3)


def test_peak_of_the_pickup_is_missing_and_the_input_resistor_did_it(
    at_the_desk: Hookup,
) -> None:
    """By hand: 47 kΩ ∥ 330 kΩ on 2.2 H and 820 pF is Q = 0.78, a peak of 0.1 dB.

    Behind a buffer Q is 3.1 at f0 = 3747 Hz, and the tip at f0·√(1 − 1/(2Q²)).
    """
    found = explain(Side(read_circuit("plover"), at_the_desk))
    (missing,) = found.missing
    assert missing.always
    assert missing.cause
    assert missing.cause.part == "R1"
    assert missing.back
    f0_hz = 1 / (2 * math.pi * math.sqrt(2.2 * 820e-12))
    ohm = 1 / (1 / 330e3 + 1 / 1e6)
    q = math.sqrt(1 + 6100 / ohm) * math.sqrt(2.2 * 820e-12)
    q /= 2.2 / ohm + 6100 * 820e-12
    at_hz = f0_hz * math.sqrt(1 + 6100 / ohm) * math.sqrt(1 - 1 / (2 * q * q))
    assert missing.back.frequency_hz == pytest.approx(at_hz, rel=2e-3)
    height_db = 20 * math.log10(q / math.sqrt(1 - 1 / (4 * q * q)))
    assert missing.back.level_db == pytest.approx(height_db, abs=0.1)


@pytest.mark.parametrize("name", ["tern", "whimbrel"])
def test_peak_is_not_missing_behind_a_high_input_resistance(
    name: str, at_the_desk: Hookup
) -> None:
    assert explain(Side(read_circuit(name), at_the_desk)).missing == ()


def test_load_on_a_passive_harness_takes_both_pickups_peaks(
    at_the_desk: Hookup, with_pickup: Hookup
) -> None:
    harness = read_circuit("dunlin")
    causes = [m.cause for m in explain(Side(harness, at_the_desk)).missing]
    assert [cause.part for cause in causes if cause] == ["load", "load"]
    assert explain(Side(harness, with_pickup)).missing == ()


def test_features_here_come_first_then_those_that_knobs_bring(
    at_the_desk: Hookup,
) -> None:
    found = explain(Side(read_circuit("plover"), at_the_desk))
    kinds = [each.feature.kind for each in found.explained]
    assert kinds[:2] == ["high-pass", "low-pass"]
    assert all(each.tracked.is_here for each in found.explained[:2])
    bells = {k.feature.kind for k in found.explained if not k.tracked.is_here}
    assert {"peak", "dip"} <= bells
    for each in found.explained:
        if each.tracked.setting["bell"] in (0.0, 10.0):
            named = {cause.who.part for cause in each.causes.causes}
            assert named & {"C4", "C5"}


def test_with_a_setting_only_what_is_there_is_explained(at_the_desk: Hookup) -> None:
    found = explain(Side(read_circuit("plover"), at_the_desk), {"bell": 10})
    assert all(each.tracked.is_here for each in found.explained)
    assert "peak" in {each.feature.kind for each in found.explained}


def test_a_changed_part_is_shown_with_what_was_before(at_the_desk: Hookup) -> None:
    drawn = read_circuit("plover")
    changed = Side(drawn.with_parts({"R1": "470k"}), at_the_desk)
    found = explain(changed, drawn=Side(drawn, at_the_desk))
    assert found.missing == ()
    assert found.before is not None
    assert "peak" not in {feature.kind for feature in found.before}
    assert "peak" in {each.feature.kind for each in found.explained}


def test_a_wire_has_no_features() -> None:
    found = explain(Side(STRAIGHT))
    assert (found.explained, found.missing) == ((), ())


def test_a_silent_setting_is_refused() -> None:
    with pytest.raises(RequestError, match="plover is silent at this setting"):
        explain(Side(read_circuit("plover")), {"level": 0})


def test_an_unstable_circuit_is_refused_with_its_pole_and_what_drives_it(
    drawn: Callable[..., Circuit],
) -> None:
    """Gain k = 1 + R2/R1 = 3.2 from plus to out; R and C in series feed back to plus,
    R to ground and C beside: at k = 3 the pair stands on the axis (Wien, textbook), at
    3.2 it is right of it, near 1/(2π·RC) = 1592 Hz. Its real part is (k − 3)/(2·RC), so
    that R1 and R2 move it most.
    """
    circuit = drawn(
        Resistor("R1", ("m", "gnd"), 10e3),
        Resistor("R2", ("m", "out"), 22e3),
        Resistor("R3", ("out", "a"), 10e3),
        Capacitor("C1", ("a", "p"), 10e-9),
        Resistor("R4", ("p", "gnd"), 10e3),
        Capacitor("C2", ("p", "gnd"), 10e-9),
        Resistor("R5", ("in", "p"), 10e6),
        OpAmp("U1", "p", "m", "out"),
    )
    with pytest.raises(CircuitError) as caught:
        explain(Side(circuit))
    told = str(caught.value)
    assert told.startswith("drawn oscillates near 1.5")
    assert "right of the axis, and " in told
    assert any(f" {ref} moves it most" in told for ref in ("R1", "R2"))
