# SPDX-License-Identifier: GPL-3.0-or-later
"""A delay by a part of a frame, and filters that null with their leads taken out."""

from itertools import product

import numpy as np
import pytest
from numpy.typing import NDArray

from tonebench.circuit.controls import Settings
from tonebench.circuit.files import read_circuit, read_pickup
from tonebench.circuit.hookup import Hookup, join
from tonebench.digital.cascade import Cascade, design, lead_frames
from tonebench.digital.delay import LATENCY_FRAMES, Delay, delay_taps, delayed
from tonebench.digital.runner import Runner
from tonebench.network.nodal import Network
from tonebench.network.roots import Roots, find_roots

Real = NDArray[np.float64]

HOOKUP = Hookup({"": read_pickup("sedge")}, cable_farad=700e-12, load_ohm=1e6)
CIRCUITS = ("tern", "plover", "whimbrel", "dunlin")


def db(value: float) -> float:
    return float(20 * np.log10(value))


def roots_at(name: str, setting: Settings) -> Roots:
    network = Network(join(read_circuit(name), HOOKUP))
    return find_roots(network, setting, drive="together")[0]


def noise(frames: int, channels: int = 1) -> Real:
    return np.random.default_rng(11).standard_normal((frames, channels))


@pytest.mark.parametrize("delay", [-0.7, 0.05, 0.31, 0.5, 1.1, 7.9])
def test_delay_is_the_ideal_one_up_to_20_khz(delay: float) -> None:
    """Against e^{−jωD}; 1e-3 frame of delay at 5 kHz and 44.1 kHz is 0.04 degrees."""
    angle = 2 * np.pi * np.linspace(0, 20_000, 2000) / 44_100
    taps = delay_taps(delay)
    got = np.exp(-1j * np.outer(angle, np.arange(len(taps)) - LATENCY_FRAMES)) @ taps
    assert db(np.abs(got - np.exp(-1j * angle * delay)).max()) <= -94
    low = (angle > 0) & (angle < 2 * np.pi * 5000 / 44_100)
    off = np.angle(got * np.exp(1j * angle * delay))[low] / angle[low]
    assert np.abs(off).max() < 1e-3


def test_whole_delay_moves_every_sample_and_changes_none() -> None:
    samples = noise(300, 2)
    assert np.array_equal(delayed(samples, 0.0), samples)
    assert np.array_equal(delayed(samples, 3.0)[3:], samples[:-3])
    assert np.array_equal(delayed(samples, -8.0)[:-8], samples[8:])
    assert not delayed(samples, 3.0)[:3].any()


@pytest.mark.parametrize("size", [1, 17, 64, 509, 4096])
@pytest.mark.parametrize("frames", [0, 1, 2, 5003])
def test_blocks_of_any_size_give_the_same_bits(size: int, frames: int) -> None:
    samples = noise(frames, 3)
    runner = Delay(0.37, 3)
    blocks = [runner.process(samples[k : k + size]) for k in range(0, frames, size)]
    at_once = Delay(0.37, 3).process(samples)
    assert at_once.shape == (frames, 3)
    assert np.array_equal(np.concatenate([samples[:0], *blocks]), at_once)
    runner.reset()
    assert np.array_equal(runner.process(samples), at_once)


@pytest.mark.parametrize("delay", [8.5, -9.0, float("nan")])
def test_delay_out_of_reach_is_refused(delay: float) -> None:
    with pytest.raises(ValueError, match="from -8 to 8 frames"):
        delay_taps(delay)


@pytest.mark.parametrize("name", CIRCUITS)
def test_lead_taken_out_leaves_less_than_a_twentieth_of_a_frame(name: str) -> None:
    """Phase delay against the circuit's own, 50 Hz to 5 kHz, knobs at their ends."""
    knobs = [knob.name for knob in read_circuit(name).knobs]
    ends = [*product((0.0, 10.0), repeat=len(knobs)), (5.0,) * len(knobs)]
    hz = np.geomspace(50, 5000, 60)
    for positions in ends:
        roots = roots_at(name, dict(zip(knobs, positions, strict=True)))
        for rate in (44_100, 48_000, 96_000) if not roots.is_silent else ():
            angle = 2 * np.pi * hz / rate
            cascade = design(roots, rate)
            taps = delay_taps(lead_frames(cascade, roots))
            turns = np.outer(angle, np.arange(len(taps)) - LATENCY_FRAMES)
            in_time = cascade.response(hz) * (np.exp(-1j * turns) @ taps)
            off = np.angle(in_time / roots.response(hz)) / angle
            assert np.abs(off).max() < 0.05


