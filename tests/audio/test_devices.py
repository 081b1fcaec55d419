# SPDX-License-Identifier: GPL-3.0-or-later
"""The sound card behind its door: what it is asked for, and what is told if it fails.

A stand-in takes the library's place, with the same calls and the same errors.
"""

import builtins
import sys
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from tonebench.audio.devices import open_output
from tonebench.errors import DeviceError, MissingPartError

CARD = {"name": "built in", "index": 3, "max_output_channels": 2}


class PortAudioError(Exception):
    """As the library raises it: words, and a number."""


class Stream:
    """An open stream that asks for one block when it begins."""

    given: dict[str, Any]
    played: NDArray[np.float32] | None
    is_running: bool

    def __init__(self, **given: Any) -> None:
        if given["samplerate"] == 12_345:
            raise PortAudioError("Error opening OutputStream: Invalid rate", -9997)
        Stream.given, Stream.played = given, None

    def __enter__(self) -> "Stream":
        Stream.is_running = True
        block = np.full((64, self.given["channels"]), 9, np.float32)
        self.given["callback"](block, 64, None, None)
        Stream.played = block
        return self

    def __exit__(self, *_: object) -> None:
        Stream.is_running = False


def query(device: object = None, kind: str | None = None) -> Any:
    if kind is None:
        return [CARD, {"name": "microphone", "index": 1, "max_output_channels": 0}]
    if device in (None, "built in", 3):
        return CARD
    raise ValueError(f"No output device matching {device!r}")


@pytest.fixture
def library(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Put a stand-in in the place of the library."""
    module: Any = ModuleType("sounddevice")
    module.PortAudioError = PortAudioError
    module.OutputStream = Stream
    module.query_devices = query
    monkeypatch.setitem(sys.modules, "sounddevice", module)
    return module


def ramp(channels: int) -> Any:
    def fill(frames: int) -> NDArray[np.float32]:
        values = np.arange(frames * channels, dtype=np.float32)
        return values.reshape(frames, channels)

    return fill


@pytest.mark.parametrize("device", [None, "built in", "3"])
def test_frames_go_to_the_card_as_they_are_until_the_end(
    library: Any, device: str | None
) -> None:
    with open_output(ramp(2), 44_100, 2, device) as output:
        assert Stream.is_running
        assert output.words == "built in, 44100 Hz"
        assert Stream.given["device"] == 3
        assert Stream.given["samplerate"] == 44_100
        assert Stream.given["dtype"] == "float32"
        np.testing.assert_array_equal(Stream.played, ramp(2)(64))
    assert not Stream.is_running


def test_one_channel_is_played_on_both_sides(library: Any) -> None:
    with open_output(ramp(1), 48_000, 1):
        assert Stream.played is not None
        np.testing.assert_array_equal(Stream.played, np.repeat(ramp(1)(64), 2, 1))


def test_a_rate_that_the_card_can_t_play_is_told(library: Any) -> None:
    with (
        pytest.raises(
            DeviceError,
            match=r"'built in' can't play 2 channels at 12345 Hz \(.*Invalid rate\).*"
            "--files FOLDER",
        ) as caught,
        open_output(ramp(2), 12_345, 2),
    ):
        pass
    assert caught.value.exit_code == 4


def test_a_card_that_isn_t_there_is_told_with_those_that_are(library: Any) -> None:
    with (
        pytest.raises(DeviceError, match=r"called 'moon'; there are: built in$"),
        open_output(ramp(1), 48_000, 1, "moon"),
    ):
        pass


def test_no_card_at_all_is_told(library: Any) -> None:
    def none(*_: object) -> Any:
        raise PortAudioError("Error querying device -1")

    library.query_devices = none
    with (
        pytest.raises(DeviceError, match=r"no sound card is there.*--files FOLDER"),
        open_output(ramp(1), 48_000, 1),
    ):
        pass


@pytest.mark.parametrize(
    ("error", "told"),
    [
        (
            ModuleNotFoundError("No module named 'sounddevice'"),
            "pip install sounddevice",
        ),
        (OSError("PortAudio library not found"), "apt install libportaudio2"),
    ],
    ids=["no library", "no PortAudio"],
)
def test_a_missing_part_is_told_with_how_to_get_it(
    monkeypatch: pytest.MonkeyPatch, error: Exception, told: str
) -> None:
    real = builtins.__import__

    def without(name: str, *rest: Any) -> Any:
        if name == "sounddevice":
            raise error
        return real(name, *rest)

    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(builtins, "__import__", without)
    with (
        pytest.raises(MissingPartError, match=f"{told}.*--files FOLDER") as caught,
        open_output(ramp(1), 48_000, 1),
    ):
        pass
    assert caught.value.exit_code == 5
