# SPDX-License-Identifier: GPL-3.0-or-later
"""Features of curves against textbook prototypes, published filters, closed forms."""

import math
from collections.abc import Callable, Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tonebench.circuit.circuit import STRAIGHT, Circuit
from tonebench.circuit.hookup import Hookup, Pickup, join
from tonebench.circuit.parts import Capacitor, OpAmp, Resistor
from tonebench.network.nodal import Network
from tonebench.network.roots import Roots, find_roots
from tonebench.study.features import Feature, find_features

TWO_PI = 2 * math.pi


def _roots(above: Sequence[float], below: Sequence[float], hz: float) -> Roots:
    """Return a product form from two polynomials in s/ω₀, highest power first."""
    w0 = TWO_PI * hz
    gain = float(np.polyval(above, 1.0) / np.polyval(below, 1.0))
    zeros, poles = np.roots(above) * w0, np.roots(below) * w0
    return Roots(zeros.astype(complex), poles.astype(complex), gain, w0)


def _bell(db: float, q: float, hz: float) -> Roots:
    """Return the bell of the Audio EQ Cookbook: (s² + sA/Q + 1)/(s² + s/(AQ) + 1)."""
    a = 10 ** (db / 40)
    return _roots([1, a / q, 1], [1, 1 / (a * q), 1], hz)


def _times(*factors: Roots) -> Roots:
    """Return the product of responses: their roots together."""
    s = np.array([1e4 + 0j])
    return Roots(
        np.concatenate([each.zeros for each in factors]),
        np.concatenate([each.poles for each in factors]),
        float(np.prod([each.at(s)[0].real for each in factors])),
        1e4,
    )


#: A band from 20 Hz to 6 kHz, −3 dB at both ends (textbook).
BAND = (_roots([1, 0], [1, 1], 20.0), _roots([1], [1, 1], 6000.0))


def _only(features: Sequence[Feature]) -> Feature:
    (feature,) = features
    return feature


@pytest.mark.parametrize("db", [6.0, 1.0, 20.0])
@pytest.mark.parametrize("q", [0.4, 1.0, 5.0, 60.0])
@pytest.mark.parametrize("hz", [80.0, 1000.0, 8000.0])
def test_a_bell_is_read_as_it_was_designed(db: float, q: float, hz: float) -> None:
    """Frequency, dB and Q are the three parameters of the cookbook's prototype."""
    for sign, kind in ((1, "peak"), (-1, "dip")):
        found = _only(find_features(_bell(sign * db, q, hz)))
        assert found.kind == kind
        assert found.frequency_hz == pytest.approx(hz, rel=1e-6)
        assert found.level_db == pytest.approx(sign * db, abs=0.01)
        assert found.q == pytest.approx(q, rel=2e-3)


@pytest.mark.parametrize("db", [6.0, -12.0])
def test_a_shelf_is_read_as_it_was_designed(db: float) -> None:
    """Cookbook shelves with Q = 1/√2: f0 is where half of the step, in dB, is done."""
    a, q = 10 ** (db / 40), 1 / math.sqrt(2)
    flat, bent = [1, math.sqrt(a) / q, a], [a, math.sqrt(a) / q, 1]
    low = _roots([a * c for c in flat], bent, 100.0)
    high = _roots([a * c for c in bent], flat, 8000.0)
    for roots, hz in ((low, 100.0), (high, 8000.0)):
        found = _only(find_features(roots))
        assert found.kind == "shelf"
        assert found.frequency_hz == pytest.approx(hz, rel=2e-3)
        assert found.level_db == pytest.approx(db, abs=0.02)


def test_a_notch_is_read_as_it_was_designed() -> None:
    """(s² + 1)/(s² + s/Q + 1): Q is f0 over the width at −3 dB (textbook)."""
    found = _only(find_features(_roots([1, 0, 1], [1, 1 / 4, 1], 50.0)))
    assert (found.kind, round(found.frequency_hz, 3)) == ("dip", 50.0)
    assert found.q == pytest.approx(4, rel=1e-3)


@pytest.mark.parametrize("hz", [12.0, 38.0, 1591.549, 20_000.0])
def test_a_single_time_constant_is_6_db_per_octave_from_its_corner(hz: float) -> None:
    """|H| = 1/√(1 + (f/f₀)²): −3.01 dB at f₀, close to ±6.02 dB per octave beyond."""
    for above, kind, sign in (([1, 0], "high-pass", 1), ([1], "low-pass", -1)):
        found = _only(find_features(_roots(above, [1, 1], hz)))
        assert found.kind == kind
        assert found.frequency_hz == pytest.approx(hz, rel=2e-4)
        assert found.level_db == pytest.approx(0, abs=1e-3)
        assert found.q is None
        assert found.slope_db_per_octave == pytest.approx(sign * 6.02, abs=0.15)


