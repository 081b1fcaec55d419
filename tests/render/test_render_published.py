# SPDX-License-Identifier: GPL-3.0-or-later
"""The whole way from a file to a file against published circuits.

An impulse and sines are rendered by the command; what comes out is compared with the
formulas and figures that the circuits were published with, not with the solver.
"""

from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np
import pytest
from commands import REFERENCE, tonebench
from numpy.typing import NDArray
from sounds import impulse, read_clip, sine, write_float

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

RATES_HZ = (44_100, 48_000, 96_000)
START = 1000
PROMISED_DB = 0.02


def a_weighting(hz: Real) -> Complex:
    """IEC 61672-1:2013, annex E, before its gain at 1 kHz is taken out."""
    s = 1j * hz
    low, second, third, high = 20.598997, 107.65265, 737.86223, 12194.217
    poles = (s + low) ** 2 * (s + second) * (s + third) * (s + high) ** 2
    return np.asarray(s**4 * high**2 / poles)


def phono(hz: Real) -> Complex:
    """AN-346 (SNOA586D), figure 3: zeros, poles and one gain of an outside solution.

    From the notebook "Two amplifier RIAA phono preamp", which prints them.
    """

    def shape(hz: Real) -> Complex:
        s = 2j * np.pi * hz
        zeros = s * (s + 0.0558265334652) * (s + 3183.8689686)
        poles = (s + 8.73032761723) * (s + 10.0200400802)
        return np.asarray(zeros / poles / (s + 318.126868995) / (s + 13338.433641))

    at = shape(np.array([999.90099]))[0]
    gain = 10 ** (34.7837666512 / 20) / abs(at)
    return np.asarray(gain * shape(hz))


def riaa(hz: Real) -> Complex:
    """IEC 60098: 3180, 318 and 75 µs; a passive network passes DC as it is."""
    s = 2j * np.pi * hz
    return np.asarray((1 + s * 318e-6) / (1 + s * 3180e-6) / (1 + s * 75e-6))


def coil_on_a_lead(hz: Real) -> Complex:
    """Closed form of the pickup in `PICKUP` on 300 pF into 1 MΩ."""
    s = 2j * np.pi * hz
    return np.asarray(1 / (1 + (7e3 + 3.0 * s) * (1e-6 + s * 600e-12)))


#: 3.0 H, 7 kΩ, 300 pF: a published example of a measured coil (python-audio-lab).
PICKUP = """
schema = 1
[pickup]
resistance = "7k"
inductance = "3H"
capacitance = "300p"
"""

CASES: dict[str, Callable[[Real], Complex]] = {
    "a_weighting": a_weighting,
    "phono_two_stage": phono,
    "riaa_passive": riaa,
    "pickup": coil_on_a_lead,
}
cases_at_rates = pytest.mark.parametrize(
    ("name", "rate"), [(name, rate) for name in CASES for rate in RATES_HZ]
)


def rendered(folder: Path, name: str, take: Real, rate: int, *words: str) -> Real:
    """Render a take through a reference circuit, or through a pickup and its lead."""
    source = write_float(folder / "take.wav", take, rate)
    circuit: object = REFERENCE / f"{name}.toml"
    if name == "pickup":
        coil = folder / "coil.toml"
        coil.write_text(PICKUP, encoding="utf-8")
        circuit, words = "straight", ("--pickup", str(coil), "--cable", "300p")
        words = (*words, "--load", "1M")
    output = folder / "clip.wav"
    assert tonebench("render", source, circuit, "-o", output, *words) == 0
    rate_out, clip = read_clip(output)
    assert rate_out == rate
    assert clip.shape == (len(take), 1)
    return clip[:, 0]


def spectrum(clip: Real, rate: int, hz: Iterable[float], start: int = START) -> Complex:
    """Return the Fourier transform at any frequencies, from frame `start` on."""
    turns = np.arange(len(clip) - start) / rate
    heard = clip[start:]
    return np.array([np.exp(-2j * np.pi * f * turns) @ heard for f in hz])


