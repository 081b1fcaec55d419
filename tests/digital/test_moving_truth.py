# SPDX-License-Identifier: GPL-3.0-or-later
"""Knobs that turn, against the circuit itself integrated while they turn.

The circuit: the trapezoidal rule at 16 times the rate, legs of all pots new at every
sample (`time_domain.trapezoidal`, which shares only the drawing). The sound: 100 Hz and
3 kHz at 48 kHz. Spurious is what lies outside 0–600 and 2400–3600 Hz, under a Blackman
window over the half second in which the knobs turn from 0 to 10.
"""

import numpy as np
import pytest
import time_domain
from numpy.typing import NDArray
from tableau import Positions

from tonebench.circuit.files import read_circuit, read_pickup
from tonebench.circuit.hookup import Chain, Hookup, join
from tonebench.digital.cascade import design, lead_frames
from tonebench.digital.delay import delayed
from tonebench.digital.moving import STEP_FRAMES, Designs, MovingRunner
from tonebench.network.nodal import Network
from tonebench.network.roots import find_roots
from tonebench.plan.moves import MovingSetting, moving_setting

Real = NDArray[np.float64]

RATE = 48_000
FINER = 16
TURNS_AT_S, TURN_S = 0.25, 0.5
WHILE_TURNING = slice(round(TURNS_AT_S * RATE), round((TURNS_AT_S + TURN_S) * RATE))
#: A knob's position is asked for, warmed up over two steps, and reached after a third.
FOLLOWS_AFTER = 3 * STEP_FRAMES
GOAL_DB = -85.0

#: Circuit, knobs that turn, and what is measured: spurious energy of the filter and of
#: the integrated circuit, in dB.
SWEEPS = [
    ("tern", ("tilt",)),  # −104, −150
    ("tern", ("level",)),  # −105
    ("tern", ("tilt", "level")),  # −103, −137
    ("plover", ("bass",)),  # −111, −149
    ("plover", ("bell",)),  # −110, −152
    ("plover", ("centre",)),  # −110, −176
    ("plover", ("level",)),  # −105
    ("plover", ("bass", "bell", "centre")),  # −110
    ("plover", ("bass", "bell", "centre", "level")),  # −102, −133
    ("whimbrel", ("bell",)),  # −125, −155
]


def chain_of(name: str) -> Chain:
    sedge = read_pickup("sedge")
    return join(read_circuit(name), Hookup({"": sedge}, 0.0, 700e-12, load_ohm=1e6))


def two_tones(frames: int, rate: int) -> Real:
    time = np.arange(frames) / rate
    return np.sin(2 * np.pi * 100 * time) + np.sin(2 * np.pi * 3000 * time)


def turning(chain: Chain, knobs: tuple[str, ...]) -> MovingSetting:
    points = [[TURNS_AT_S, 0], [TURNS_AT_S + TURN_S, 10]]
    return moving_setting(chain.controls, dict.fromkeys(knobs, points))


def filtered(chain: Chain, moving: MovingSetting, sound: Real, rate: int) -> Real:
    network = Network(chain)
    designs = Designs(
        moving.schedule(rate),
        lambda setting: tuple(design(r, rate) for r in find_roots(network, setting)),
    )
    return MovingRunner(designs.channel()).process(sound[:, None])[:, 0]


def integrated(
    chain: Chain, knobs: tuple[str, ...], frames: int, late_frames: int = 0
) -> Real:
    """Return the circuit's own answer, its knobs turned `late_frames` later."""
    start = TURNS_AT_S + late_frames / RATE
    still = chain.setting(dict.fromkeys(knobs, 0.0))

    def positions(at: Real) -> Positions:
        turned = np.clip((at - start) / TURN_S * 10, 0, 10)
        return {**still, **dict.fromkeys(knobs, turned)}

    fine = two_tones(frames * FINER, RATE * FINER)
    return time_domain.trapezoidal(chain, positions, fine, RATE * FINER)[::FINER]


def spurious_db(sound: Real, rate: int = RATE) -> float:
    power = np.abs(np.fft.rfft(sound * np.blackman(len(sound)))) ** 2
    hz = np.fft.rfftfreq(len(sound), 1 / rate)
    wanted = (hz <= 600) | ((hz >= 2400) & (hz <= 3600))
    return float(10 * np.log10(power[~wanted].sum() / power.sum()))


def test_measure_of_spurious_sound_finds_what_was_put_there() -> None:
    """A tone at 1.3 kHz 60 dB below two tones of equal level is 63 dB below both."""
    sound = two_tones(RATE // 2, RATE)
    assert spurious_db(sound) < -140
    third = 1e-3 * np.sin(2 * np.pi * 1300 * np.arange(len(sound)) / RATE)
    assert spurious_db(sound + third) == pytest.approx(-63.01, abs=0.01)


@pytest.mark.parametrize(("name", "knobs"), SWEEPS)
def test_turned_knob_leaves_no_rubbish(name: str, knobs: tuple[str, ...]) -> None:
    chain = chain_of(name)
    sound = two_tones(WHILE_TURNING.stop + FOLLOWS_AFTER, RATE)
    out = filtered(chain, turning(chain, knobs), sound, RATE)
    assert spurious_db(out[WHILE_TURNING]) <= GOAL_DB
    late = slice(
        WHILE_TURNING.start + FOLLOWS_AFTER, WHILE_TURNING.stop + FOLLOWS_AFTER
    )
    assert spurious_db(out[late]) <= GOAL_DB


@pytest.mark.parametrize("rate", [44_100, 96_000])
def test_turned_knobs_leave_no_rubbish_at_other_rates(rate: int) -> None:
    chain, knobs = chain_of("plover"), ("bass", "bell", "centre", "level")
    sound = two_tones(round((TURNS_AT_S + TURN_S) * rate), rate)
    out = filtered(chain, turning(chain, knobs), sound, rate)
    assert spurious_db(out[round(TURNS_AT_S * rate) :], rate) <= GOAL_DB


@pytest.mark.parametrize(
    ("name", "knobs", "goal_db"),
    [
        ("tern", ("tilt", "level"), -60.0),  # −66
        ("plover", ("bass", "bell", "centre", "level"), -40.0),  # −43
        ("whimbrel", ("bell",), -55.0),  # −59
    ],
)
def test_turned_knobs_sound_as_the_circuit_does_while_they_turn(
    name: str, knobs: tuple[str, ...], goal_db: float
) -> None:
    """The whole difference in time: knobs 192 frames late, lead taken out.

    What is left is the circuit's own memory: its coils and capacitors answer a knob
    after their time constants, the longest at plover's shelf, a filter at once.
    """
    chain = chain_of(name)
    frames = WHILE_TURNING.stop + FOLLOWS_AFTER
    true = integrated(chain, knobs, frames, FOLLOWS_AFTER)
    assert spurious_db(true[WHILE_TURNING]) < -120  # the reference itself
    out = filtered(chain, turning(chain, knobs), two_tones(frames, RATE), RATE)
    (roots,) = find_roots(Network(chain), dict.fromkeys(knobs, 5.0))
    out = delayed(out[:, None], lead_frames(design(roots, RATE), roots))[:, 0]
    heard = slice(WHILE_TURNING.start, None)
    left = np.linalg.norm((out - true)[heard]) / np.linalg.norm(true[heard])
    assert 20 * np.log10(left) <= goal_db
