# SPDX-License-Identifier: GPL-3.0-or-later
"""A VST3 plug-in that is compiled here, in the real host: level, lateness, crashes.

Needs a C++ compiler and the plug-in framework of Debian's package dpf-source; run with
``-m plugins``.
"""

import json
import platform
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from commands import DIVIDER, VOLUME, asked, drawn, names_in, refused
from commands import tonebench as run
from sounds import impulse, noise, read_clip, write_float

pytestmark = pytest.mark.plugins

HERE = Path(__file__).parent
FRAMEWORK = Path("/usr/share/dpf/distrho")  # where Debian's dpf-source has it
LATE_FRAMES = 256
Capsys = pytest.CaptureFixture[str]


@pytest.fixture(scope="session")
def plugin(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Compile the plug-in, and return its folder."""
    bundle = tmp_path_factory.mktemp("plugins") / "late.vst3"
    machine = {"arm64": "aarch64"}.get(platform.machine(), platform.machine())
    inside = bundle / "Contents" / f"{machine}-linux"
    inside.mkdir(parents=True)
    subprocess.run(
        [
            *("g++", "-std=c++17", "-O1", "-fPIC", "-shared", "-fvisibility=hidden"),
            *("-DDISTRHO_PLUGIN_TARGET_VST3", f"-I{HERE}", f"-I{FRAMEWORK}"),
            *(HERE / "late_gain.cpp", FRAMEWORK / "DistrhoPluginMain.cpp"),
            *("-o", inside / "late.so"),
        ],
        check=True,
        capture_output=True,
        text=True,
    )
    return bundle


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_float(tmp_path / "take.wav", noise(150_000))
    drawn(tmp_path, "divider", DIVIDER)
    drawn(tmp_path, "volume", VOLUME)
    return tmp_path


def test_a_clip_keeps_its_level_its_length_and_its_place(
    folder: Path, plugin: Path, capsys: Capsys
) -> None:
    take, circuit, out = (folder / x for x in ("take.wav", "divider.toml", "out.wav"))
    words = ("render", take, circuit, "-o", out)
    values = asked(capsys, *words, "--after", f"{plugin}:level=0.25")
    # half by the divider, a quarter by the plug-in: single precision holds the noise
    _, played = read_clip(take)
    _, found = read_clip(out)
    assert np.array_equal(found, 0.125 * played)
    (step,) = values["after"]
    told = {key: step[key] for key in ("name", "maker", "version", "latency_frames")}
    assert told == {
        "name": "Late gain",
        "maker": "the workshop by the sea",
        "version": "1.2.3",
        "latency_frames": LATE_FRAMES,
    }
    assert step["settings"]["level"] == 0.25
    assert step["repeats"] is True
    assert step["channels"] == 2


def compared(folder: Path, *words: object) -> dict[str, Any]:
    circuits = ("--a", folder / "divider.toml", "--b", folder / "volume.toml")
    take = ("--take", folder / "take.wav", "--match", "none")
    assert run("compare", *circuits, *take, *words, "-o", folder / "out") == 0
    text = (folder / "out" / "manifest.json").read_text(encoding="utf-8")
    values: dict[str, Any] = json.loads(text)
    return values


def test_both_sides_of_a_comparison_stay_aligned_behind_it(
    folder: Path, plugin: Path
) -> None:
    write_float(folder / "take.wav", impulse(100_000, (70_000, 0.5)))
    cab = write_float(folder / "cab.wav", impulse(10, (5, 1.0)))
    values = compared(folder, "--after", plugin, "--after", cab)
    clips = values["pairings"][0]["clips"]
    gain = 10 ** (values["trim_db"] / 20)
    # 0.5 of the divider, 0.9 of the volume; the plug-in starts at 0.5
    for letter, share in (("a", 0.5), ("b", 0.9)):
        _, found = read_clip(folder / "out" / clips[letter]["file"])
        expected = impulse(100_000, (70_005, 0.25 * share * gain))
        assert found[:, 0] == pytest.approx(expected, abs=2e-7)
    kinds = [step["kind"] for step in values["after"]]
    assert kinds == ["plug-in", "impulse response"]


@pytest.mark.parametrize(
    ("trouble", "words"),
    [
        ("trouble=1", "crashed while it played (SIGABRT)"),
        ("trouble=2", "gave a sample that is no finite number"),
        ("trouble=7", "trouble can't be set to 7; it takes 0, 1, 2"),
        (
            "toruble=1",
            "has no setting 'toruble'; it has latency_frames, level, trouble",
        ),
    ],
)
def test_what_goes_wrong_is_one_sentence_and_nothing_half_written(
    folder: Path, plugin: Path, capsys: Capsys, trouble: str, words: str
) -> None:
    before = names_in(folder)
    take, out = folder / "take.wav", folder / "out.wav"
    asked_for = ("render", take, "tern", "-o", out, "--after", f"{plugin}:{trouble}")
    assert refused(capsys, 3, *asked_for) == f"{plugin}: {words}"
    assert names_in(folder) == before
