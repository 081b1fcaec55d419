# SPDX-License-Identifier: GPL-3.0-or-later
"""Recordings as they come from an instrument, through whole circuits.

TONEBENCH_TAKES may name a folder of recordings (WAV, FLAC, AIFF, OGG); without it the
shipped takes are played.
"""

import os
from pathlib import Path
from typing import Any

import numpy as np
import pyloudnorm  # type: ignore[import-untyped]
import pytest
from commands import asked
from sounds import Real, level_db, read_clip, read_integers, write_float

from tonebench.audio.files import read_take
from tonebench.circuit.files import read_circuit, read_pickup
from tonebench.circuit.hookup import Chain, Hookup, join
from tonebench.compare.switching import FADE_S, Envelope, switch_cues, switch_places
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.shipped import find, names

ENDINGS = {".wav", ".flac", ".aif", ".aiff", ".ogg"}
#: Every coupling capacitor here has let go long before: 10 µF into 10 kΩ is 0.1 s.
TAIL_S = 2.0


def recordings() -> list[Path]:
    folder = os.environ.get("TONEBENCH_TAKES")
    if folder is None:
        return [find(name, "take") for name in names("take")]
    found = sorted(p for p in Path(folder).iterdir() if p.suffix.lower() in ENDINGS)
    if not found:
        raise ValueError(f"TONEBENCH_TAKES: there is no recording in {folder}")
    return found


TAKES = recordings()
every_take = pytest.mark.parametrize("take", TAKES, ids=[take.stem for take in TAKES])
HOOKUP = ("--pickup", "sedge", "--cable", "700p", "--load", "10k")


def chain_of(circuit: str) -> Chain:
    hookup = Hookup({"": read_pickup("sedge")}, cable_farad=700e-12, load_ohm=1e4)
    return join(read_circuit(circuit), hookup)


def rendered(
    capsys: pytest.CaptureFixture[str], take: Path, circuit: str, out: Path
) -> Real:
    told: dict[str, Any] = asked(
        capsys, "render", take, circuit, "-o", out, *HOOKUP, "--force"
    )
    clip = read_clip(out)[1]
    assert np.isfinite(clip).all()
    assert clip.shape == (told["frames"], told["channels"])
    return clip


@every_take
@pytest.mark.parametrize("circuit", ["plover", "tern", "whimbrel"])
def test_a_recording_comes_out_with_the_circuits_response_on_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], take: Path, circuit: str
) -> None:
    """Output over input in the frequency domain, silence behind so that nothing is cut.

    Where the recording has energy: within 80 dB of its strongest frequency.
    """
    info, samples = read_take(take)
    rate = info.sample_rate_hz
    # as 32-bit floats, so that what is read again is what is compared
    exact = samples.astype(np.float32).astype(float)
    silence = np.zeros((round(TAIL_S * rate), info.channels))
    padded = np.concatenate([exact, silence])
    source = write_float(tmp_path / "padded.wav", padded, rate)
    clip = rendered(capsys, source, circuit, tmp_path / "clip.wav")
    assert clip.shape == padded.shape
    peak = np.abs(clip).max()
    assert np.abs(clip[-rate // 10 :]).max() < 1e-6 * peak  # it has died away

    size = 1 << (len(padded) - 1).bit_length()
    before, after = (np.fft.rfft(x, size, axis=0) for x in (padded, clip))
    hz = np.fft.rfftfreq(size, 1 / rate)
    strong = np.abs(before).max(axis=1)
    heard = (hz >= 20) & (hz <= min(20_000, 0.45 * rate))
    heard &= strong > 1e-4 * strong.max()
    assert heard.sum() > 100
    chosen = np.flatnonzero(heard)[:: max(1, heard.sum() // 5000)]
    chain = chain_of(circuit)
    wanted = np.abs(response(Network(chain), chain.setting({}), hz[chosen])[0])
    for channel in range(info.channels):
        there = np.abs(before[chosen, channel]) > 1e-4 * strong.max()
        got = np.abs(after[chosen, channel] / before[chosen, channel])
        off_db = 20 * np.log10(got / wanted)[there]
        assert np.abs(off_db).max() <= 0.1


@every_take
def test_a_recording_as_it_is_gives_the_start_of_the_same_clip(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], take: Path
) -> None:
    """What comes later changes nothing that was heard, to the last bit."""
    info, samples = read_take(take)
    silence = np.zeros((1000, info.channels))
    padded = np.concatenate([samples.astype(np.float32).astype(float), silence])
    longer = write_float(tmp_path / "longer.wav", padded, info.sample_rate_hz)
    clip = rendered(capsys, take, "plover", tmp_path / "clip.wav")
    assert clip.shape == samples.shape
    again = rendered(capsys, longer, "plover", tmp_path / "again.wav")
    if np.array_equal(padded[: len(samples)], samples):  # 24 bits fit into a float
        assert np.array_equal(clip, again[: len(clip)])
    else:
        np.testing.assert_allclose(clip, again[: len(clip)], rtol=0, atol=1e-6)


@every_take
def test_two_clips_of_a_recording_are_equally_loud_as_another_meter_hears_them(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], take: Path
) -> None:
    out = tmp_path / "out"
    words = ("compare", "--a", "tern", "--b", "plover", "--take", take, "-o", out)
    manifest = asked(capsys, *words, *HOOKUP, "--set-b", "level=8")
    info, samples = read_take(take)
    (pairing,) = manifest["pairings"]
    assert pairing["is_matched"]
    meter = pyloudnorm.Meter(info.sample_rate_hz)
    heard, jumps = [], []
    for letter in ("a", "b"):
        clip = pairing["clips"][letter]
        written = read_integers(out / clip["file"]) / 2**23
        assert written.shape == samples.shape
        assert np.abs(written).max() < 1
        heard.append(meter.integrated_loudness(written))
        assert heard[-1] == pytest.approx(clip["loudness_lufs"], abs=0.1)
        jumps.append(heard[-1] - clip["gain_db"])
    assert heard[0] == pytest.approx(heard[1], abs=0.1)
    # without the gains they would not be
    jump = pairing["jump_db"]["loudness"]
    assert jumps[1] - jumps[0] == pytest.approx(jump, abs=0.1)
    assert jump < -3  # the level pot: 48 % of its track at 8


@every_take
@np.errstate(divide="ignore")  # digital silence is −inf dB
def test_a_recording_is_switched_where_it_is_softer_than_what_follows(
    take: Path,
) -> None:
    """In the second difference, where strokes stand out; or 40 dB below the loudest."""
    info, samples = read_take(take)
    rate = info.sample_rate_hz
    envelope = Envelope(rate)
    envelope.feed(samples)
    fade, soon = round(FADE_S * rate), round(0.08 * rate)
    strokes = np.diff(samples, 2, axis=0)
    loudest = max(level_db(x) for x in np.array_split(samples, len(samples) // fade))
    for place in switch_places(envelope):
        end = place + fade
        is_rest = level_db(samples[place:end]) < loudest - 40
        before, after = strokes[place:end], strokes[end : end + soon]
        assert is_rest or level_db(before) < level_db(after) - 6, place / rate
    cues = switch_cues(envelope)
    bounds = [*(cue.frame for cue in cues), envelope.frames]
    assert bounds[0] == 0
    assert np.diff(bounds).min() >= min(1.5 * rate, envelope.frames)
