# SPDX-License-Identifier: GPL-3.0-or-later
"""A plug-in at work in a process of its own: what crashes here, crashes nothing else.

Its `main` is run by `plugin_host`: it reads pickled requests from its standard input
and writes pickled answers to what was its standard output. The only importer of
pedalboard. Knows nothing of takes.
"""

import contextlib
import hashlib
import math
import os
import pickle
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

Single = NDArray[np.float32]
#: Frames at a time that the plug-in sees: as a host of today would give it.
BUFFER_FRAMES = 512
_PROBE_FRAMES = 16 * BUFFER_FRAMES


@dataclass(frozen=True, slots=True)
class Asked:
    """Which plug-in, how it is set, and what it is to play: the first request.

    `voices` is how many streams there are, each with `channels` of its own and through
    an instance of its own.
    """

    path: str
    name: str
    settings: Mapping[str, bool | float | str]
    sample_rate_hz: int
    channels: int
    voices: int


@dataclass(frozen=True, slots=True)
class Told:
    """What a plug-in says of itself, and how it stands once it is set."""

    name: str
    maker: str
    version: str
    latency_frames: int
    channels: int
    settings: Mapping[str, bool | float | str]
    state_sha256: str
    repeats: bool


@dataclass(frozen=True, slots=True)
class Refused:
    """Why a plug-in can't do what is asked, as the end of a sentence."""

    fault: str


class _Refusal(Exception):
    pass


Load = Callable[[str, str], Any]


def load_plugin(path: str, name: str) -> Any:
    """Load a plug-in as pedalboard does; `name` tells it from others in its file."""
    from pedalboard._pedalboard import load_plugin as load

    return load(path, plugin_name=name or None, initialization_timeout=30.0)


def serve(requests: BinaryIO, answers: BinaryIO, load: Load = load_plugin) -> None:
    """Answer requests until there are none: first an `Asked`, then lists of blocks."""
    asked = pickle.load(requests)
    try:
        told, voices = _begun(asked, load)
    except _Refusal as refusal:
        _answer(answers, Refused(str(refusal)))
        return
    _answer(answers, told)
    while (blocks := pickle.load(requests)) is not None:
        try:
            found = [
                _played(voice, block, asked.sample_rate_hz)
                for voice, block in zip(voices, blocks, strict=True)
            ]
        except Exception as error:  # whatever a stranger's code raises
            _answer(answers, Refused(f"failed while it played ({_words(error)})"))
            return
        _answer(answers, found)


def _answer(answers: BinaryIO, answer: object) -> None:
    pickle.dump(answer, answers, protocol=pickle.HIGHEST_PROTOCOL)
    answers.flush()


def _words(error: Exception) -> str:
    return " ".join(str(error).split()).rstrip(".") or type(error).__name__


def _played(plugin: Any, block: Single, rate: int) -> Single:
    out = plugin.process(block, rate, buffer_size=BUFFER_FRAMES, reset=False)
    return np.asarray(out, dtype=np.float32)


def _begun(asked: Asked, load: Load) -> tuple[Told, list[Any]]:
    """Load and set an instance for every voice, and one more that is tried out."""
    tried = _loaded(asked, load)
    if getattr(tried, "is_instrument", False):
        raise _Refusal("is an instrument, and plays no take")
    channels = _channels(tried, asked)
    latency = int(getattr(tried, "reported_latency_samples", 0))
    repeats = _repeats([tried, _loaded(asked, load)], channels, asked.sample_rate_hz)
    voices = [_loaded(asked, load) for _ in range(asked.voices)]
    standing = voices[0] if voices else tried
    state = bytes(getattr(standing, "raw_state", b""))
    told = Told(
        name=str(getattr(tried, "name", type(tried).__name__)),
        maker=str(getattr(tried, "manufacturer_name", "")),
        version=str(getattr(tried, "version", "")),
        latency_frames=latency,
        channels=channels,
        settings=_settings(standing),
        state_sha256=hashlib.sha256(state).hexdigest(),
        repeats=repeats,
    )
    return told, voices


