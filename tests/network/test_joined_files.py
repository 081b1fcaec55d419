# SPDX-License-Identifier: GPL-3.0-or-later
"""Circuits joined by a comparison file, against one drawing of all that, by hand."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from commands import asked, drawn, tonebench
from numpy.typing import NDArray
from sounds import noise, write_float

from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Chain, join
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.plan.comparison import Comparison
from tonebench.plan.files import read_comparison

Complex = NDArray[np.complex128]
Capsys = pytest.CaptureFixture[str]
HZ = np.geomspace(20, 20_000, 61)

#: Passive, so that all that follows loads it.
EARLY = """
schema = 1
input = "in"
output = "out"
[knobs.level]
[parts]
R1 = { resistor = "4k7", across = ["in", "a"] }
C1 = { capacitor = "10n", across = ["a", "gnd"] }
[parts.P1]
pot = "100k"
taper = "linear"
knob = "level"
ends = ["gnd", "a"]
wiper = "out"
"""
#: Passive at its input, an op-amp at its output.
MIDDLE = """
schema = 1
input = "in"
output = "out"
[knobs.tone]
[parts]
R1 = { resistor = "22k", across = ["in", "a"] }
C1 = { capacitor = "4n7", across = ["a", "gnd"] }
P1 = { pot = "250k", taper = "audio", knob = "tone", across = ["a", "x"] }
C2 = { capacitor = "22n", across = ["x", "gnd"] }
R2 = { resistor = "680k", across = ["a", "bias"] }
U1 = { opamp = "generic", plus = "a", minus = "m", out = "o" }
R3 = { resistor = "10k", across = ["m", "gnd"] }
R4 = { resistor = "22k", across = ["o", "m"] }
R5 = { resistor = "5k6", across = ["o", "out"] }
"""
#: Passive, with a switch.
LATE = """
schema = 1
input = "in"
output = "out"
[switches.dull]
positions = ["on", "off"]
start = "off"
[parts]
C1 = { capacitor = "220n", across = ["in", "a"] }
R1 = { resistor = "47k", across = ["a", "gnd"] }
R2 = { resistor = "10k", across = ["a", "out"] }
S1 = { switch = "dull", common = "out", throws = { on = "z" } }
C2 = { capacitor = "4n7", across = ["z", "gnd"] }
"""
COIL = """
schema = 1
[pickup]
resistance = "5k2"
inductance = "1.7H"
capacitance = "95p"
losses = "410k"
"""
# One drawing of it all, with names of its own. The coil stands at `coil`, the first
# circuit ends at `e`, the second begins at `f` and ends at `g`, the third ends at `h`.
# Level at 3 and tone at 8; dull is on, which puts its capacitor at the output.
MERGED = """
schema = 1
input = "voltage"
output = "h"
[parts]
LP = {{ inductor = "1.7H", winding = "5k2", across = ["voltage", "coil"] }}
CP = {{ capacitor = "95p", across = ["coil", "gnd"] }}
RP = {{ resistor = "410k", across = ["coil", "gnd"] }}
CI = {{ capacitor = "40p", across = ["coil", "gnd"] }}

RA = {{ resistor = "4k7", across = ["coil", "d"] }}
CA = {{ capacitor = "10n", across = ["d", "gnd"] }}
RB = {{ resistor = "70k", across = ["d", "e"] }}
RC = {{ resistor = "30k", across = ["e", "gnd"] }}

RD = {{ resistor = "22k", across = ["{f}", "k"] }}
CB = {{ capacitor = "{cb}", across = ["k", "gnd"] }}
RE = {{ resistor = "{re!r}", across = ["k", "l"] }}
CC = {{ capacitor = "22n", across = ["l", "gnd"] }}
RF = {{ resistor = "680k", across = ["k", "gnd"] }}
UA = {{ opamp = "generic", plus = "k", minus = "n", out = "p" }}
RG = {{ resistor = "10k", across = ["n", "gnd"] }}
RH = {{ resistor = "22k", across = ["p", "n"] }}
RI = {{ resistor = "5k6", across = ["p", "g"] }}

CD = {{ capacitor = "220n", across = ["g", "q"] }}
RJ = {{ resistor = "47k", across = ["q", "gnd"] }}
RK = {{ resistor = "10k", across = ["q", "h"] }}
CE = {{ capacitor = "4n7", across = ["h", "gnd"] }}

