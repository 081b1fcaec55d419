# SPDX-License-Identifier: GPL-3.0-or-later
"""Small comparison folders to listen blind to, and stand-ins for keys and sound card.

The clips are seeded 24-bit noise, so that no frame of one is like any other.
"""

import contextlib
import hashlib
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sounds import write_24

from tonebench.compare.blind import Plan

RATE = 8_000
PLAN = Plan(
    kind="which",
    trials=16,
    level=0.05,
    listener="Ada",
    comparison="Both boxes",
    pairing="both flat",
    take="walk.wav",
    clips=("a" * 64, "b" * 64),
)


def integers(seed: int, frames: int, channels: int = 1) -> NDArray[np.int64]:
    """Return noise of one RMS, whatever the seed."""
    noise = np.random.default_rng(seed).normal(0, 1, (frames, channels))
    noise *= 2**19 / np.sqrt(np.mean(noise**2))
    return np.round(np.clip(noise, -(2**23), 2**23 - 1)).astype(np.int64)


def blind_folder(
    folder: Path,
    frames: int = RATE,
    b_db: float = 0.0,
    channels: int = 1,
    pairings: tuple[tuple[str, str], ...] = (("both flat", "walk.wav"),),
) -> Path:
    """Write clips and a manifest; B stands so far above A."""
    folder.mkdir(exist_ok=True)
    told = []
    for number, (name, take) in enumerate(pairings):
        clips = {}
        for letter, gain_db in (("a", 0.0), ("b", b_db)):
            clip = integers(2 * number + (letter == "b"), frames, channels)
            clip = np.round(clip * 10 ** (gain_db / 20)).astype(np.int64)
            path = write_24(folder / f"{number}{letter}.wav", clip, RATE)
            sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
            clips[letter] = {"file": path.name, "sha256": sha256}
        told.append({"name": name, "take": take, "clips": clips})
    manifest = {"schema": 1, "title": "Both boxes", "pairings": told}
    (folder / "manifest.json").write_text(json.dumps(manifest), encoding="utf-8")
    return folder


def pressed(keys: str) -> Callable[[], str]:
    """Return a reader of keys: one after the other, then no more."""
    left = iter(keys)
    return lambda: next(left, "")


class Recorder:
    """A sound card that keeps what it is given: so many frames for every key.

    Use `opener` to open it and `keys` as the listener.
    """

    words = "a recorder"

    def __init__(self, frames_per_key: int = RATE // 4) -> None:
        self.blocks: list[NDArray[np.float32]] = []
        self.is_open = False
        self._frames = frames_per_key
        self._fill: Callable[[int], NDArray[np.float32]]

    @contextlib.contextmanager
    def opener(
        self, fill: Callable[[int], NDArray[np.float32]], rate: int, channels: int
    ) -> Iterator["Recorder"]:
        """Open it, as `tonebench.audio.devices.open_output` does."""
        self.opened_for = rate, channels
        self._fill, self.is_open = fill, True
        try:
            yield self
        finally:
            self.is_open = False

    def keys(
        self, answer: Callable[[int], str], before: str = "x"
    ) -> Callable[[], str]:
        """Return a listener who presses `before`, and then answers each trial."""
        sequence = self._sequence(answer, before)

        def read() -> str:
            assert self.is_open
            # ugly blocks, as sound cards ask for
            for size in (17, 509, self._frames - 526):
                self.blocks.append(self._fill(size))
            return next(sequence, "")

        return read

    @staticmethod
    def _sequence(answer: Callable[[int], str], before: str) -> Iterator[str]:
        trial = 0
        while True:
            yield from before
            yield answer(trial)
            trial += 1

    @property
    def heard(self) -> NDArray[np.float32]:
        """All that was played, one row of frames for each key."""
        return np.concatenate(self.blocks).reshape(-1, self._frames, 1)


def silent(line: str) -> None:
    """Take a sentence, and keep it to oneself."""


def never_opened(*_: Any) -> Any:
    """Fail: there was no need for a sound card."""
    raise AssertionError("a sound card was opened")