def band_limited(frames: int, rate: int, top_hz: float) -> Real:
    """Return noise below `top_hz`, silent at its ends, the same at every rate."""
    count = round(top_hz * frames / rate)
    random = np.random.default_rng(7)
    spectrum = np.zeros(frames // 2 + 1, complex)
    spectrum[1:count] = random.standard_normal(2 * (count - 1)).view(complex)
    tone = np.fft.irfft(spectrum, frames) * frames
    time = np.arange(frames) / frames
    return np.asarray(tone * np.exp(-(((time - 0.5) / 0.09) ** 2)))[:, None]


def null_db(a: Real, b: Real) -> float:
    return db(float(np.linalg.norm(a - b) / np.linalg.norm(a)))


@pytest.mark.parametrize("name", CIRCUITS)
def test_one_circuit_at_two_rates_nulls_once_the_leads_are_taken_out(name: str) -> None:
    """The same noise below 5 kHz at 48 and 96 kHz: leads of 0.75 frame, of two lengths.

    Every second frame of the faster one is the slower one's time. What stays is the
    phase that the slower design leaves, a few tenths of a degree.
    """
    roots = roots_at(name, {})
    plain, compensated = [], []
    for rate in (48_000, 96_000):
        cascade = design(roots, rate)
        heard = Runner(cascade, 1).process(band_limited(2 * rate, rate, 5000))
        later = delayed(heard, lead_frames(cascade, roots))
        every = rate // 48_000
        plain.append(heard[::every])
        compensated.append(later[::every])
    assert null_db(*plain) > -28
    assert null_db(*compensated) < -55


def test_difference_of_two_chains_is_that_of_their_curves() -> None:
    """A − B on a 300 Hz sine at 44.1 kHz, against |H_A − H_B| from poles and zeros.

    What a pickup does to tern there, against a plain source: −30 dB, most of it a lag.
    The leads differ by three quarters of a frame, since only the pickup has roots at
    infinity, and hide a good part of that lag.
    """
    rate, hz = 44_100, 300.0
    sine = np.sin(2 * np.pi * hz * np.arange(3 * rate) / rate)[:, None]
    plain, in_time, gains = [], [], []
    for hookup in (HOOKUP, Hookup(source_ohm=100.0, load_ohm=1e6)):
        (roots,) = find_roots(Network(join(read_circuit("tern"), hookup)), {})
        cascade = design(roots, rate)
        plain.append(Runner(cascade, 1).process(sine))
        in_time.append(delayed(plain[-1], lead_frames(cascade, roots)))
        gains.append(roots.response(np.array([hz]))[0])
    wanted = db(abs(gains[0] - gains[1]))

    def left_db(pair: list[Real]) -> float:
        second = (pair[0] - pair[1])[rate : 2 * rate, 0]
        return db(2 * np.abs(np.fft.rfft(second))[int(hz)] / rate)

    assert left_db(in_time) == pytest.approx(wanted, abs=0.1)
    assert abs(left_db(plain) - wanted) > 3


def test_filter_that_leads_by_half_a_frame_hides_what_a_null_should_show() -> None:
    """2·sin(ωD/2): the null of a signal with itself half a frame later, closed form."""
    straight = Runner(Cascade(np.array([[1.0, 0, 0, 1, 0, 0]]), 48_000), 1)
    sine = np.sin(2 * np.pi * 1000 * np.arange(48_000) / 48_000)[:, None]
    middle = slice(1000, -1000)
    later = delayed(straight.process(sine), 0.5)
    wanted = db(2 * np.sin(np.pi * 1000 * 0.5 / 48_000))
    assert null_db(sine[middle], later[middle]) == pytest.approx(wanted, abs=0.01)
    again = delayed(later, -0.5)
    assert null_db(sine[middle], again[middle]) < -90
