# SPDX-License-Identifier: GPL-3.0-or-later
"""The dry clip: what A's pickup gives over A's lead into A's load, with no circuit.

Its sound is held against a divider's closed formula and a direct solve of the pickup,
its level against another meter (pyloudnorm, after ITU-R BS.1770).
"""

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pyloudnorm  # type: ignore[import-untyped]
import pytest
from commands import DIVIDER, LOW_PASS, MIXER, VOLUME, drawn, names_in
from sounds import RATE, Real, noise, read_integers, sine, write_float

from tonebench.audio.take import Take
from tonebench.circuit.circuit import STRAIGHT, Circuit
from tonebench.circuit.files import read_circuit, read_pickup
from tonebench.circuit.hookup import Hookup, Neighbour, join
from tonebench.compare.clips import write_clips
from tonebench.compare.manifest import manifest_of
from tonebench.compare.measured import measure
from tonebench.errors import RequestError
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.plan.comparison import Comparison, Match, Pairing, Side

HALF_DB = 20 * math.log10(2)
#: Doubles the voltage: 10 kΩ over 10 kΩ round an ideal op-amp.
DOUBLER = """
schema = 1
input = "in"
output = "out"
[parts]
U1 = { opamp = "ideal", plus = "in", minus = "m", out = "out" }
R1 = { resistor = "10k", across = ["m", "gnd"] }
R2 = { resistor = "10k", across = ["out", "m"] }
R3 = { resistor = "1M", across = ["in", "gnd"] }
"""
TEXTS = {
    "divider": DIVIDER,
    "doubler": DOUBLER,
    "low-pass": LOW_PASS,
    "mixer": MIXER,
    "volume": VOLUME,
    "jack": LOW_PASS.replace('input = "in"\n', "") + '[inputs.jack]\nnode = "in"\n',
}


def circuit(folder: Path, name: str) -> Circuit:
    return read_circuit(drawn(folder, name, TEXTS[name]))


def heard(
    folder: Path, a: Side, b: Side, samples: Real | None = None, **changes: Any
) -> tuple[dict[str, Any], dict[str, Real]]:
    """Return a comparison's only pairing, and its clips by letter, full scale at ±1."""
    samples = 0.3 * noise(4 * RATE) if samples is None else samples
    take = Take(write_float(folder / "take.wav", samples))
    asked: dict[str, Any] = {"pairings": (Pairing("as drawn"),), "has_dry": True}
    comparison = Comparison("one against the other", (take,), a, b, **(asked | changes))
    out = folder / "out"
    out.mkdir()
    (told,) = manifest_of(write_clips(measure(comparison), out))["pairings"]
    clips = told["clips"]
    return told, {
        letter: read_integers(out / clips[letter]["file"]) / 2**23
        for letter in ("a", "b", "dry")
    }


def lufs(samples: Real) -> float:
    return float(pyloudnorm.Meter(RATE).integrated_loudness(samples))


@pytest.mark.parametrize("names", ["low-pass divider", "doubler low-pass"])
def test_the_three_are_equally_loud_as_another_meter_hears_them(
    tmp_path: Path, names: str
) -> None:
    a, b = (Side(circuit(tmp_path, name)) for name in names.split())
    told, clips = heard(tmp_path, a, b)
    assert told["is_matched"]
    levels = [lufs(clips[letter]) for letter in ("a", "b", "dry")]
    assert max(levels) - min(levels) < 0.01
    written = [told["clips"][letter]["loudness_lufs"] for letter in ("a", "b", "dry")]
    assert max(written) - min(written) < 0.01
    assert max(clip["gain_db"] for clip in told["clips"].values()) == 0


def test_without_a_hookup_it_is_the_take_itself_turned_by_one_gain(
    tmp_path: Path,
) -> None:
    samples = 0.3 * noise(4 * RATE)
    sides = Side(circuit(tmp_path, "divider")), Side(circuit(tmp_path, "low-pass"))
    told, clips = heard(tmp_path, *sides, samples)
    dry = told["clips"]["dry"]
    wanted = samples.astype(np.float32) * 10 ** (dry["gain_db"] / 20)
    assert np.abs(clips["dry"] - wanted).max() <= 0.51 * 2**-23
    assert dry["circuit"] == "straight"
    assert dry["chain"] == "ideal source → straight → no load"
    assert dry["settings"] == {}
    assert dry["file"] == "as-drawn-dry.wav"


