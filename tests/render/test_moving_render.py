# SPDX-License-Identifier: GPL-3.0-or-later
"""Knobs and switches that move while a take plays, through the real commands.

What a move sounds like is held against circuits integrated in time in
tests/digital/test_moving_truth.py; here it is held against the fixed settings at its
ends, and against the runner of moves itself.
"""

import json
from pathlib import Path

import numpy as np
import pytest
from commands import drawn, refused, tonebench
from sounds import RATE, noise, read_clip, write_float

from tonebench.audio.take import Take
from tonebench.circuit.circuit import Circuit
from tonebench.circuit.files import read_circuit, read_pickup
from tonebench.circuit.hookup import Chain, Hookup, join
from tonebench.digital.cascade import design
from tonebench.digital.moving import STEP_FRAMES, STEPS_OF_DELAY, MovingRunner
from tonebench.network.nodal import Network
from tonebench.network.roots import find_roots
from tonebench.plan.moves import moving_setting
from tonebench.render.offline import render_take

Capsys = pytest.CaptureFixture[str]
MOVE = [[0.1, 2], [0.2, 8]]


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    write_float(tmp_path / "take.wav", noise(RATE // 2))
    return tmp_path


def stage(name: str) -> Chain:
    circuit: Circuit = read_circuit(name)
    return join(circuit, Hookup({"": read_pickup("sedge")}, cable_farad=700e-12))


def test_a_moved_knob_stands_at_its_ends_before_and_after(desk: Path) -> None:
    around = ("--pickup", "sedge", "--cable", "700p")
    words = ("render", "take.wav", "tern", *around)
    assert tonebench(*words, "-o", "m.wav", "--move", "tilt=0.1:2,0.2:8") == 0
    for place in (2, 8):
        assert tonebench(*words, "-o", f"{place}.wav", "--set", f"tilt={place}") == 0
    moved, low, high = (read_clip(desk / f"{x}.wav")[1] for x in ("m", "2", "8"))
    begins = int(0.1 * RATE)
    ends = int(0.2 * RATE) + (2 + STEPS_OF_DELAY) * STEP_FRAMES
    np.testing.assert_array_equal(moved[:begins], low[:begins])
    # the last filter was restarted warm: what its slow poles forgot is all that differs
    assert np.abs(moved[ends:] - high[ends:]).max() < 1e-3
    assert np.abs(moved[begins:] - low[begins:]).max() > 0.01


@pytest.mark.parametrize("block_frames", [17, 4096, 65536])
def test_a_render_is_what_the_runner_of_moves_gives(
    desk: Path, block_frames: int
) -> None:
    chain = stage("plover")
    changes = {"bass": MOVE, "centre": 3}
    take = Take(desk / "take.wav")
    render_take(take, chain, changes, desk / "m.wav", block_frames=block_frames)
    network = Network(chain)
    steps = moving_setting(chain.controls, changes).schedule(RATE)
    cascades = [(k, design(find_roots(network, s)[0], RATE)) for k, s in steps]
    assert len(cascades) > 50
    wanted = MovingRunner(cascades).process(read_clip(take.audio)[1])
    np.testing.assert_array_equal(
        read_clip(desk / "m.wav")[1], wanted.astype(np.float32)
    )


def test_two_inputs_move_together(desk: Path) -> None:
    write_float(desk / "two.wav", noise(RATE // 2, 2))
    words = ("render", "two.wav", "dunlin", "--pickup", "sedge")
    assert tonebench(*words, "-o", "m.wav", "--move", "tone=0.1:10,0.2:3") == 0
    assert tonebench(*words, "-o", "3.wav", "--set", "tone=3") == 0
    moved, after = (read_clip(desk / f"{name}.wav")[1] for name in ("m", "3"))
    assert moved.shape == (RATE // 2, 1)
    ends = int(0.2 * RATE) + (2 + STEPS_OF_DELAY) * STEP_FRAMES
    assert np.abs(moved[ends:] - after[ends:]).max() < 1e-3
    assert np.abs(moved[:4000] - after[:4000]).max() > 0.01


def test_a_switch_steps(desk: Path) -> None:
    words = ("render", "take.wav", "whimbrel")
    assert tonebench(*words, "-o", "m.wav", "--move", "corner=0:25,0.2:75") == 0
    assert tonebench(*words, "-o", "25.wav", "--set", "corner=25") == 0
    moved, before = (read_clip(desk / f"{name}.wav")[1] for name in ("m", "25"))
    steps_at = int(0.2 * RATE)
    np.testing.assert_array_equal(moved[:steps_at], before[:steps_at])
    assert np.abs(moved[steps_at + 1000 :] - before[steps_at + 1000 :]).max() > 0.01


COMPARISON = """
schema = 1
take = "take.wav"
pickup = "sedge"
[a]
circuit = "whimbrel"
[b]
circuit = "whimbrel"
[[pairings]]
name = "opens"
b = { bell = [[0.1, 2], [0.2, 8]], corner = [[0, "25"], [0.3, "75"]] }
"""


def test_a_pairing_moves_and_says_so(desk: Path, capsys: Capsys) -> None:
    drawn(desk, "file", COMPARISON)
    assert tonebench("compare", "file.toml", "-o", "out") == 0
    told = capsys.readouterr().out
    assert told.startswith(
        "Only the settings differ: bell 5 against 2 at 0.1 s → 8 at 0.2 s, "
        "corner 25 against 25 at 0 s → 75 at 0.3 s\n"
    )
    assert "curves show how the knobs stand at the start of the take" in told
    manifest = json.loads((desk / "out" / "manifest.json").read_bytes())
    b = manifest["pairings"][0]["clips"]["b"]
    assert b["settings"]["bell"] == [[0.1, 2.0], [0.2, 8.0]]
    assert b["settings"]["corner"] == [[0.0, "25"], [0.3, "75"]]

    words = ("render", "take.wav", "whimbrel", "--pickup", "sedge", "-o", "m.wav")
    moves = ("--move", "bell=0.1:2,0.2:8", "--move", "corner=0:25,0.3:75")
    assert tonebench(*words, *moves) == 0
    clip = read_clip(desk / "out" / b["file"])[1]
    wanted = read_clip(desk / "m.wav")[1] * 10 ** (b["gain_db"] / 20)
    assert np.abs(clip - wanted).max() < 2**-23


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--move", "tilt=0:5", "--set", "tilt=3"), "tilt is set and moved"),
        (("--move", "tilt=0:5,0:6"), "must rise from point to point"),
        (("--move", "tilt=0:11"), "position must be from 0 to 10, got 11"),
        (("--move", "tillt=0:5"), "did you mean 'tilt'?"),
        (("--move", "tilt"), "write it like bass=0:5,4:10"),
    ],
)
def test_a_move_that_makes_no_sense_is_refused(
    desk: Path, capsys: Capsys, words: tuple[str, ...], told: str
) -> None:
    asked = ("render", "take.wav", "tern", "-o", "clip.wav", *words)
    assert told in refused(capsys, 2, *asked)
    assert not (desk / "clip.wav").exists()