@cases_at_rates
def test_impulse_comes_out_as_the_published_response(
    tmp_path: Path, name: str, rate: int
) -> None:
    clip = rendered(tmp_path, name, impulse(3 * rate, (START, 0.5)), rate)
    assert not clip[:START].any()  # nothing comes before its cause
    answer = np.fft.rfft(clip[START:] / 0.5)
    hz = np.fft.rfftfreq(len(clip) - START, 1 / rate)
    inside = (hz >= 20) & (hz <= 20_000)
    wanted = CASES[name](np.asarray(hz[inside], dtype=float))
    heard = np.abs(wanted) > 1e-5  # above −100 dB
    assert heard.mean() > 0.9
    off_db = 20 * np.log10(np.abs(answer[inside] / wanted))
    assert np.abs(off_db[heard]).max() <= PROMISED_DB


@cases_at_rates
def test_sine_comes_out_at_the_published_level_and_the_right_way_round(
    tmp_path: Path, name: str, rate: int
) -> None:
    steps = (25.0, 100.0, 1000.0, 5000.0, 15_000.0)
    take = np.concatenate([sine(hz, 1.0, -12, rate) for hz in steps])
    clip = rendered(tmp_path, name, take, rate)
    # the last 0.4 s of each second hold whole periods of each
    t = np.arange(round(0.4 * rate)) / rate
    for number, hz in enumerate(steps):
        end = (number + 1) * rate
        carrier = np.exp(-2j * np.pi * hz * t)
        out = clip[end - len(t) : end] @ carrier
        ratio = out / (take[end - len(t) : end] @ carrier)
        (wanted,) = CASES[name](np.array([hz]))
        assert 20 * np.log10(abs(ratio / wanted)) == pytest.approx(0, abs=PROMISED_DB)
        if hz <= 1000:  # above, a filter's lead of up to a sample counts
            assert np.degrees(abs(np.angle(ratio / wanted))) < 10


@pytest.mark.parametrize("rate", RATES_HZ)
@pytest.mark.parametrize(
    ("bass", "treble", "level_db"),
    [
        (10, 5, "18.365 9.321 2.489 0.329 0.014 0.003 0.001"),
        (5, 10, "0.088 0.683 1.284 3.955 13.957 17.330 18.903"),
        (0, 0, "-18.645 -10.062 -2.979 -3.500 -13.907 -17.316 -18.899"),
    ],
)
def test_tone_control_has_the_computed_table_and_inverts(
    tmp_path: Path, rate: int, bass: float, treble: float, level_db: str
) -> None:
    """S. Franco, example 3.7, with 50 nF and 5 nF; the table is computed."""
    hz = [20.0, 100.0, 320.0, 1000.0, 5000.0, 10_000.0, 20_000.0]
    knobs = ("--set", f"bass={bass}", "--set", f"treble={treble}")
    take = impulse(rate, (START, 0.5))
    clip = rendered(tmp_path, "tone_control", take, rate, *knobs)
    answer = spectrum(clip, rate, hz) / 0.5
    wanted = [float(word) for word in level_db.split()]
    got = 20 * np.log10(np.abs(answer))
    np.testing.assert_allclose(got, wanted, rtol=0, atol=PROMISED_DB + 0.0005)
    assert answer[0].real < 0


@pytest.mark.parametrize("rate", RATES_HZ)
def test_phono_preamp_has_the_printed_gains(tmp_path: Path, rate: int) -> None:
    """The same notebook prints these gains inside the band of a clip."""
    printed = {19.9989999: 54.00773139, 999.90099: 34.78376665, 1004.90049: 34.7671617}
    take = impulse(3 * rate, (START, 2.0**-10))
    clip = rendered(tmp_path, "phono_two_stage", take, rate)
    answer = spectrum(clip, rate, printed) * 2.0**10
    got = 20 * np.log10(np.abs(answer))
    np.testing.assert_allclose(got, [*printed.values()], rtol=0, atol=PROMISED_DB)


@pytest.mark.parametrize("rate", RATES_HZ)
def test_coil_on_a_lead_peaks_where_and_as_high_as_computed(
    tmp_path: Path, rate: int
) -> None:
    """Computed apart from the solver for this coil: +15.41 dB at 3737.3 Hz."""
    clip = rendered(tmp_path, "pickup", impulse(rate, (START, 0.5)), rate)
    hz = np.arange(3700.0, 3775.0, 2.5)
    answer_db = 20 * np.log10(np.abs(spectrum(clip, rate, hz) / 0.5))
    assert hz[answer_db.argmax()] == pytest.approx(3737.3, abs=8)
    assert answer_db.max() == pytest.approx(15.41, abs=PROMISED_DB + 0.005)