def test_a_dry_take_quieter_than_both_turns_both_down(tmp_path: Path) -> None:
    """A doubles and B quadruples: 6.02 and 12.04 dB down to the take, which stays."""
    a = Side(circuit(tmp_path, "doubler"))
    b = replace(a, hookup=Hookup(into=(Neighbour(a.circuit),)))
    told, _ = heard(tmp_path, a, b)
    gains = [told["clips"][letter]["gain_db"] for letter in ("a", "b", "dry")]
    assert gains == pytest.approx([-HALF_DB, -2 * HALF_DB, 0], abs=1e-6)
    assert told["jump_db"]["loudness"] == pytest.approx(HALF_DB, abs=1e-6)
    assert "A is turned down by 6.0 dB and B is turned down" in told["verdict"][1]


def test_a_louder_dry_take_leaves_both_where_they_are(tmp_path: Path) -> None:
    a = Side(circuit(tmp_path, "divider"))
    told, _ = heard(tmp_path, a, Side(STRAIGHT))
    gains = [told["clips"][letter]["gain_db"] for letter in ("a", "b", "dry")]
    assert gains == pytest.approx([0, -HALF_DB, -HALF_DB], abs=1e-6)


@pytest.mark.parametrize("mode", ["rms", "frequency", "none"])
def test_it_is_matched_as_a_and_b_are(tmp_path: Path, mode: str) -> None:
    """The doubler is 6.02 dB up by any measure; unmatched, all stay as they are."""
    a, b = (Side(circuit(tmp_path, name)) for name in ("doubler", "divider"))
    told, _ = heard(tmp_path, a, b, match=Match(mode))
    gains = [told["clips"][letter]["gain_db"] for letter in ("a", "b", "dry")]
    wanted = [0, 0, 0] if mode == "none" else [-2 * HALF_DB, 0, -HALF_DB]
    assert gains == pytest.approx(wanted, abs=1e-6)


def test_too_short_for_loudness_it_goes_by_rms_as_a_and_b_do(tmp_path: Path) -> None:
    a, b = (Side(circuit(tmp_path, name)) for name in ("doubler", "divider"))
    told, _ = heard(tmp_path, a, b, sine(1000, 0.2))
    gains = [told["clips"][letter]["gain_db"] for letter in ("a", "b", "dry")]
    assert gains == pytest.approx([-2 * HALF_DB, 0, -HALF_DB], abs=1e-6)


def test_a_silent_side_leaves_the_dry_take_as_it_is(tmp_path: Path) -> None:
    b = Side(circuit(tmp_path, "volume"))
    pairing = Pairing("off", b={"volume": 0})
    told, clips = heard(tmp_path, Side(STRAIGHT), b, pairings=(pairing,))
    assert told["is_matched"] is False
    assert told["clips"]["dry"]["gain_db"] == 0
    np.testing.assert_array_equal(clips["dry"], clips["a"])


# What it goes through

HOOKUP = Hookup(pickups={"": read_pickup("sedge")}, cable_farad=700e-12, load_ohm=10e3)


def wanted_db(hookup: Hookup, hz: list[float]) -> Real:
    chain = join(STRAIGHT, hookup)
    return 20 * np.log10(np.abs(response(Network(chain), {}, hz)[0]))


def heard_db(clip: Real, take: Real, hz: list[float]) -> Real:
    """Return the gain at frequencies whose whole periods fit into the sound."""
    bins = np.round(np.array(hz) * len(take) / RATE).astype(int)
    spectra = (np.abs(np.fft.rfft(x.ravel()))[bins] for x in (clip, take))
    after, before = spectra
    return np.asarray(20 * np.log10(after / before))


@pytest.mark.parametrize(
    "around",
    [
        {},
        {"has_buffer": True},
        {"before": "divider"},
        {"into": "divider"},
        {"pickups": "named"},
    ],
    ids=str,
)
def test_it_goes_over_the_pickup_lead_and_load_of_a_and_no_circuit(
    tmp_path: Path, around: dict[str, Any]
) -> None:
    """Neither a buffer nor what stands before or after A counts; a pickup's name not.

    The tones repeat, so that the spectrum of a period after the start is exact.
    """
    hz = [100.0, 1000.0, 3000.0, 6000.0]
    take = np.sum([sine(f, 2, -30) for f in hz], axis=0)
    hookup = HOOKUP
    for key, value in around.items():
        if value == "divider":
            value = (Neighbour(circuit(tmp_path, "divider")),)
        elif value == "named":
            value = {"jack": read_pickup("sedge")}
        hookup = replace(hookup, **{key: value})
    name = "jack" if "pickups" in around else "low-pass"
    a = Side(circuit(tmp_path, name), hookup)
    b = Side(circuit(tmp_path, "volume"), Hookup(source_ohm=1e3))
    told, clips = heard(tmp_path, a, b, take)
    assert told["clips"]["dry"]["chain"] == "sedge → 700 pF lead → straight → 10 kΩ"
    gain_db = heard_db(clips["dry"][RATE:], take[RATE:], hz)
    gain_db -= told["clips"]["dry"]["gain_db"]
    assert gain_db == pytest.approx(wanted_db(HOOKUP, hz), abs=0.01)


