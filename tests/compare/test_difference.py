# SPDX-License-Identifier: GPL-3.0-or-later
"""The clip of B − A, held against exact spectra of circuits with closed formulas.

Source: first-order low-pass 1/(1 + s·RC) and high-pass s·RC/(1 + s·RC), any textbook.
"""

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from commands import DIVIDER, LOW_PASS, LOW_PASS_HZ, VOLUME, drawn, names_in, tonebench
from sounds import RATE, Real, noise, read_integers, write_float

from tonebench.audio.take import Take
from tonebench.circuit.files import read_circuit
from tonebench.compare.clips import write_clips
from tonebench.compare.difference import DifferenceWriter
from tonebench.compare.manifest import manifest_of
from tonebench.compare.measured import Measured, measure
from tonebench.errors import AudioError
from tonebench.plan.comparison import Comparison, Match, Pairing, Side

#: Its corner at 1/(2π·RC) = 159.15 Hz.
HIGH_PASS = """
schema = 1
input = "in"
output = "out"
[parts]
C1 = { capacitor = "100n", across = ["in", "out"] }
R1 = { resistor = "10k", across = ["out", "gnd"] }
"""
#: −1 at all frequencies.
INVERTER = """
schema = 1
input = "in"
output = "out"
[parts]
R1 = { resistor = "10k", across = ["in", "m"] }
R2 = { resistor = "10k", across = ["m", "out"] }
U1 = { opamp = "ideal", plus = "gnd", minus = "m", out = "out" }
"""
TEXTS = {
    "divider": DIVIDER,
    "high-pass": HIGH_PASS,
    "inverter": INVERTER,
    "low-pass": LOW_PASS,
    "volume": VOLUME,
}
SILENCE = RATE // 2


def measured(folder: Path, a: str, b: str, samples: Real, **changes: Any) -> Measured:
    take = Take(write_float(folder / "take.wav", samples))
    sides = [Side(read_circuit(drawn(folder, name, TEXTS[name]))) for name in (a, b)]
    pairings = (Pairing("as drawn"),)
    asked = Comparison("one and the other", (take,), *sides, pairings)
    return measure(replace(asked, has_difference=True, **changes))


def subtracted(
    folder: Path, a: str, b: str, samples: Real, **changes: Any
) -> tuple[dict[str, Any], Real]:
    """Return what the manifest says of the clip, and the clip 6 dB up again."""
    out = folder / "out"
    out.mkdir()
    done = write_clips(measured(folder, a, b, samples, **changes), out)
    (pairing,) = manifest_of(done)["pairings"]
    clip = pairing["clips"]["difference"]
    return clip, 2 * read_integers(out / clip["file"]) / 2**23


def low_pass(hz: Real) -> Any:
    return 1 / (1 + 1j * hz / LOW_PASS_HZ)


def high_pass(hz: Real) -> Any:
    return 1j * hz / 159.15494309189535 / (1 + 1j * hz / 159.15494309189535)


def below(samples: Real, most_hz: float) -> float:
    """Return the RMS of what lies below a frequency."""
    spectrum = np.fft.rfft(samples[:, 0])
    hz = np.fft.rfftfreq(len(samples), 1 / RATE)
    return math.sqrt((np.abs(spectrum[hz < most_hz]) ** 2).sum())


@pytest.mark.parametrize(("most_hz", "db"), [(10_000, -45), (1_000, -60)])
def test_what_is_left_is_what_the_exact_spectra_leave(
    tmp_path: Path, most_hz: float, db: float
) -> None:
    """At 48 kHz; two leads that differ by 0.3 frame would leave −28 dB at 1 kHz."""
    samples = noise(2 * RATE)
    samples[-SILENCE:] = 0  # both ring out in it
    clip, left = subtracted(
        tmp_path, "low-pass", "high-pass", samples, match=Match("none")
    )
    hz = np.fft.rfftfreq(len(samples), 1 / RATE)
    exact = (high_pass(hz) - low_pass(hz)) * np.fft.rfft(samples[:, 0])
    truth = np.fft.irfft(exact, len(samples))[:, None]
    error = left / 10 ** ((clip["gain_db"] + 20 * math.log10(2)) / 20) - truth
    found_db = 20 * math.log10(below(error, most_hz) / below(samples, most_hz))
    assert len(left) == len(samples)
    assert found_db <= db


