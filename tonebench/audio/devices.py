# SPDX-License-Identifier: GPL-3.0-or-later
"""Sound cards, by way of PortAudio: the only importer of sounddevice.

An output asks a function for frames, from a thread of its own, until it is closed.
Knows nothing of what is played.
"""

import contextlib
from collections.abc import Callable, Iterator
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from tonebench.errors import DeviceError, MissingPartError

_WAY_OUT = (
    "choose another one by --device, or give --files FOLDER to play the clips by "
    "another program"
)
#: Returns the next frames, shape (frames, channels); called by the card's thread.
Fill = Callable[[int], NDArray[np.float32]]


class Output(Protocol):
    """Something that plays: a sound card, or a stand-in that keeps what it is given."""

    @property
    def words(self) -> str:
        """What it is, in words."""
        ...


#: Opens an output for frames of a rate and a number of channels, as `open_output`.
OutputOpener = Callable[[Fill, int, int], contextlib.AbstractContextManager[Output]]


class _Card:
    def __init__(self, words: str) -> None:
        self.words = words


@contextlib.contextmanager
def open_output(
    fill: Fill, sample_rate_hz: int, channels: int, device: str | None = None
) -> Iterator[Output]:
    """Open a sound card, and let it ask for frames until the `with` block ends.

    One channel is played on both sides. What the card can't play at this rate is
    refused, never resampled here.

    Parameters
    ----------
    fill : callable
        What gives the frames.
    sample_rate_hz, channels : int
        Their rate and channels.
    device : str, optional
        A part of the card's name, or its number; the system's own choice if left out.

    Raises
    ------
    MissingPartError
        If sounddevice or PortAudio isn't installed.
    DeviceError
        If there is no such card, or it can't play this.
    """
    library = _sounddevice()
    spread = 2 if channels == 1 else channels

    def callback(out: NDArray[np.float32], frames: int, *_: object) -> None:
        out[:] = fill(frames)

    card = _card(library, device)
    try:
        stream = library.OutputStream(
            samplerate=sample_rate_hz,
            channels=spread,
            dtype="float32",
            device=card["index"],
            callback=callback,
        )
    except (library.PortAudioError, ValueError) as error:
        raise DeviceError(
            f"sound card '{card['name']}' can't play {spread} channels at "
            f"{sample_rate_hz} Hz ({_reason(error)}); {_WAY_OUT}"
        ) from error
    with stream:
        yield _Card(f"{card['name']}, {sample_rate_hz} Hz")


def _sounddevice() -> Any:
    try:
        import sounddevice
    except ImportError as error:
        raise MissingPartError(
            "to play, tonebench needs sounddevice; pip install sounddevice, or "
            "give --files FOLDER to play the clips by another program"
        ) from error
    except OSError as error:  # its own library isn't there
        raise MissingPartError(
            "to play, tonebench needs PortAudio; install it (Debian, Ubuntu: "
            "apt install libportaudio2), or give --files FOLDER to play the clips by "
            "another program"
        ) from error
    return sounddevice


def _card(library: Any, device: str | None) -> Any:
    """Return what the library knows of a card."""
    asked = int(device) if device and device.isdecimal() else device
    try:
        return library.query_devices(asked, "output")
    except (library.PortAudioError, ValueError) as error:
        if device:
            known = [c["name"] for c in library.query_devices() if _plays(c)]
            there = "; ".join(known) or "none"
            fault = f"no sound card to play through is called '{device}'"
            raise DeviceError(f"{fault}; there are: {there}") from error
        raise DeviceError(f"no sound card is there to play through; {_WAY_OUT}") from (
            error
        )


def _plays(card: Any) -> bool:
    return bool(card["max_output_channels"])


def _reason(error: Exception) -> str:
    return str(error.args[0] if error.args else error).splitlines()[0].rstrip(".")