# (designation, what it passes, R1, R2, C1, C2, f−3dB in Hz, Q): worked examples of
# textbooks. Malvino and Bates, 7th ed., 21-9 and 21-4; Franco, 3.12 and 3.10. The first
# resistor is fed back (high-pass) or in series first; corners computed independently
# from f0 and Q: f−3dB/f0 = √(x ± √(x² + 1)), x = ±(1 − 1/(2Q²)).
SALLEN_KEY = [
    ("high", 12e3, 24e3, 4.7e-9, 4.7e-9, 1995.382, 0.707107),
    ("high", 2.653e3, 23.87e3, 1e-7, 1e-7, 139.87, 1.5),
    ("low", 51e3, 51e3, 440e-12, 330e-12, 6440.0, 0.577),
    ("low", 5.758e3, 2.199e3, 20e-9, 1e-9, 14_845.1, 2.0),
]


@pytest.mark.parametrize(("passes", "r1", "r2", "c1", "c2", "corner", "q"), SALLEN_KEY)
def test_published_second_order_filters_show_their_q_and_corner(
    drawn: Callable[..., Circuit],
    passes: str,
    r1: float,
    r2: float,
    c1: float,
    c2: float,
    corner: float,
    q: float,
) -> None:
    if passes == "high":
        parts = [
            Capacitor("C1", ("in", "a"), c1),
            Capacitor("C2", ("a", "b"), c2),
            Resistor("R1", ("a", "out"), r1),
            Resistor("R2", ("b", "gnd"), r2),
        ]
    else:
        parts = [
            Resistor("R1", ("in", "a"), r1),
            Resistor("R2", ("a", "b"), r2),
            Capacitor("C1", ("a", "out"), c1),
            Capacitor("C2", ("b", "gnd"), c2),
        ]
    circuit = drawn(*parts, OpAmp("U1", "b", "out", "out"))
    features = find_features(find_roots(Network(join(circuit)), {})[0])
    by_kind = {each.kind: each for each in features}
    found = by_kind[f"{passes}-pass"]  # type: ignore[index]  # a literal in two halves
    assert found.frequency_hz == pytest.approx(corner, rel=2e-3)
    assert found.q == pytest.approx(q, rel=1e-3)
    assert abs(found.slope_db_per_octave) == pytest.approx(12.04, abs=0.4)
    # the textbook's resonance: Q/√(1 − 1/(4Q²)) above Q = 1/√2, if it is 0.5 dB high
    assert ("peak" in by_kind) == (q > 1)
    if q > 1:
        peak = by_kind["peak"]
        height = 20 * math.log10(q / math.sqrt(1 - 1 / (4 * q * q)))
        assert peak.level_db == pytest.approx(height, abs=0.01)
        assert peak.q == pytest.approx(q, rel=3e-3)


def test_a_loaded_coil_peaks_where_computed(drawn: Callable[..., Circuit]) -> None:
    """3.0 H, 7 kΩ, 300 pF on 300 pF and 1 MΩ: a public notebook's values.

    Peak, DC level and −3 dB point were computed independently from the closed form.
    """
    circuit = drawn(Resistor("R1", ("in", "gnd"), 1e6), output="in")
    coil = Pickup("coil", 7e3, 3.0, 300e-12)
    chain = join(circuit, Hookup({"": coil}, cable_farad=300e-12))
    peak, top = find_features(find_roots(Network(chain), {})[0])
    assert (peak.kind, top.kind) == ("peak", "low-pass")
    assert peak.frequency_hz == pytest.approx(3737.3, abs=0.2)
    assert peak.gain_db == pytest.approx(15.41, abs=0.01)
    assert peak.level_db == pytest.approx(15.41 + 0.061, abs=0.01)
    assert top.frequency_hz == pytest.approx(5818.7, rel=1e-3)
    c, load = 600e-12, 1e6
    ends = 2 * 3.0 * c * (1 + 7e3 / load) - (3.0 / load + 7e3 * c) ** 2
    tip = math.sqrt(ends / 2) / (3.0 * c) / TWO_PI  # d|H|²/dω = 0, by hand
    assert peak.frequency_hz == pytest.approx(tip, rel=1e-6)
    q = math.sqrt(1 + 7e3 / load) * math.sqrt(3.0 * c) / (3.0 / load + 7e3 * c)
    assert peak.q == pytest.approx(q, rel=1e-3)


