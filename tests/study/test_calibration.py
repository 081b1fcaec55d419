# SPDX-License-Identifier: GPL-3.0-or-later
"""Volts at full scale from tones of known height, and tones that are refused."""

from pathlib import Path

import numpy as np
import pytest
from sounds import RATE, sine, write_24, write_float

from tonebench.audio.take import Take, parse_full_scale
from tonebench.errors import CheckFailed, RequestError
from tonebench.study.calibration import Calibration, calibrate


def calibrated(
    folder: Path, sound: np.ndarray, tone: str = "400", meter: str = "0.775V"
) -> Calibration:
    path = write_float(folder / "tone.wav", sound)
    return calibrate(Take(path), tone, meter)


@pytest.mark.parametrize("peak_dbfs", [-1, -12, -40])
@pytest.mark.parametrize("hz", [50, 400, 1000])
def test_a_sine_of_known_height_gives_the_volts_of_full_scale(
    tmp_path: Path, peak_dbfs: float, hz: int
) -> None:
    # closed form: √2·RMS volts make that peak
    found = calibrated(tmp_path, sine(hz, 3, peak_dbfs), str(hz), "0.5V")
    wanted = 0.5 * 2**0.5 / 10 ** (peak_dbfs / 20)
    assert found.full_scale_v == pytest.approx(wanted, rel=1e-5)


@pytest.mark.parametrize("level_dbu", [-12.0, 0.0, 4.0])
def test_the_same_in_dbu_is_meter_minus_level_as_take_files_read_it(
    tmp_path: Path, level_dbu: float
) -> None:
    # 0 dBu is √0.6 V RMS; a tone at −12 dBFS of so many dBu: full scale is 12 dB more
    found = calibrated(tmp_path, sine(400, 3, -12), meter=f"{level_dbu}dBu")
    assert found.full_scale_dbu == pytest.approx(level_dbu + 12, abs=1e-4)
    wanted = parse_full_scale(f"{level_dbu + 12:+g}dBu")
    assert found.full_scale_v == pytest.approx(wanted, rel=1e-5)
    assert parse_full_scale(found.line_value) == pytest.approx(wanted, rel=1e-4)


def test_a_recording_of_16_bit_steps_is_good_enough(tmp_path: Path) -> None:
    steps = np.round(sine(400, 3, -20) * 2**15).astype(np.int64)[:, None] << 8
    found = calibrate(Take(write_24(tmp_path / "tone.wav", steps)), "400", "1V")
    assert found.full_scale_v == pytest.approx(2**0.5 * 10, rel=1e-4)


LONG = sine(400, 3, -12)
REFUSED = {
    "silence": (0 * LONG, "400", "no steady tone of more than a second"),
    "too short": (LONG[:RATE], "400", "no steady tone of more than a second"),
    "another tone": (LONG, "1k", "the tone is 400 Hz, not 1 kHz"),
    "next to it": (LONG, "405", "the tone is 400 Hz, not 405 Hz"),
    "cut off": (np.clip(8 * LONG, -1, 1), "400", "it is clipped"),
    "hum": (LONG + sine(50, 3, -40), "400", r"4 % of other sounds are in it"),
    "a fade": (
        LONG * np.linspace(1, 0.98, len(LONG)),
        "400",
        "its level moves by 0.16",
    ),
}


@pytest.mark.parametrize("case", REFUSED)
def test_a_tone_that_is_not_fit_is_refused(tmp_path: Path, case: str) -> None:
    sound, tone, told = REFUSED[case]
    with pytest.raises(CheckFailed, match=rf"tone\.wav: can't be gone by: .*{told}"):
        calibrated(tmp_path, sound, tone)


@pytest.mark.parametrize(
    ("tone", "meter", "told"),
    [
        ("loud", "1V", "--tone: cannot read 'loud' as a frequency"),
        ("5", "1V", "--tone must be from 20 to 19200 Hz, got 5"),
        ("30k", "1V", "--tone must be from 20 to 19200 Hz, got 30000"),
        ("400", "1 apple", "--meter: cannot read '1 apple'"),
        ("400", "0", "--meter must be from 1 mV to 50 V RMS, got '0'"),
        ("400", "-1V", "--meter must be from 1 mV to 50 V RMS, got '-1V'"),
        ("400", "40V", "--meter 40V would make full scale 225 V"),
    ],
)
def test_what_makes_no_sense_is_refused(
    tmp_path: Path, tone: str, meter: str, told: str
) -> None:
    with pytest.raises(RequestError, match=told):
        calibrated(tmp_path, LONG, tone, meter)


def test_a_tone_beyond_simple_meters_is_told(tmp_path: Path) -> None:
    assert calibrated(tmp_path, sine(5000, 3), "5k").is_beyond_meters
    assert not calibrated(tmp_path, LONG).is_beyond_meters
