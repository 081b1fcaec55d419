# SPDX-License-Identifier: GPL-3.0-or-later
"""Plug-ins that are late, strange or broken: aligned, or told in one sentence."""

import importlib.util
import time
from pathlib import Path

import numpy as np
import pytest
import strange_plugins
from numpy.typing import NDArray
from sounds import noise

from tonebench.audio import plugin_host
from tonebench.audio.plugin_host import HOP_FRAMES, PluginHost
from tonebench.errors import InputError, MissingPartError

Real = NDArray[np.float64]


@pytest.fixture(autouse=True)
def _strange(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(plugin_host, "COMMAND", strange_plugins.COMMAND)


def hosted(
    folder: Path,
    kind: str,
    streams: list[Real],
    frames: int = HOP_FRAMES,
    settings: dict[str, float | str | bool] | None = None,
) -> list[Real]:
    """Run streams through a plug-in in blocks; return what comes out of each."""
    path = folder / f"{kind}.vst3"
    path.touch()
    channels = streams[0].shape[1]
    with PluginHost(path, settings or {}, 48_000, channels, len(streams)) as host:
        found = [
            host.process([stream[start : start + frames] for stream in streams])
            for start in range(0, len(streams[0]), frames)
        ]
        found.append(host.finish())
    assert host._process.poll() is not None  # nothing is left running
    return [np.concatenate(pieces) for pieces in zip(*found, strict=True)]


@pytest.mark.parametrize("kind", ["plain", "late", "kept", "builtin"])
@pytest.mark.parametrize("length", [1, 299, 65_536, 150_001])
def test_what_comes_out_is_aligned_and_as_long_as_what_goes_in(
    tmp_path: Path, kind: str, length: int
) -> None:
    streams = [noise(length, 1, seed=3), noise(length, 1, seed=4)]
    found = hosted(tmp_path, kind, streams)
    # noise that single precision holds: nothing may be lost on the way
    for stream, out in zip(streams, found, strict=True):
        assert np.array_equal(out, stream)


@pytest.mark.parametrize("frames", [17, 509, 100_000])
def test_no_block_size_changes_a_bit(tmp_path: Path, frames: int) -> None:
    stream = noise(140_000 if frames > 100 else 5000, 2)
    (whole,) = hosted(tmp_path, "late", [stream])
    (found,) = hosted(tmp_path, "late", [stream], frames)
    assert np.array_equal(found, whole)


def test_what_a_plug_in_says_of_itself_is_told(tmp_path: Path) -> None:
    path = tmp_path / "late.vst3"
    path.touch()
    told = []
    for level in (0.5, 0.5, 0.25):
        with PluginHost(path, {"level": level, "mode": "hard"}, 48_000, 1, 0) as host:
            told.append(host.told)
    first = told[0]
    assert (first.name, first.maker, first.version) == (
        "Plain",
        "the workshop by the sea",
        "1.0",
    )
    assert first.latency_frames == strange_plugins.LATE_FRAMES
    assert first.settings == {"level": 0.5, "mode": "hard"}
    assert first.repeats
    assert told[1] == first
    assert told[2].state_sha256 != first.state_sha256


def test_one_channel_goes_in_on_both_sides_and_the_mean_comes_out(
    tmp_path: Path,
) -> None:
    stream = noise(1000)
    (found,) = hosted(tmp_path, "stereo", [stream])
    assert found == pytest.approx(1.5 * stream, rel=1e-6)
    both = noise(1000, 2)
    (found,) = hosted(tmp_path, "stereo", [both])
    assert np.array_equal(found, both * [1, 2])


def test_a_plug_in_that_never_does_the_same_is_found_out(tmp_path: Path) -> None:
    (tmp_path / "random.vst3").touch()
    with PluginHost(tmp_path / "random.vst3", {}, 48_000, 1, 0) as host:
        assert not host.told.repeats


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("crashes", "crashed while it played (SIGSEGV)"),
        ("dies", "crashed before it played (code 3)"),
        ("shortens", "gave 32768 frames back for 65536; a take must keep its length"),
        ("counts", "gave a sample that is no finite number"),
        ("raises", "failed while it played (no licence was found)"),
        ("plays", "is an instrument, and plays no take"),
        ("refuses", "can't be loaded (VST3Plugin: is for another machine)"),
    ],
)
def test_a_fault_is_told_in_one_sentence(tmp_path: Path, kind: str, words: str) -> None:
    with pytest.raises(InputError) as told:
        hosted(tmp_path, kind, [noise(200_000)])
    assert str(told.value) == f"{tmp_path / kind}.vst3: {words}"


def test_a_plug_in_that_gives_no_answer_is_ended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(plugin_host, "PATIENCE_S", 5.0)
    start = time.monotonic()
    with pytest.raises(InputError, match="gave no answer for 5 s while it played"):
        hosted(tmp_path, "hangs", [noise(100_000)])
    assert time.monotonic() - start < 30


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"leval": 1.0}, "has no setting 'leval'; it has level, mode"),
        ({"level": 3.0}, "level can't be set to 3; it goes from 0 to 2"),
        ({"level": "x"}, "level can't be set to 'x'; it goes from 0 to 2"),
        ({"mode": "warm"}, "mode can't be set to 'warm'; it takes soft, hard"),
    ],
)
def test_a_setting_that_it_does_not_have_is_refused(
    tmp_path: Path, settings: dict[str, float | str | bool], words: str
) -> None:
    with pytest.raises(InputError) as told:
        hosted(tmp_path, "plain", [noise(10)], settings=settings)
    assert words in str(told.value)


def test_three_channels_into_two_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="doesn't play a sound of 3 channels"):
        hosted(tmp_path, "stereo", [noise(10, 3)])


def test_a_plug_in_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such plug-in"):
        PluginHost(tmp_path / "none.vst3", {}, 48_000, 1, 1)


def test_without_the_host_the_way_to_get_it_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    with pytest.raises(MissingPartError, match=r"pip install 'tonebench\[plugins\]'"):
        PluginHost(tmp_path / "any.vst3", {}, 48_000, 1, 1)


def test_a_file_that_is_no_plug_in_is_refused_by_the_real_host(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.undo()
    path = tmp_path / "text.vst3"
    path.write_text("no plug-in at all", encoding="utf-8")
    with pytest.raises(InputError, match=r"text\.vst3: can't be loaded \(unsupported"):
        PluginHost(path, {}, 48_000, 1, 1)
