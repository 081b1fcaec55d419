# SPDX-License-Identifier: GPL-3.0-or-later
"""What is said of takes: each with one of which it is true, and one that is fine."""

from pathlib import Path

import numpy as np
import pytest
from sounds import RATE, sine, write_float

from tonebench.audio.take import Take
from tonebench.plan.take_files import read_take_file
from tonebench.study.take_check import Kind, TakeCheck, check_take

RNG = np.random.default_rng(12)


def noise(level_dbfs: float, seconds: float = 8) -> np.ndarray:
    return 10 ** (level_dbfs / 20) * RNG.standard_normal(round(seconds * RATE))


def played(peak_dbfs: float = -6, seconds: float = 8) -> np.ndarray:
    """Give notes that fade out over 4 s, and a rest."""
    fade = np.clip(1 - np.arange(round(seconds * RATE)) / (4 * RATE), 0, None)
    return sine(110, seconds, peak_dbfs) * fade


def checked(folder: Path, *columns: np.ndarray) -> TakeCheck:
    path = write_float(folder / "take.wav", np.column_stack(columns))
    return check_take(Take(path))


def kinds(check: TakeCheck) -> set[Kind]:
    return {finding.kind for finding in check.findings} - {Kind.LOAD_UNKNOWN}


def test_of_a_good_take_only_the_load_is_not_known(tmp_path: Path) -> None:
    check = checked(tmp_path, played() + noise(-80))
    assert kinds(check) == set()
    assert Kind.LOAD_UNKNOWN in check
    assert check.is_fit
    assert check.has_rest
    assert check.has_long_rest


GOOD = played() + noise(-80)
HUM = sine(50, 8, -50) + sine(150, 8, -60)
GAP = np.where(np.abs(np.arange(8 * RATE) - 30_000) < 50, 0, GOOD)
CASES = {
    "nothing": ((0 * GOOD,), {Kind.SILENT}),
    "as good as nothing": ((noise(-100),), {Kind.SILENT}),
    "cut off": ((np.clip(GOOD, -0.3, 0.3),), {Kind.CLIPPED}),
    "dropped": ((GAP,), {Kind.GAPS}),
    "one side": ((GOOD, 0 * GOOD), {Kind.EMPTY_CHANNEL}),
    "the other side": ((0 * GOOD, GOOD), {Kind.EMPTY_CHANNEL}),
    "twice": ((GOOD, GOOD), {Kind.IDENTICAL}),
    "turned over": ((GOOD, -GOOD), {Kind.MIRRORED}),
    "low": ((0.03 * played() + noise(-110),), {Kind.LOW}),
    "high": ((1.9 * GOOD,), {Kind.HIGH}),
    "lifted": ((GOOD + 0.004,), {Kind.DC}),
    "hum": ((GOOD + HUM,), {Kind.HUM, Kind.NOISE}),
    "soft hum": ((GOOD + 0.01 * HUM,), set()),
    "noise": ((played() + noise(-55),), {Kind.NOISE}),
    "short": ((GOOD[:RATE],), {Kind.SHORT}),
}


@pytest.mark.parametrize("case", CASES)
def test_what_is_wrong_is_found_and_nothing_else(tmp_path: Path, case: str) -> None:
    columns, wanted = CASES[case]
    check = checked(tmp_path, *columns)
    assert kinds(check) == wanted
    assert check.is_fit == (not wanted & {Kind.SILENT, Kind.CLIPPED, Kind.GAPS})


def test_the_channels_are_named_that_a_finding_is_true_of(tmp_path: Path) -> None:
    other = played(-9)[::-1].copy()
    check = checked(tmp_path, GOOD, other, np.clip(GOOD, -0.3, 0.3), GOOD)
    told = {finding.kind: finding.channels for finding in check.findings}
    assert told[Kind.CLIPPED] == (3,)
    assert told[Kind.IDENTICAL] == (1, 4)
    assert check.clipped == check.reading.channels[2].clipped


def test_a_wave_that_is_cut_off_early_has_no_offset(tmp_path: Path) -> None:
    # the mean of half a cycle is 2/π of its height, and no DC of the recording
    assert Kind.DC not in checked(tmp_path, sine(41.2, 0.5 / 41.2 + 5 / 41.2, -1))


def test_where_nothing_rests_neither_noise_nor_hum_is_told(tmp_path: Path) -> None:
    check = checked(tmp_path, sine(50, 8, -12) + noise(-40))
    assert not check.has_rest
    assert not check.has_long_rest
    assert kinds(check) == set()


@pytest.mark.parametrize("name", ["walk", "pick", "low", "two"])
def test_nothing_stands_against_the_shipped_takes(name: str) -> None:
    check = check_take(read_take_file(f"harbour-{name}"))
    assert kinds(check) == set()