@pytest.mark.parametrize("farad", [220e-12, 1e-9, 4.7e-9])
def test_a_capacitor_across_a_coil_moves_its_peak(
    drawn: Callable[..., Circuit], farad: float
) -> None:
    """To 1/(2π√(L(C₀ + C))), its losses small; behind a buffer it does nothing."""
    coil = Pickup("coil", 10.0, 3.0, 120e-12, losses_ohm=2e6)
    across = Capacitor("C1", ("in", "gnd"), farad)
    loaded = join(drawn(across, output="in"), Hookup({"": coil}))
    buffer = OpAmp("U1", "in", "out", "out")
    kept = Capacitor("C1", ("out", "gnd"), farad)
    behind = join(drawn(buffer, kept), Hookup({"": coil}))
    for chain, total in ((loaded, 120e-12 + farad), (behind, 120e-12)):
        peak = find_features(find_roots(Network(chain), {})[0])[0]
        wanted = 1 / (TWO_PI * math.sqrt(3.0 * total))
        assert peak.frequency_hz == pytest.approx(wanted, rel=2e-3)


@pytest.mark.parametrize(
    ("low", "pole", "zero"), [(20, 60, 240), (35, 40, 400), (10, 90, 200)]
)
def test_a_high_pass_under_a_low_shelf_makes_the_hump_of_the_closed_form(
    low: float, pole: float, zero: float
) -> None:
    """The derivative of |s/(s + a)·(s + c)/(s + b)|² over x = ω² set to zero by hand:
    (a² + b² − c²)x² + 2a²b²x + a²b²c² = 0.
    """
    a, b, c = low**2, pole**2, zero**2
    x = max(np.roots([a + b - c, 2 * a * b, a * b * c]).real)
    roots = _roots([1, zero, 0], [1, low + pole, low * pole], 1.0)
    hump = next(f for f in find_features(roots) if f.kind == "peak")
    assert hump.frequency_hz == pytest.approx(math.sqrt(x), rel=1e-6)


def test_between_two_far_corners_there_is_a_plateau_and_no_peak() -> None:
    roots = _roots([1, 0], np.polymul([1, 40], [1 / 6000, 1]).tolist(), 1.0)
    kinds = [feature.kind for feature in find_features(roots)]
    assert kinds == ["high-pass", "low-pass"]


def test_a_sharp_band_pass_is_a_peak() -> None:
    """s/(s² + s/Q + 1): Q is f0 over the width at −3 dB (textbook)."""
    features = find_features(_roots([1, 0], [1, 1 / 3, 1], 700.0))
    peak = next(feature for feature in features if feature.kind == "peak")
    assert peak.frequency_hz == pytest.approx(700, rel=1e-6)
    assert peak.q == pytest.approx(3, rel=1e-3)
    assert peak.gain_db == pytest.approx(20 * math.log10(3), abs=1e-3)


def test_a_dip_beside_a_sharper_peak_is_told_as_well() -> None:
    bell, resonance = _bell(-9, 0.9, 700.0), _roots([1], [1, 1 / 4, 1], 4500.0)
    both = Roots(
        bell.zeros,
        np.concatenate([bell.poles, resonance.poles]),
        float(
            (bell.at(np.array([1e4 + 0j])) * resonance.at(np.array([1e4 + 0j])))[0].real
        ),
        1e4,
    )
    found = {each.kind: each for each in find_features(both)}
    assert set(found) == {"dip", "peak", "low-pass"}
    assert found["dip"].frequency_hz == pytest.approx(700, rel=0.03)
    assert found["peak"].level_db == pytest.approx(20 * math.log10(4), abs=1)


def test_a_low_impedance_pickup_of_two_coils_resonates_at_12_to_13_khz() -> None:
    """By itself, without a lead (common practice, no source; values of that kind: two
    coils of 0.45 H and 1.2 kΩ in series, 180 pF).
    """
    coil = Pickup("two coils", 2400.0, 0.9, 180e-12)
    wire = join(STRAIGHT, Hookup({"": coil}, load_ohm=10e6))
    (peak,) = (
        f for f in find_features(find_roots(Network(wire), {})[0]) if f.kind == "peak"
    )
    assert 12_000 < peak.frequency_hz < 13_000


