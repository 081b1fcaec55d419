# SPDX-License-Identifier: GPL-3.0-or-later
"""Builds by lot and the worst ones, against closed forms and every corner tried."""

import itertools
from collections.abc import Callable

import numpy as np
import pytest

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Hookup, join
from tonebench.circuit.parts import Capacitor, Pot, Resistor
from tonebench.circuit.tapers import Taper
from tonebench.errors import RequestError
from tonebench.network.builds import Builds
from tonebench.network.nodal import Network
from tonebench.study.spread import spread
from tonebench.study.tolerance import draw, factors, refs_of, tolerances

Drawn = Callable[..., Circuit]
HZ = np.geomspace(20, 20_000, 81)


@pytest.fixture
def low_pass(drawn: Drawn) -> Circuit:
    """1/(2π·RC) = 1591.5 Hz."""
    return drawn(
        Resistor("R1", ("in", "out"), 10e3), Capacitor("C1", ("out", "gnd"), 10e-9)
    )


def test_a_divider_of_one_percent_parts_is_off_by_its_closed_form(
    drawn: Drawn,
) -> None:
    """At the very worst R2·1.01 over R1·0.99 + R2·1.01, and the other way round."""
    divider = drawn(
        Resistor("R1", ("in", "out"), 10e3), Resistor("R2", ("out", "gnd"), 10e3)
    )
    found = spread(join(divider), {}, tolerances(divider), builds=2000)
    high, low = 20 * np.log10(1.01 / 2), 20 * np.log10(0.99 / 2)
    np.testing.assert_allclose(found.gain.worst_high, high, atol=1e-9)
    np.testing.assert_allclose(found.gain.worst_low, low, atol=1e-9)
    assert np.all(found.gain.high < high)
    # level only: its shape stays
    assert found.most_db[0] < 1e-9
    assert found.level_db[1] == pytest.approx(
        float(found.gain.high[0]) + 6.0206, abs=1e-4
    )
    assert found.worth_tighter == ()


def test_a_low_pass_spreads_its_corner_as_its_parts_do(low_pass: Circuit) -> None:
    """f = 1/(2π·RC) of every build; the feature is looked for in some of them."""
    parts = tolerances(low_pass)
    found = spread(join(low_pass), {}, parts, builds=4000)
    (corner,) = found.features
    assert corner.drawn.kind == "low-pass"
    assert corner.drawn.frequency_hz == pytest.approx(1591.549, rel=1e-6)
    assert corner.there == 1
    off = factors(parts, draw(parts, 4000)[:80])
    wanted = np.quantile(1591.5494 / off.prod(axis=1), [0.05, 0.95])
    assert corner.frequency_hz == pytest.approx(wanted.tolist(), rel=1e-5)


def test_the_band_of_a_low_pass_is_that_of_its_formula(low_pass: Circuit) -> None:
    parts = tolerances(low_pass)
    found = spread(join(low_pass), {}, parts, builds=3000, frequency_hz=HZ)
    corner = 1591.5494309189535 / factors(parts, draw(parts, 3000)).prod(axis=1)
    gain = -10 * np.log10(1 + (HZ / corner[:, None]) ** 2)
    low, high = np.quantile(gain, [0.05, 0.95], axis=0)
    np.testing.assert_allclose(found.gain.low, low, atol=1e-9)
    np.testing.assert_allclose(found.gain.high, high, atol=1e-9)
    slowest = -10 * np.log10(1 + (HZ * 1.01 * 1.1 / 1591.5494309189535) ** 2)
    np.testing.assert_allclose(found.gain.worst_low, slowest, atol=1e-9)