CF = {{ capacitor = "700p", across = ["{lead}", "gnd"] }}
RL = {{ resistor = "220k", across = ["h", "gnd"] }}
CG = {{ capacitor = "150p", across = ["h", "gnd"] }}
"""
BUFFER = """
RM = { resistor = "1M", across = ["e", "gnd"] }
UB = { opamp = "ideal", plus = "e", minus = "f", out = "f" }
"""
COMPARISON = """
schema = 1
take = "take.wav"
b.circuit = "merged"
[a]
circuit = "middle"
pickup = "coil"
cable = "700p"
inner = "40p"
load = "220k"
load_capacitance = "150p"
before = {{ circuit = "early", settings = {{ level = 3 }} }}
into = {{ circuit = "late", settings = {{ dull = "on" }} }}
place = "{place}"
{more}
[[pairings]]
name = "one"
a = {{ tone = 8 }}
"""
#: A track of which 15 % are left at half of the rotation: (bˣ − 1)/(b − 1) with
#: b = (100/15 − 1)², at 8 of 10.
TONE_OHM = 250e3 * ((100 / 15 - 1) ** 1.6 - 1) / ((100 / 15 - 1) ** 2 - 1)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder with the three circuits and a coil."""
    for name, text in (("early", EARLY), ("middle", MIDDLE), ("late", LATE)):
        drawn(tmp_path, name, text)
    drawn(tmp_path, "coil", COIL)
    write_float(tmp_path / "take.wav", noise(24_000))
    return tmp_path


def compared(folder: Path, place: str, more: Sequence[str] = ()) -> Comparison:
    """Return the comparison of the joined circuits and the drawing of them all."""
    has_buffer = 'buffer = "input"' in more
    merged = MERGED.format(
        f="f" if has_buffer else "e",
        lead="e" if place == "floor" else "g",
        cb="10n" if 'parts = { C1 = "10n" }' in more else "4n7",
        re=TONE_OHM,
    )
    drawn(folder, "merged", merged + (BUFFER if has_buffer else ""))
    text = COMPARISON.format(place=place, more="\n".join(more))
    return read_comparison(drawn(folder, "comparison", text))


def gain(chain: Chain, setting: dict[str, float | str] | None = None) -> Complex:
    return response(Network(chain), setting or {}, HZ)[0]


OTHER_PART = 'parts = { C1 = "10n" }'
FOLLOWER = 'buffer = "input"'


@pytest.mark.parametrize("place", ["floor", "onboard"])
@pytest.mark.parametrize(
    "more", [(), (OTHER_PART,), (FOLLOWER,), (OTHER_PART, FOLLOWER)], ids=" ".join
)
def test_what_a_file_joins_is_one_drawing_of_it_all(
    folder: Path, place: str, more: tuple[str, ...]
) -> None:
    made = compared(folder, place, more)
    (pairing,) = made.pairings
    joined = gain(made.a.chain, dict(pairing.a))
    np.testing.assert_allclose(joined, gain(made.b.chain), rtol=1e-12)


def test_every_one_of_those_is_heard_to_differ(folder: Path) -> None:
    """Place, part and follower each change the sound, so none is passed over."""
    kinds = [
        (place, more)
        for place in ("floor", "onboard")
        for more in ((), (OTHER_PART,), (FOLLOWER,))
    ]
    levels = []
    for place, more in kinds:
        made = compared(folder, place, more)
        levels.append(20 * np.log10(np.abs(gain(made.a.chain))))
    for k, one in enumerate(levels):
        for other in levels[k + 1 :]:
            assert np.abs(one - other).max() > 0.1


def test_settings_of_a_neighbour_are_where_they_were_put(folder: Path) -> None:
    made = compared(folder, "floor")
    setting = made.a.chain.setting({})
    assert setting == {"tone": 5, "early.level": 3, "late.dull": "on"}
    turned = gain(made.a.chain, {"early.level": 9, "late.dull": "off"})
    assert np.abs(20 * np.log10(np.abs(turned / gain(made.a.chain)))).min() > 3


@pytest.mark.parametrize("place", ["floor", "onboard"])
def test_joined_is_not_multiplied(folder: Path, place: str) -> None:
    """The circuits one by one, nothing behind them, would give another curve."""
    chain = compared(folder, place).a.chain
    alone = [
        gain(join(read_circuit(folder / f"{name}.toml")), setting)
        for name, setting in (
            ("early", {"level": 3.0}), ("middle", {}), ("late", {"dull": "on"}),
        )
    ]  # fmt: skip
    s = 2j * np.pi * HZ
    coil = 1 / (1 + (5.2e3 + 1.7 * s) * (1 / 410e3 + s * 135e-12))  # R + sL, C, losses
    product = np.prod([coil, *alone], axis=0)
    off_db = 20 * np.log10(np.abs(gain(chain) / product))
    assert np.abs(off_db).max() > 3