def _loaded(asked: Asked, load: Load) -> Any:
    try:
        plugin = load(asked.path, asked.name)
    except Exception as error:  # whatever a stranger's code raises
        reason = str(error).partition("\t")[2] or str(error)
        reason = reason.partition(f"{asked.path}: ")[2] or reason
        raise _Refusal(f"can't be loaded ({_words(Exception(reason))})") from error
    for name, value in asked.settings.items():
        _set(plugin, name, value)
    return plugin


def _set(plugin: Any, name: str, value: bool | float | str) -> None:
    parameters: Mapping[str, Any] = plugin.parameters
    if name not in parameters:
        known = ", ".join(parameters) or "none"
        raise _Refusal(f"has no setting '{name}'; it has {known}")
    try:
        setattr(plugin, name, value)
    except Exception as error:  # whatever a stranger's code raises
        shown = f"{value:g}" if isinstance(value, float) else repr(value)
        raise _Refusal(
            f"{name} can't be set to {shown}{_range(parameters[name])}"
        ) from error


def _range(parameter: Any) -> str:
    words = [
        f"{value:g}" if isinstance(value, float) else str(value)
        for value in getattr(parameter, "valid_values", [])
    ]
    if 0 < len(words) <= 12:
        return f"; it takes {', '.join(words)}"
    low, high = (getattr(parameter, key, None) for key in ("min_value", "max_value"))
    return "" if low is None or high is None else f"; it goes from {low:g} to {high:g}"


def _channels(plugin: Any, asked: Asked) -> int:
    """Return how many channels a plug-in is given: the take's, or two for one."""
    reason = ""
    for channels in (asked.channels, 2) if asked.channels == 1 else (asked.channels,):
        silence = np.zeros((BUFFER_FRAMES, channels), np.float32)
        try:
            out = _played(plugin, silence, asked.sample_rate_hz)
        except Exception as error:  # whatever a stranger's code raises
            reason = _words(error)
            continue
        if out.ndim == 2 and out.shape[1] == channels:
            return channels
        reason = f"it gave the shape {out.shape} for {silence.shape}"
    count = "1 channel" if asked.channels == 1 else f"{asked.channels} channels"
    raise _Refusal(f"doesn't play a sound of {count} ({reason})")


def _repeats(plugins: list[Any], channels: int, rate: int) -> bool:
    """Return whether two instances make the same of a short noise."""
    values = np.random.default_rng(1).uniform(-0.1, 0.1, (_PROBE_FRAMES, channels))
    noise = values.astype(np.float32)
    silence = np.zeros((BUFFER_FRAMES, channels), np.float32)
    _played(plugins[1], silence, rate)  # as the first one heard it
    one, other = (_played(plugin, noise, rate) for plugin in plugins)
    return one.shape == other.shape and np.array_equal(one, other, equal_nan=True)


def _settings(plugin: Any) -> dict[str, bool | float | str]:
    """Return where every parameter stands, as plain values."""
    found: dict[str, bool | float | str] = {}
    for name in getattr(plugin, "parameters", {}):
        value = getattr(plugin, name, None)
        if isinstance(value, (bool, np.bool_)):
            found[name] = bool(value)
        elif isinstance(value, (int, float)) and math.isfinite(value):
            found[name] = float(value)
        else:
            found[name] = str(value)
    return found


def main(load: Load = load_plugin) -> None:
    """Serve the process that started this one; what a plug-in prints goes nowhere."""
    answers = os.fdopen(os.dup(1), "wb")
    with open(os.devnull, "wb") as nowhere:  # noqa: PTH123  # by its number below
        os.dup2(nowhere.fileno(), 1)
    # the other process is done, or was ended
    with contextlib.suppress(EOFError, BrokenPipeError):
        serve(sys.stdin.buffer, answers, load)
    answers.close()
    os._exit(0)  # a plug-in that crashes while it is unloaded harms nothing
