# SPDX-License-Identifier: GPL-3.0-or-later
"""What comes after the preamp, read from options and files."""

from pathlib import Path

import pytest

from tonebench.errors import RequestError
from tonebench.plan.after import (
    ImpulseResponse,
    PlugIn,
    after_from,
    line_with_after,
    parse_after,
)


def test_a_recording_is_an_impulse_response() -> None:
    assert parse_after("my/cab.wav") == ImpulseResponse(Path("my/cab.wav"))
    assert parse_after("12:30 cab.flac") == ImpulseResponse(Path("12:30 cab.flac"))


def test_a_plug_in_is_told_by_its_ending_and_may_be_set() -> None:
    assert parse_after("box.VST3") == PlugIn(Path("box.VST3"))
    found = parse_after("a:b/box.vst3: mix = -0.5 ,mode=warm")
    assert found == PlugIn(Path("a:b/box.vst3"), {"mix": -0.5, "mode": "warm"})
    assert parse_after("x.component/:a=1") == PlugIn(Path("x.component"), {"a": 1.0})


@pytest.mark.parametrize(
    "text", ["box.vst3:", "box.vst3:mix", "box.vst3:mix=", "box.vst3:a=1,,b=2"]
)
def test_a_setting_without_name_or_value_is_refused(text: str) -> None:
    with pytest.raises(RequestError, match=r"write it like --after box\.vst3:mix=0\.5"):
        parse_after(text)


@pytest.mark.parametrize("text", ["box.dll", "box.so", "box.clap", "box.lv2"])
def test_a_plug_in_of_another_kind_is_refused(text: str) -> None:
    with pytest.raises(RequestError, match="give a VST3"):
        parse_after(text)


def test_files_beside_the_comparison_are_meant_first(tmp_path: Path) -> None:
    (tmp_path / "cab.wav").touch()
    (tmp_path / "box.vst3").mkdir()
    entries = ["cab.wav", {"plugin": "box.vst3", "settings": {"mix": 1, "on": "yes"}}]
    assert after_from([*entries, "elsewhere.wav"], tmp_path) == (
        ImpulseResponse(tmp_path / "cab.wav"),
        PlugIn(tmp_path / "box.vst3", {"mix": 1.0, "on": "yes"}),
        ImpulseResponse(Path("elsewhere.wav")),
    )
    assert after_from("cab.wav", tmp_path) == (ImpulseResponse(tmp_path / "cab.wav"),)
    assert after_from([], tmp_path) == ()


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (3, "after must be files such as"),
        ([["cab.wav"]], "after must be files such as"),
        ("", 'after must name a file, got ""'),
        ({"plugin": 3}, "a plug-in is written"),
        ({"plugin": "a.vst3", "mix": 1}, "a plug-in is written"),
        ({"plugin": "a.vst3", "settings": 1}, "settings must be a table such as"),
        ({"plugin": "a.vst3", "settings": {"on": []}}, "on must be a number, true"),
        ({"plugin": "cab.wav"}, "'cab.wav' is no plug-in: it must end in .vst3 or"),
    ],
)
def test_what_is_no_step_is_refused(tmp_path: Path, value: object, words: str) -> None:
    with pytest.raises(RequestError) as told:
        after_from(value, tmp_path)
    assert words in str(told.value)


def test_the_chain_goes_on_with_what_comes_after_it() -> None:
    steps = [
        PlugIn(Path("x/box.vst3"), {"mix": 0.5, "mode": "warm", "on": True}, "Two"),
        ImpulseResponse(Path("x/cab.wav")),
    ]
    line = line_with_after("sedge → tern → 1 MΩ", steps)
    assert line == (
        "sedge → tern → 1 MΩ → box.vst3 Two (mix 0.5, mode warm, on on) → cab.wav"
    )
    assert line_with_after("sedge → tern", []) == "sedge → tern"