def test_into_1_kohm_from_1_kohm_it_is_half_the_take(tmp_path: Path) -> None:
    hookup = Hookup(source_ohm=1e3, load_ohm=1e3)
    a, b = (Side(circuit(tmp_path, name), hookup) for name in ("low-pass", "divider"))
    told, _ = heard(tmp_path, a, b, sine(1000, 4))
    before = told["clips"]["dry"]["before"]
    assert before["peak_dbfs"] == pytest.approx(-20 - HALF_DB, abs=0.001)
    assert before["gain_at_match_hz_db"] == pytest.approx(-HALF_DB, abs=1e-9)


def test_the_pickup_of_the_take_counts_if_a_names_none(tmp_path: Path) -> None:
    """With the lead and load it was made with, nothing is left to change."""
    samples = 0.3 * noise(4 * RATE)
    path = write_float(tmp_path / "take.wav", samples)
    take = Take(path, recorded=HOOKUP)
    around = Hookup(cable_farad=700e-12, load_ohm=10e3)
    a, b = (Side(circuit(tmp_path, name), around) for name in ("low-pass", "volume"))
    comparison = Comparison("t", (take,), a, b, (Pairing("one"),), has_dry=True)
    done = write_clips(measure(comparison), tmp_path)
    (told,) = manifest_of(done)["pairings"]
    dry = told["clips"]["dry"]
    assert dry["chain"] == "sedge → 700 pF lead → straight → 10 kΩ"
    written = read_integers(tmp_path / dry["file"]) / 2**23
    wanted = samples.astype(np.float32) * 10 ** (dry["gain_db"] / 20)
    assert np.abs(written - wanted).max() < 1e-5


def test_where_a_has_several_inputs_it_goes_the_way_of_b(tmp_path: Path) -> None:
    a = Side(circuit(tmp_path, "mixer"))
    b = Side(circuit(tmp_path, "divider"), Hookup(source_ohm=5e3, load_ohm=1e6))
    told, _ = heard(tmp_path, a, b)
    assert told["clips"]["dry"]["chain"] == "5 kΩ source → straight → 1 MΩ"


def test_two_pickups_of_a_neighbour_are_several_inputs_too(tmp_path: Path) -> None:
    """The harness before A is what is driven, and it has two."""
    around = Hookup(
        pickups={"neck": read_pickup("sedge"), "bridge": read_pickup("marram")},
        before=(Neighbour(read_circuit("dunlin")),),
    )
    a = Side(circuit(tmp_path, "low-pass"), around)
    b = Side(circuit(tmp_path, "divider"), Hookup(source_ohm=5e3))
    told, _ = heard(tmp_path, a, b)
    assert told["clips"]["dry"]["chain"] == "5 kΩ source → straight → no load"


def test_it_is_refused_where_both_have_several_inputs(tmp_path: Path) -> None:
    mixer = Side(circuit(tmp_path, "mixer"))
    with pytest.raises(
        RequestError,
        match=r"^a dry clip plays one pickup through no circuit, but mixer has 2 "
        r"inputs and mixer has 2 inputs; leave dry out$",
    ):
        heard(tmp_path, mixer, mixer)
    assert names_in(tmp_path / "out") == set()
    (tmp_path / "out").rmdir()
    comparison = Comparison(
        "t", (Take(tmp_path / "take.wav"),), mixer, mixer, (Pairing("one"),)
    )
    assert len(measure(comparison).pairs) == 1  # without the dry clip it runs


def test_two_channels_stay_two(tmp_path: Path) -> None:
    a, b = (Side(circuit(tmp_path, name)) for name in ("low-pass", "divider"))
    samples = 0.3 * noise(2 * RATE, 2)
    _, clips = heard(tmp_path, a, b, samples)
    assert clips["dry"].shape == (2 * RATE, 2)