def test_two_before_and_two_behind_stand_in_the_order_of_writing(folder: Path) -> None:
    """RC after RC, each with values of its own: a chain matrix, multiplied by hand."""
    values = {
        "r1": (1e3, 1e-9),
        "r2": (3e3, 20e-9),
        "r3": (9e3, 5e-9),
        "r4": (27e3, 2e-9),
    }
    values["r5"] = (47e3, 1e-9)
    for name, (ohm, farad) in values.items():
        text = (
            'schema = 1\ninput = "in"\noutput = "out"\n[parts]\n'
            f'R1 = {{ resistor = "{ohm!r}", across = ["in", "out"] }}\n'
            f'C1 = {{ capacitor = "{farad!r}", across = ["out", "gnd"] }}\n'
        )
        drawn(folder, name, text)
    text = (
        'schema = 1\ntake = "take.wav"\nb.circuit = "r3"\n[a]\ncircuit = "r3"\n'
        'before = ["r1", "r2"]\ninto = ["r4", { circuit = "r5" }]\n'
    )
    made = read_comparison(drawn(folder, "comparison", text))
    assert "r1 → r2 → r3 → r4 → r5" in made.a.chain.line
    s = 2j * np.pi * HZ
    matrix = np.broadcast_to(np.eye(2, dtype=complex), (len(s), 2, 2))
    for ohm, farad in values.values():
        step = np.empty((len(s), 2, 2), complex)
        step[:, 0, 0], step[:, 0, 1] = 1 + ohm * s * farad, ohm
        step[:, 1, 0], step[:, 1, 1] = s * farad, 1
        matrix = matrix @ step
    np.testing.assert_allclose(gain(made.a.chain), 1 / matrix[:, 0, 0], rtol=1e-12)


# The follower


@pytest.mark.parametrize("name", ["tern", "plover", "whimbrel"])
def test_behind_a_follower_a_circuit_is_what_it_is_behind_nothing(
    folder: Path, name: str
) -> None:
    """The pickup on its lead and 1 MΩ in closed form, times the circuit by itself."""
    text = (
        'schema = 1\ntake = "take.wav"\npickup = "coil"\ncable = "700p"\n'
        f'b.circuit = "straight"\n[a]\ncircuit = "{name}"\nbuffer = "input"\n'
        'load = "10k"\n'
    )
    made = read_comparison(drawn(folder, "comparison", text))
    assert f"coil → 700 pF lead → buffer → {name} → 10 kΩ" == made.a.chain.line
    s = 2j * np.pi * HZ
    coil = 1 / (1 + (5.2e3 + 1.7 * s) * (1 / 410e3 + 1e-6 + s * (95e-12 + 700e-12)))
    text = 'schema = 1\ntake = "take.wav"\nload = "10k"\nb.circuit = "straight"\n'
    alone = read_comparison(drawn(folder, "alone", f'{text}a.circuit = "{name}"\n'))
    wanted = coil * gain(alone.a.chain)
    np.testing.assert_allclose(gain(made.a.chain), wanted, rtol=1e-9)


# The whole way


def test_the_command_hears_no_difference_between_joined_and_drawn(
    folder: Path, capsys: Capsys, monkeypatch: pytest.MonkeyPatch
) -> None:
    compared(folder, "onboard", (OTHER_PART, FOLLOWER))
    monkeypatch.chdir(folder)
    assert tonebench("compare", "comparison.toml", "-o", "out") == 0
    told = capsys.readouterr().out
    assert "At one level the curves of A and B are the same." in told
    assert "RMS is the same already" in told  # under 3 s loudness misleads


def test_options_join_as_keys_do(
    folder: Path, capsys: Capsys, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(folder)
    text = (
        'schema = 1\ntake = "take.wav"\nb.circuit = "middle"\n[a]\ncircuit = "middle"\n'
    )
    keys = ("before = 'early'", "into = 'late'", "buffer = 'input'", "load = '1M'")
    made = read_comparison(drawn(folder, "comparison", text + "\n".join(keys)))
    words = ("--before", "early.toml", "--into", "late.toml", "--buffer", "input")
    at = ",".join(repr(hz) for hz in HZ.tolist())
    told = asked(capsys, "curves", "middle", *words, "--load", "1M", "--at", at)
    assert told["chain"] == made.a.chain.line
    wanted_db = 20 * np.log10(np.abs(gain(made.a.chain)))
    np.testing.assert_allclose(told["curves"][0]["gain_db"], wanted_db, atol=1e-10)
