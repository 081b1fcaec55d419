# SPDX-License-Identifier: GPL-3.0-or-later
"""The nearest setting: recovered where it is known, else as good as a global search."""

import itertools

import numpy as np
import pytest
from scipy.optimize import differential_evolution

from tonebench.circuit.circuit import STRAIGHT
from tonebench.circuit.controls import Knob, Settings
from tonebench.circuit.files import inspect_text, read_circuit
from tonebench.circuit.hookup import Chain, Hookup, Neighbour, Pickup, join
from tonebench.errors import RequestError
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.network.turning import Turning
from tonebench.study.hearing import erb_grid
from tonebench.study.nearest import nearest
from tonebench.study.search import MOST_GAIN_DB, level_db

COIL = Pickup("sedge", 6100.0, 2.2, 120e-12, losses_ohm=330e3)
#: What stays still while 20 pairs are searched: at most three knobs are free.
STILL: dict[str, Settings] = {
    "tern": {},
    "plover": {"level": 10.0},
    "whimbrel": {},
    "dunlin": {"blend": 5.0, "mode": "volumes"},
}


def chain(name: str, load_ohm: float = 1e6) -> Chain:
    return join(
        read_circuit(name), Hookup({"": COIL}, cable_farad=700e-12, load_ohm=load_ohm)
    )


def seeded_pairs() -> list[tuple[str, str, int]]:
    names = list(STILL)
    pairs = [(a, b) for a, b in itertools.product(names, names)]
    return [(a, b, seed) for seed, (a, b) in enumerate([*pairs, *pairs[1:5]])]


def drawn_setting(of: Chain, seed: int) -> dict[str, float | str]:
    draw = np.random.default_rng(seed)
    return {
        c.name: float(draw.uniform(1, 9))
        if isinstance(c, Knob)
        else str(draw.choice(c.positions))
        for c in of.controls
    }


@pytest.mark.parametrize(("a", "b", "seed"), seeded_pairs())
def test_nearest_setting_is_as_near_as_a_global_search_finds(
    a: str, b: str, seed: int
) -> None:
    """Differential evolution (Storn, Price 1997) on the same 96 places; 0.02 dB."""
    chain_a, chain_b = chain(a), chain(b, 10e3)
    wanted = drawn_setting(chain_a, seed)
    still = STILL[b]
    found = nearest(chain_a, [wanted], chain_b, still)

    hz = erb_grid(96)
    level_a = level_db(response(Network(chain_a), wanted, hz).sum(0))
    network = Network(chain_b)
    knobs = [
        c.name for c in chain_b.controls if isinstance(c, Knob) and c.name not in still
    ]
    switches = [
        c for c in chain_b.controls if not isinstance(c, Knob) and c.name not in still
    ]
    best = np.inf
    for positions in itertools.product(*(s.positions for s in switches)):
        switched = dict(zip((s.name for s in switches), positions, strict=True))
        turning = Turning(network, {**still, **switched}, hz, knobs)

        def rms(x: np.ndarray, turning: Turning = turning) -> np.ndarray:
            levels = level_db(turning.responses(x.T))
            apart = levels - levels.mean(1, keepdims=True) - level_a + level_a.mean()
            quiet = level_a.mean() - levels.mean(1) - MOST_GAIN_DB
            return np.hypot(np.sqrt(np.mean(apart**2, axis=1)), 10 * quiet.clip(0))

        other = differential_evolution(
            rms,
            [(1e-6, 10)] * len(knobs),
            rng=seed,
            vectorized=True,
            updating="deferred",
            popsize=8,
            maxiter=40,
            polish=False,
        )
        best = min(best, float(other.fun))
    assert found.residual_db_rms <= best + 0.02


@pytest.mark.parametrize(
    ("name", "setting"),
    [
        ("tern", {"tilt": 7.3}),
        ("plover", {"bass": 3.1, "bell": 7.7, "centre": 6.2}),
        ("whimbrel", {"bell": 2.4, "corner": "75"}),
    ],
)
def test_a_circuit_finds_its_own_setting_again(name: str, setting: Settings) -> None:
    found = nearest(chain(name), [setting], chain(name))
    assert found.residual_db_rms < 0.011
    for control, position in setting.items():
        if isinstance(position, str):
            assert found.settings[control] == position
        else:
            assert found.settings[control] == pytest.approx(position, abs=0.1)
    assert set(found.turned) == set(setting)
    assert found.gain_db[0] == pytest.approx(0, abs=0.05)
    assert found.misfits == ()