@pytest.mark.parametrize("db", [-1.5, -3.0, -6.0, -9.0, -12.0])
def test_a_bell_cut_into_a_band_is_a_dip_however_deep_it_is(db: float) -> None:
    """The formula of the product, read off a fine grid: how far its minimum lies below
    the lower of the two shoulders.
    """
    hz = np.geomspace(20, 6000, 20_001)
    a, s = 10 ** (db / 40), 1j * hz / 400
    curve = np.abs(
        (s * s + s * a / 0.9 + 1)
        / (s * s + s / (a * 0.9) + 1)
        / (1 - 20j / hz)
        / (1 + 1j * hz / 6000)
    )
    k = int(np.argmin(np.where((hz > 150) & (hz < 1500), curve, np.inf)))
    shoulder = min(curve[:k].max(), curve[k:].max())
    found = {f.kind: f for f in find_features(_times(_bell(db, 0.9, 400.0), *BAND))}
    assert set(found) == {"high-pass", "dip", "low-pass"}
    assert found["dip"].frequency_hz == pytest.approx(hz[k], rel=1e-3)
    depth_db = 20 * math.log10(curve[k] / shoulder)
    assert found["dip"].level_db == pytest.approx(depth_db, abs=0.01)


@pytest.mark.parametrize("db", [1.0, 3.0, 6.0, 9.0])
def test_a_resonance_on_the_foot_of_a_shelf_is_a_peak_and_not_beside_a_dip(
    db: float,
) -> None:
    """A second-order low-pass of Q 3 rises by Q/√(1 − 1/(4Q²)) over its passband
    (textbook), whatever a low shelf four octaves below it does.
    """
    a = 10 ** (db / 40)
    root = math.sqrt(2 * a)
    shelf = _roots([a, a * root, a * a], [a, root, 1], 150.0)
    resonance = _roots([1], [1, 1 / 3, 1], 3700.0)
    high_pass = _roots([1, 0], [1, 1], 2.0)
    found = find_features(_times(shelf, resonance, high_pass), 10, 24_000)
    assert [f.kind for f in found] == ["shelf", "peak", "low-pass"]
    assert found[0].level_db == pytest.approx(db, abs=0.3)
    height_db = 20 * math.log10(3 / math.sqrt(1 - 1 / 36))
    assert found[1].level_db == pytest.approx(height_db, abs=0.3)


@pytest.mark.parametrize("db", [0.5, 1.0, 2.0, 3.0])
def test_a_faint_bell_hides_no_corner_behind_a_peak(db: float) -> None:
    """The bell makes the slope ripple between the high-pass at 25 Hz, Q 1/√2, and the
    resonance; the corner stays that of the high-pass.
    """
    high_pass = _roots([1, 0, 0], [1, math.sqrt(2), 1], 25.0)
    resonance = _roots([1], [1, 1 / 3, 1], 3700.0)
    found = find_features(_times(high_pass, _bell(db, 0.3, 760.0), resonance))
    corner = next(f for f in found if f.kind == "high-pass")
    assert corner.frequency_hz == pytest.approx(25, rel=0.1)


def test_silence_and_flatness_have_no_features() -> None:
    nothing = np.empty(0, complex)
    assert find_features(Roots(nothing, nothing, 0.0, 1.0)) == ()
    assert find_features(Roots(nothing, nothing, -2.0, 1.0)) == ()
    assert find_features(_bell(0.45, 1.0, 500.0)) == ()


@settings(deadline=None, max_examples=60)
@given(
    db=st.floats(1, 15),
    q=st.floats(0.5, 8),
    hz=st.floats(60, 6000),
    gain=st.floats(1e-6, 1e3),
)
def test_gain_and_octaves_shift_features_and_change_nothing_else(
    db: float, q: float, hz: float, gain: float
) -> None:
    plain = _only(find_features(_bell(db, q, hz)))
    louder = _bell(db, q, 2 * hz)
    louder = Roots(louder.zeros, louder.poles, louder.gain * gain, louder.shift)
    moved = _only(find_features(louder))
    assert moved.frequency_hz == pytest.approx(2 * plain.frequency_hz, rel=1e-4)
    assert moved.level_db == pytest.approx(plain.level_db, abs=0.01)
    assert moved.gain_db == pytest.approx(db + 20 * math.log10(gain), abs=0.01)