def test_two_gains_at_one_level_leave_nothing(tmp_path: Path) -> None:
    """A divider and a volume, both flat: the match is all there is between them."""
    clip, left = subtracted(tmp_path, "divider", "volume", noise(RATE))
    assert np.abs(left).max() <= 2 * 2**-23
    assert clip["below_a_db"] is None or clip["below_a_db"] > 110


def test_how_much_is_left_is_told_against_a(tmp_path: Path) -> None:
    """Unmatched, a volume of 0.9 against a half leaves 0.4: 1.938 dB below the half."""
    clip, _ = subtracted(
        tmp_path, "divider", "volume", noise(RATE), match=Match("none")
    )
    assert clip["below_a_db"] == pytest.approx(20 * math.log10(5 / 4), abs=1e-3)
    assert not clip["is_turned_over"]


def test_an_inverting_side_is_turned_over_first(tmp_path: Path) -> None:
    clip, left = subtracted(tmp_path, "divider", "inverter", noise(RATE))
    assert clip["is_turned_over"]
    assert np.abs(left).max() <= 2 * 2**-23


def test_sides_that_cancel_in_part_never_pass_full_scale(tmp_path: Path) -> None:
    """Noise up to full scale; the low-pass leaves most of it to be told apart."""
    clip, _ = subtracted(tmp_path, "low-pass", "high-pass", 9.9 * noise(RATE))
    assert clip["peak_dbfs"] < 0


def test_blocks_of_any_size_give_the_same_bytes(tmp_path: Path) -> None:
    samples = noise(3_000)
    (pair,) = measured(tmp_path, "low-pass", "high-pass", samples).pairs
    found = []
    for size in (1, 17, 509, 3_000):
        folder = tmp_path / str(size)
        folder.mkdir()
        with DifferenceWriter(pair, 0.0, folder) as writer:
            for at in range(0, len(samples), size):
                writer.write(samples[at : at + size], -samples[at : at + size])
        found.append((folder / writer.clip().file).read_bytes())
    assert len(set(found)) == 1


def test_an_error_leaves_no_clip(tmp_path: Path) -> None:
    (pair,) = measured(tmp_path, "low-pass", "high-pass", noise(3_000)).pairs
    out = tmp_path / "out"
    out.mkdir()
    not_finite = np.full((100, 1), np.nan)
    with pytest.raises(AudioError), DifferenceWriter(pair, 0.0, out) as writer:
        writer.write(noise(100), not_finite)
    assert names_in(out) == set()


def test_a_knob_that_moves_leaves_no_difference_and_it_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    write_float(tmp_path / "take.wav", noise(RATE))
    for name in ("divider", "volume"):
        drawn(tmp_path, name, TEXTS[name])
    text = """
schema = 1
take = "take.wav"
difference = true
[a]
circuit = "divider"
[b]
circuit = "volume"
[[pairings]]
name = "still"
[[pairings]]
name = "turned"
b = { volume = [[0, 5], [0.5, 10]] }
"""
    (tmp_path / "two.toml").write_text(text, encoding="utf-8")
    assert tonebench("compare", "two.toml", "-o", "out") == 0
    told = capsys.readouterr().out
    assert told.count("still-difference.wav: B − A:") == 1
    assert told.count("no clip of B − A: knobs move") == 1
    assert "still-difference.wav" in names_in(tmp_path / "out")
    assert "turned-difference.wav" not in names_in(tmp_path / "out")
    assert tonebench("compare", "two.toml", "--recheck", "out") == 0
