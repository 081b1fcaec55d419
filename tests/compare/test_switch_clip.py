# SPDX-License-Identifier: GPL-3.0-or-later
"""The clip that switches: A's and B's own samples by turns, and a straight mix between.

Its samples are held against the two clips beside it, as another reader reads them.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from commands import DIVIDER, LOW_PASS, VOLUME, drawn, names_in
from sounds import RATE, Real, noise, read_integers, sine, write_float

from tonebench.audio.take import Take
from tonebench.circuit.circuit import STRAIGHT
from tonebench.circuit.files import read_circuit
from tonebench.compare import measured as passes
from tonebench.compare.clips import write_clips
from tonebench.compare.manifest import manifest_of
from tonebench.compare.measured import measure
from tonebench.compare.switching import FADE_S
from tonebench.compare.written import Compared
from tonebench.plan.comparison import Comparison, Match, Pairing, Side
from tonebench.report.told import comparison_words

FADE = round(FADE_S * RATE)
PLAIN = "no clip that switches: the take has no rest or onset for it"


def picked(seconds: float, channels: int = 1, every_s: float = 0.8) -> Real:
    """Return bursts of noise that die away, each to its own seed."""
    frames = round(seconds * RATE)
    t = np.arange(frames) / RATE % every_s
    return noise(frames, channels, seed=4) * 10 ** (-3 * t / every_s)[:, None]


def run(folder: Path, samples: Real, **changes: Any) -> tuple[Path, Compared]:
    """Compare the straight way with a low-pass on a sound; return folder and result."""
    take = write_float(folder / "take.wav", samples)
    low_pass = read_circuit(drawn(folder, "low-pass", LOW_PASS))
    asked: dict[str, Any] = {
        "title": "one against the other",
        "takes": (Take(take),),
        "a": Side(STRAIGHT),
        "b": Side(low_pass),
        "pairings": (Pairing("as drawn"),),
    }
    out = folder / "out"
    out.mkdir(exist_ok=True)
    return out, write_clips(measure(Comparison(**(asked | changes))), out)


def held(out: Path, done: Compared) -> tuple[Real, Real, Real, list[tuple[int, str]]]:
    """Return the integers of A, of B and of the clip that switches, and its cues."""
    (pair,) = done.pairs
    files = (pair.clips[letter].file for letter in ("a", "b", "switch"))
    a, b, switch = (read_integers(out / file) for file in files)
    cues = [(cue.frame, cue.letter) for cue in pair.measured.cues]
    return a, b, switch, cues


@pytest.mark.parametrize("channels", [1, 2])
def test_outside_its_fades_it_is_a_or_b_to_the_last_bit_and_inside_a_straight_mix(
    tmp_path: Path, channels: int
) -> None:
    out, done = run(tmp_path, picked(20, channels))
    a, b, switch, cues = held(out, done)
    assert switch.shape == a.shape == b.shape == (20 * RATE, channels)
    assert len(cues) >= 4
    assert not np.array_equal(a, b)
    share = np.zeros(len(a))
    for start, letter in cues[1:]:
        line = np.clip((np.arange(len(a)) - start) / FADE, 0, 1)
        share += line if letter == "b" else -line
    share = share.round(12)[:, None]
    assert {0.0, 1.0} < set(share[:, 0])
    for wanted, heard in ((a, share[:, 0] == 0), (b, share[:, 0] == 1)):
        assert heard.sum() > 3 * RATE
        np.testing.assert_array_equal(switch[heard], wanted[heard])
    mixed = (1 - share) * a + share * b
    # half a step of its own, and the half steps of A and B that it is made of
    assert np.abs(switch - mixed).max() <= 1.0


def test_a_comes_first_and_the_two_take_turns(tmp_path: Path) -> None:
    out, done = run(tmp_path, picked(20))
    a, _, switch, cues = held(out, done)
    assert cues[0] == (0, "a")
    assert "".join(letter for _, letter in cues) == ("ab" * 20)[: len(cues)]
    np.testing.assert_array_equal(switch[: cues[1][0]], a[: cues[1][0]])


def test_it_goes_by_the_same_gains_as_a_and_b(tmp_path: Path) -> None:
    """Matched, and the trim of the whole set on top: the take is 20 dB too loud."""
    out, done = run(tmp_path, 100 * picked(12))
    assert done.measured.trim_db < -10
    a, b, switch, cues = held(out, done)
    at = cues[1][0] + FADE
    np.testing.assert_array_equal(switch[:1000], a[:1000])
    np.testing.assert_array_equal(switch[at : at + 1000], b[at : at + 1000])


def test_of_a_longer_take_it_holds_the_first_minute(tmp_path: Path) -> None:
    out, done = run(tmp_path, picked(63))
    a, b, switch, _ = held(out, done)
    assert len(a) == len(b) == 63 * RATE
    assert len(switch) == 60 * RATE
    (pair,) = manifest_of(done)["pairings"]
    cues = (out / pair["clips"]["switch"]["cues"]).read_text(encoding="utf-8")
    assert cues.rstrip().splitlines()[-2].endswith(" --> 01:00.000")


@pytest.mark.parametrize("block", [509, 4_800, 1_000_000])
def test_the_size_of_the_blocks_changes_no_bit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, block: int
) -> None:
    """The blocks of a pass end elsewhere; with the usual size, in the middle of it."""
    samples = picked(8)
    found = []
    for size in (passes.BLOCK_FRAMES, block):
        monkeypatch.setattr(passes, "BLOCK_FRAMES", size)
        folder = tmp_path / str(size)
        folder.mkdir()
        out, done = run(folder, samples)
        assert "switch" in done.pairs[0].clips
        found.append({path.name: path.read_bytes() for path in out.iterdir()})
    assert found[0] == found[1]


def test_its_cues_name_the_side_with_its_settings(tmp_path: Path) -> None:
    volume = Side(read_circuit(drawn(tmp_path, "volume", VOLUME)))
    pairing = Pairing("half", b={"volume": 5})
    out, done = run(tmp_path, picked(12), b=volume, pairings=(pairing,))
    (told,) = manifest_of(done)["pairings"]
    switch = told["clips"]["switch"]
    assert (switch["file"], switch["cues"]) == ("half-switch.wav", "half-cues.vtt")
    text = (out / "half-cues.vtt").read_text(encoding="utf-8")
    words = [block.splitlines()[1] for block in text.strip().split("\n\n")[1:]]
    wanted = ["A straight: nothing to set", "B volume: volume 5"]
    assert words == (wanted * 9)[: len(words)]
    assert text.startswith("WEBVTT\n\n00:00.000 --> 00:")


def test_every_pairing_has_its_own_and_all_switch_at_the_same_places(
    tmp_path: Path,
) -> None:
    divider = Side(read_circuit(drawn(tmp_path, "divider", DIVIDER)))
    pairings = (Pairing("one"), Pairing("two"))
    out, done = run(tmp_path, picked(8), b=divider, pairings=pairings)
    assert {"one-switch.wav", "two-switch.wav", "one-cues.vtt"} < names_in(out)
    assert done.pairs[0].measured.cues == done.pairs[1].measured.cues
    assert len(done.pairs[0].measured.cues) > 1


def test_unmatched_sides_are_switched_as_they_are(tmp_path: Path) -> None:
    divider = Side(read_circuit(drawn(tmp_path, "divider", DIVIDER)))
    out, done = run(tmp_path, picked(8), b=divider, match=Match("none"))
    a, b, switch, cues = held(out, done)
    at = cues[1][0] + FADE
    np.testing.assert_array_equal(switch[at : at + 1000], b[at : at + 1000])
    assert np.abs(a[at : at + 1000] - 2 * b[at : at + 1000]).max() <= 2


def note() -> Real:
    """Return one note that rings for longer than it is heard."""
    t = np.arange(10 * RATE) / RATE
    return np.asarray(sine(110, 10) * 10 ** (-t / 20))


NOWHERE = {
    "a steady sine": sine(110, 10),
    "silence": np.zeros(10 * RATE),
    "a fifth of a second": picked(0.2)[:, 0],
    "one note": note(),
    "one note after a while": np.concatenate([np.zeros(3 * RATE), note()]),
    "one frame": np.array([0.1]),
}


@pytest.mark.parametrize("name", NOWHERE)
def test_a_take_with_nowhere_to_switch_has_no_such_clip_and_that_is_said(
    tmp_path: Path, name: str
) -> None:
    out, done = run(tmp_path, NOWHERE[name])
    (pair,) = manifest_of(done)["pairings"]
    assert set(pair["clips"]) == {"a", "b"}
    assert names_in(out) == {clip["file"] for clip in pair["clips"].values()}
    assert f"  {PLAIN}" in comparison_words(done, out).splitlines()


def test_a_take_with_places_has_its_clip_told(tmp_path: Path) -> None:
    out, done = run(tmp_path, picked(8))
    told = comparison_words(done, out)
    assert PLAIN not in told
    wanted = "as-drawn-switch.wav: A and B by turns, as told in as-drawn-cues.vtt"
    assert f"  {wanted}" in told.splitlines()
