# SPDX-License-Identifier: GPL-3.0-or-later
"""What the page tells its blind test: the clips' own levels, and whose they are."""

from pathlib import Path
from typing import Any

import pytest
from client_pages import Page, comparison, page_of
from commands import tonebench
from sounds import RATE, sine, write_float

from tonebench.compare.blind_folder import find_pair, measure_gap


def told(folder: Path, manifest: dict[str, Any]) -> Any:
    return Page(page_of(folder, manifest)).data["blind"]["pairings"]


@pytest.mark.parametrize(("seconds", "by"), [(1, "RMS"), (4, "loudness")])
def test_levels_are_those_that_the_terminal_measures_on_the_clips(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], seconds: int, by: str
) -> None:
    write_float(tmp_path / "take.wav", sine(220, seconds))
    words = ("--a", "tern", "--b", "plover", "--take", tmp_path / "take.wav")
    match = "rms" if by == "RMS" else "loudness"
    out = tmp_path / "out"
    assert tonebench("compare", *words, "--match", match, "-o", out) == 0
    page = Page((out / "index.html").read_text(encoding="utf-8"))
    (pairing,) = page.data["blind"]["pairings"]
    pair = find_pair(out, None)
    gap = measure_gap(pair)
    assert pairing["is_level"]
    assert pairing["levels"]["by"] == gap.by == by
    # the clips are rounded to 24 bits once they are measured
    assert pairing["levels"]["a_db"] == pytest.approx(gap.a_db, abs=1e-3)
    assert pairing["levels"]["b_db"] == pytest.approx(gap.b_db, abs=1e-3)
    plan = pairing["plan"]
    assert (plan["clips"]["a"], plan["clips"]["b"]) == pair.sha256
    assert (plan["comparison"], plan["pairing"], plan["take"]) == (
        pair.comparison,
        pair.name,
        pair.take,
    )


def test_a_pairing_that_isn_t_level_has_no_test_and_says_why(tmp_path: Path) -> None:
    manifest = comparison(tmp_path, 4 * RATE)
    manifest["pairings"][0]["clips"]["b"]["loudness_lufs"] = -23.11
    first, second = told(tmp_path, manifest)
    assert not first["is_level"]
    assert first["levels"] is None
    assert first["level"].startswith(
        "No blind test of this pairing: A is 0.11 dB above B by loudness"
    )
    assert second["is_level"]


def test_a_silent_clip_has_no_test(tmp_path: Path) -> None:
    manifest = comparison(tmp_path, RATE)
    clip = manifest["pairings"][0]["clips"]["a"]
    clip["loudness_lufs"] = clip["before"]["rms_dbfs"] = None
    first, _ = told(tmp_path, manifest)
    assert "A is silent, so there is nothing to compare" in first["level"]
