# SPDX-License-Identifier: GPL-3.0-or-later
"""Plug-ins that behave in every way a stranger's may, behind the door of real ones.

What is loaded goes by the file's name: ``late.vst3``, ``crashes.vst3`` and so on.
"""

import os
import signal
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.plugin_child import main as serve_main

#: What a real command starts, with these in place of real ones.
COMMAND = (sys.executable, "-P", "-c", "import strange_plugins as s; s.main()")
LATE_FRAMES = 300
#: Frames of the trial run before a take is played, and some more.
_TRIED = 20_000
Single = NDArray[np.float32]


class Plain:
    """Turns the level; a parameter, a latency and a name like a real one's."""

    name, manufacturer_name, version = "Plain", "the workshop by the sea", "1.0"
    is_instrument = False
    reported_latency_samples = 0

    def __init__(self) -> None:
        self.level, self.mode, self.heard = 1.0, "soft", 0
        self.parameters = {"level": _Range(), "mode": _Words()}

    def __setattr__(self, name: str, value: Any) -> None:
        if name == "level" and not (isinstance(value, float) and 0 <= value <= 2):
            raise ValueError("out of range")
        if name == "mode" and value not in _Words.valid_values:
            raise ValueError("not known")
        super().__setattr__(name, value)

    @property
    def raw_state(self) -> bytes:
        return f"{self.level} {self.mode}".encode()

    def process(
        self, block: Single, rate: float, buffer_size: int, reset: bool
    ) -> Single:
        assert not reset
        print("a plug-in that talks where the answers go")
        self.heard += len(block)
        return self.made(block * np.float32(self.level))

    def made(self, block: Single) -> Single:
        return block

    @property
    def plays(self) -> bool:
        """Whether the trial run is over."""
        return self.heard > _TRIED


class _Range:
    min_value, max_value = 0.0, 2.0


class _Words:
    valid_values = ("soft", "hard")


class Late(Plain):
    reported_latency_samples = LATE_FRAMES

    def made(self, block: Single) -> Single:
        held = getattr(self, "held", np.zeros((LATE_FRAMES, block.shape[1]), "f4"))
        both = np.concatenate([held, block])
        self.held = both[len(block) :]
        return both[: len(block)]


class Kept(Late):
    """Keeps its latency back, as some hosts do for it."""

    def made(self, block: Single) -> Single:
        out = super().made(block)
        cut = max(0, LATE_FRAMES - (self.heard - len(block)))
        return out[cut:]


class Stereo(Plain):
    """Has two sides, of which the right is twice as loud."""

    def made(self, block: Single) -> Single:
        if block.shape[1] != 2:
            raise ValueError("two channels, please.")
        return block * np.array([1, 2], "f4")


class Crashes(Plain):
    def made(self, block: Single) -> Single:
        if self.plays:
            os.kill(os.getpid(), signal.SIGSEGV)
        return block


class Dies(Plain):
    def __init__(self) -> None:
        os._exit(3)


class Hangs(Plain):
    def made(self, block: Single) -> Single:
        if self.plays:
            time.sleep(60)
        return block


class Shortens(Plain):
    def made(self, block: Single) -> Single:
        return block[: len(block) // 2] if self.plays else block


class Counts(Plain):
    """Gives what is no number, from the second hop on."""

    def made(self, block: Single) -> Single:
        return block * np.float32("nan") if self.heard > 100_000 else block


class Raises(Plain):
    def made(self, block: Single) -> Single:
        if self.plays:
            raise RuntimeError("no licence was found.")
        return block


class Random(Plain):
    def made(self, block: Single) -> Single:
        rng = np.random.default_rng()
        return block + rng.uniform(-1e-3, 1e-3, block.shape).astype("f4")


class Plays(Plain):
    is_instrument = True


class Refuses(Plain):
    def __init__(self) -> None:
        raise ImportError("Errors were:\n\tVST3Plugin: is for another machine.")


class Doubles(Plain):
    """What it makes isn't the sum of what it makes of the parts: 2·x·|x|."""

    def made(self, block: Single) -> Single:
        return 2 * block * np.abs(block)


def _builtin() -> Any:
    """Return a plug-in of pedalboard's own that is late, dressed like a loaded one."""
    import pedalboard_native

    class BuiltIn:
        name, parameters = "Built in", {}
        reported_latency_samples = LATE_FRAMES

        def __init__(self) -> None:
            self._inner = pedalboard_native._internal.AddLatency(LATE_FRAMES)

        def process(self, *values: Any, **named: Any) -> Any:
            return self._inner.process(*values, **named)

    return BuiltIn()


def load(path: str, name: str) -> Any:
    """Load the plug-in of a file's name."""
    stem = Path(path).stem
    kinds = {kind.__name__.lower(): kind for kind in (Plain, *_all(Plain))}
    return _builtin() if stem == "builtin" else kinds[stem]()


def _all(kind: type) -> list[type]:
    found = list(kind.__subclasses__())
    return found + [deeper for each in found for deeper in _all(each)]


def main() -> None:
    """Serve as the real one does, with these behind it."""
    serve_main(load)