LOUDER = """
schema = 1
input = "in"
output = "out"
[parts]
R1 = { resistor = "10k", across = ["in", "m"] }
R2 = { resistor = "20k", across = ["m", "out"] }
U1 = { opamp = "ideal", plus = "bias", minus = "m", out = "out" }
"""


def test_gain_is_what_b_must_be_turned_up_by() -> None:
    """An inverting stage of 20k/10k is 20·lg 2 = 6.0206 dB louder (textbook)."""
    louder = inspect_text(LOUDER, name="louder").circuit
    assert louder
    found = nearest(join(louder), [{}], join(STRAIGHT))
    assert found.gain_db == (pytest.approx(6.0206, abs=1e-4),)
    assert found.residual_db_rms == pytest.approx(0, abs=1e-9)
    assert found.settings == {}


def test_what_stays_different_is_where_the_pickups_peak_is_missing() -> None:
    """The peak stands at 1/(2π·√(L·C)) = 3747 Hz, and falls 13 dB without load."""
    found = nearest(chain("tern"), [{}], chain("plover"))
    assert found.worst.frequency_hz == pytest.approx(3747, rel=0.03)
    assert found.worst.difference_db < -6
    assert found.misfits[0] == found.worst
    assert found.residual_db_rms < found.start_db_rms
    worst_octave = max(found.octaves_db_rms, key=found.octaves_db_rms.__getitem__)
    assert worst_octave == 4000
    assert found.difference_db.shape == (1, len(found.frequency_hz))


def test_several_settings_of_a_are_met_by_one_of_b_in_between() -> None:
    """A tilt is symmetrical in dB, so between 3 and 7 the nearest tilt is 5."""
    found = nearest(chain("tern"), [{"tilt": 3}, {"tilt": 7}], chain("tern"))
    assert found.settings["tilt"] == pytest.approx(5, abs=0.1)
    assert len(found.gain_db) == 2
    assert found.difference_db.shape[0] == 2


def test_a_control_that_is_fixed_stays() -> None:
    found = nearest(chain("tern"), [{"tilt": 8}], chain("tern"), {"tilt": 2})
    assert found.settings["tilt"] == 2


def test_a_knob_that_does_nothing_stays_where_it_starts() -> None:
    """In its place for volumes the harness' blend is out of the circuit."""
    found = nearest(chain("dunlin"), [{"neck": 4}], chain("dunlin"))
    assert found.settings["mode"] == "volumes"
    assert found.settings["blend"] == 5


def test_what_stands_behind_b_is_not_turned() -> None:
    into = (Neighbour(read_circuit("whimbrel"), {"bell": 8.0}),)
    hookup = Hookup({"": COIL}, cable_farad=700e-12, load_ohm=1e6, into=into)
    box = join(read_circuit("tern"), hookup)
    found = nearest(chain("tern"), [{}], box)
    assert found.settings["whimbrel.bell"] == 8
    assert found.settings["whimbrel.corner"] == "25"


def test_a_silent_circuit_has_no_match(drawn_volume: Chain) -> None:
    with pytest.raises(RequestError, match="drawn is silent at this setting"):
        nearest(drawn_volume, [{"volume": 0}], drawn_volume)
    with pytest.raises(RequestError, match="drawn is silent at every setting"):
        nearest(drawn_volume, [{}], drawn_volume, {"volume": 0})


@pytest.fixture
def drawn_volume() -> Chain:
    text = """
schema = 1
input = "in"
output = "out"
[knobs.volume]
start = 10
[parts]
R1 = { resistor = "10k", across = ["in", "a"] }
P1 = { pot = "90k", taper = "linear", knob = "volume", ends = ["gnd", "a"], wiper = "out" }
"""  # noqa: E501
    circuit = inspect_text(text, name="drawn").circuit
    assert circuit
    return join(circuit)


def test_unknown_control_of_b_is_refused() -> None:
    with pytest.raises(RequestError, match="there is no knob or switch 'tone'"):
        nearest(chain("tern"), [{}], chain("tern"), {"tone": 5})
