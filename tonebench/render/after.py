# SPDX-License-Identifier: GPL-3.0-or-later
"""What comes after the preamp, made ready for one take: the same for all its clips.

Impulse responses are read and brought to the take's rate, plug-ins tried out, before a
clip is begun. Playing through them is `tonebench.render.stream`'s.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonebench.audio.impulse import Impulse, read_impulse
from tonebench.audio.plugin_child import Told
from tonebench.audio.plugin_host import PluginHost
from tonebench.errors import AudioError
from tonebench.plan.after import ImpulseResponse, PlugIn, Step

Real = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class ReadyResponse:
    """An impulse response as its file has it, and as it is used."""

    found: Impulse
    used: Impulse

    @property
    def notices(self) -> tuple[str, ...]:
        """What a listener should know."""
        name, rate = self.found.name, self.found.sample_rate_hz
        told = [f"what still rings in {name} when the take ends is cut off"]
        if self.used.sample_rate_hz != rate:
            told.append(
                f"the response {name} is at {rate} Hz and was brought to "
                f"{self.used.sample_rate_hz} Hz, its gain kept"
            )
        return tuple(told)

    @property
    def facts(self) -> dict[str, object]:
        """What a manifest holds."""
        return {
            "kind": "impulse response",
            "file": self.found.name,
            "sha256": self.found.sha256,
            "sample_rate_hz": self.found.sample_rate_hz,
            "channels": self.found.samples.shape[1],
            "frames": len(self.found.samples),
        }


@dataclass(frozen=True, slots=True, eq=False)
class ReadyPlugIn:
    """A plug-in that was tried out, and what it says of itself."""

    asked: PlugIn
    told: Told
    channels: int

    @property
    def notices(self) -> tuple[str, ...]:
        """What a listener should know."""
        name, told = self.asked.path.name, self.told
        maker = f" by {told.maker}" if told.maker else ""
        late = (
            "no frame" if not told.latency_frames else f"{told.latency_frames} frames"
        )
        found = [
            f"the plug-in {name} is {told.name} {told.version}".rstrip()
            + f"{maker}; it says it is "
            f"{late} late, and that is taken out"
        ]
        if told.channels != self.channels:
            found.append(
                f"the plug-in {name} plays {told.channels} channels: the one of the "
                "take goes in on both, and their mean comes out"
            )
        if not told.repeats:
            found.append(
                f"the plug-in {name} doesn't give the same sound twice: levels are "
                "not quite those of the clips, and a second run gives other ones"
            )
        return tuple(found)

    @property
    def facts(self) -> dict[str, object]:
        """What a manifest holds."""
        return {
            "kind": "plug-in",
            "file": self.asked.path.name,
            "name": self.told.name,
            "maker": self.told.maker,
            "version": self.told.version,
            "latency_frames": self.told.latency_frames,
            "channels": self.told.channels,
            "settings": dict(self.told.settings),
            "state_sha256": self.told.state_sha256,
            "repeats": self.told.repeats,
        }


Ready = ReadyResponse | ReadyPlugIn


@dataclass(frozen=True, slots=True, eq=False)
class After:
    """All that comes after, in order, ready for streams of one rate and width."""

    steps: tuple[Ready, ...]
    sample_rate_hz: int
    channels: int

    @property
    def notices(self) -> tuple[str, ...]:
        """What a listener should know."""
        return tuple(notice for step in self.steps for notice in step.notices)

    @property
    def facts(self) -> list[dict[str, object]]:
        """What a manifest holds of every step."""
        return [step.facts for step in self.steps]

    @property
    def has_plugins(self) -> bool:
        """Whether a plug-in is among the steps."""
        return any(isinstance(step, ReadyPlugIn) for step in self.steps)

    @property
    def latency_frames(self) -> int:
        """How late the plug-ins are by their own word, all together."""
        return sum(
            step.told.latency_frames
            for step in self.steps
            if isinstance(step, ReadyPlugIn)
        )

    def gain_db(self, frequency_hz: ArrayLike) -> Real:
        """Return the gain of the impulse responses in dB, shape (F,).

        Averaged over thirds of an octave. A plug-in may be anything, and counts as 0.
        """
        total = np.zeros(np.shape(frequency_hz))
        for step in self.steps:
            if isinstance(step, ReadyResponse):
                total = total + step.used.gain_db(frequency_hz)
        return total


def ready(steps: Sequence[Step], sample_rate_hz: int, channels: int) -> After | None:
    """Make what comes after ready; None if there is nothing.

    Raises
    ------
    AudioError
        If an impulse response can't be read or used.
    InputError
        If a plug-in can't be loaded or set, or doesn't take such a sound.
    MissingPartError
        If the part that hosts plug-ins isn't installed.
    """
    if not steps:
        return None
    made = (
        _response(step, sample_rate_hz, channels)
        if isinstance(step, ImpulseResponse)
        else _tried(step, sample_rate_hz, channels)
        for step in steps
    )
    return After(tuple(made), sample_rate_hz, channels)


def files_of(steps: Sequence[Step]) -> tuple[Path, ...]:
    """Return the files that must not be written over."""
    return tuple(step.path for step in steps)


def _response(step: ImpulseResponse, rate: int, channels: int) -> ReadyResponse:
    found = read_impulse(step.path)
    has = found.samples.shape[1]
    if has not in (1, channels):
        fit = "1" if channels == 1 else f"1 or {channels}"
        raise AudioError(
            f"{step.path}: has {has} channels, but the clip it is for has {channels}; "
            f"give an impulse response of {fit}"
        )
    return ReadyResponse(found, found.at_rate(rate))


def _tried(step: PlugIn, rate: int, channels: int) -> ReadyPlugIn:
    with PluginHost(step.path, step.settings, rate, channels, 0, step.name) as host:
        return ReadyPlugIn(step, host.told, channels)