def test_the_capacitor_of_ten_percent_counts_before_the_resistor_of_one(
    low_pass: Circuit,
) -> None:
    """Both move the corner alike (−1): ten times the error does ten times as much."""
    found = spread(join(low_pass), {}, tolerances(low_pass), builds=500)
    assert [effect.part.name for effect in found.parts] == ["C1", "R1"]
    assert found.parts[0].rms_db == pytest.approx(10 * found.parts[1].rms_db, rel=0.1)
    assert [effect.part.name for effect in found.worth_tighter] == ["C1"]
    # 5 % in its place: half, but for the resistor
    assert found.tighter_db == pytest.approx(found.most_db[0] / 2, rel=0.1)


@pytest.mark.parametrize(
    "name", ["passive_bass", "tone_control", "sallen_key_low_pass"]
)
def test_the_worst_builds_are_the_worst_of_all_corners(
    reference: Callable[[str], Circuit], name: str
) -> None:
    """A second method: every part at either limit, all 2^n of them."""
    circuit = reference(name)
    parts = tolerances(circuit)
    chain = join(circuit, Hookup(source_ohm=100.0))
    setting = {knob.name: 6.5 for knob in circuit.knobs}
    found = spread(chain, setting, parts, builds=500, frequency_hz=HZ)
    every = np.array(list(itertools.product((-1.0, 1.0), repeat=len(parts))))
    builds = Builds(Network(chain), setting, refs_of(parts))
    gain = builds.roots(factors(parts, every)).level_db(HZ)
    # corners are the extremes of what parts do one by one: here they are all of it
    np.testing.assert_allclose(found.gain.worst_high, gain.max(axis=0), atol=0.02)
    np.testing.assert_allclose(found.gain.worst_low, gain.min(axis=0), atol=0.02)


@pytest.mark.parametrize("name", ["tern", "plover", "whimbrel", "dunlin"])
def test_bands_hold_one_another(name: str, with_pickup: Hookup) -> None:
    circuit = read_circuit(name)
    chain = join(circuit, with_pickup)
    found = spread(chain, {}, tolerances(circuit), builds=1000, frequency_hz=HZ)
    for band, middle in ((found.gain, found.drawn_db), (found.shape, 0 * HZ)):
        assert np.all(band.worst_low <= band.low)
        assert np.all(band.low <= middle)
        assert np.all(middle <= band.high)
        assert np.all(band.high <= band.worst_high)
    assert found.unstable == 0
    rms = [effect.rms_db for effect in found.parts]
    assert rms == sorted(rms, reverse=True)
    assert found.most_db[0] <= found.worst_db
    for feature in found.features:
        low, high = feature.frequency_hz
        assert low <= feature.drawn.frequency_hz <= high


def test_the_house_question_is_a_matter_of_design_and_not_of_tolerance(
    with_pickup: Hookup,
) -> None:
    """Nothing that parts are off brings plover's missing peak back."""
    circuit = read_circuit("plover")
    found = spread(join(circuit, with_pickup), {}, tolerances(circuit), builds=1000)
    assert not any(each.drawn.kind == "peak" for each in found.features)
    assert found.worst_db < 3


def test_builds_are_the_same_every_time(low_pass: Circuit) -> None:
    one, two = (
        spread(join(low_pass), {}, tolerances(low_pass), builds=300) for _ in range(2)
    )
    np.testing.assert_array_equal(one.gain.low, two.gain.low)
    other = spread(join(low_pass), {}, tolerances(low_pass), builds=300, seed=2)
    assert np.any(other.gain.low != one.gain.low)


def test_what_can_not_be_told_is_refused(drawn: Drawn, low_pass: Circuit) -> None:
    with pytest.raises(RequestError, match="drawn: there is no part to be off"):
        spread(join(low_pass), {}, ())
    with pytest.raises(RequestError, match="at least 100 builds tell something, got 5"):
        spread(join(low_pass), {}, tolerances(low_pass), builds=5)
    volume = drawn(Pot("P1", 1e4, Taper("linear"), "level", ("gnd", "in"), "out"))
    chain = join(volume, Hookup(source_ohm=1e3))
    with pytest.raises(RequestError, match="nothing comes out with level 0"):
        spread(chain, {"level": 0}, tolerances(volume))
