# SPDX-License-Identifier: GPL-3.0-or-later
"""A plug-in that plays streams, from this side: a process that is fed and asked.

What the plug-in does wrong comes out as one sentence: a crash, a silence for too long,
another length, a sample that is no number. Its latency is taken out. Knows nothing of
how plug-ins are loaded: `plugin_child` does that.
"""

import contextlib
import importlib.util
import os
import pickle
import signal
import subprocess
import sys
import threading
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.plugin_child import Asked, Refused, Told
from tonebench.errors import InputError, MissingPartError

Real = NDArray[np.float64]

#: Frames that are handed over at once, counted from the start of the stream.
HOP_FRAMES = 65536
#: How long a plug-in may think about one hop, or about being loaded.
PATIENCE_S = 120.0
#: What is started; a test puts a plug-in of its own behind it.
COMMAND = (
    *(sys.executable, "-P", "-c"),
    "from tonebench.audio.plugin_child import main; main()",
)


class PluginHost:
    """A plug-in in a process of its own, with a fresh instance for every voice.

    A context manager; the process has ended after it. What comes out is as long as what
    goes in, aligned with it, and the same whatever the blocks: `process` gives what is
    settled, `finish` the rest.

    Parameters
    ----------
    path : Path
        The plug-in.
    settings : mapping
        Its parameters by the names it gives them; the others stand as they start.
    sample_rate_hz, channels, voices : int
        How many streams come, and what they are.
    plugin_name : str
        Which one, where a file holds several.

    Attributes
    ----------
    told : Told
        What the plug-in says of itself.

    Raises
    ------
    MissingPartError
        If the part of tonebench that hosts plug-ins isn't installed.
    InputError
        If it isn't there, can't be loaded, set or fed, or ends on the way.
    """

    def __init__(
        self,
        path: Path,
        settings: Mapping[str, bool | float | str],
        sample_rate_hz: int,
        channels: int,
        voices: int,
        plugin_name: str = "",
    ) -> None:
        self._path, self._channels, self._voices = path, channels, voices
        if importlib.util.find_spec("pedalboard") is None:
            raise MissingPartError(
                f"{path}: to play plug-ins tonebench needs the package pedalboard; "
                "install it by pip install 'tonebench[plugins]'"
            )
        if not path.exists():
            raise InputError(f"{path}: no such plug-in; check its name and its folder")
        self._process = _started()
        asked = Asked(
            os.path.abspath(path),  # noqa: PTH100  # a link's own name tells its kind
            plugin_name,
            dict(settings),
            sample_rate_hz,
            channels,
            voices,
        )
        try:
            self.told: Told = self._asked(asked, "before it played")
        except BaseException:
            self.close()
            raise
        self._held = [np.zeros((0, channels)) for _ in range(voices)]
        self._early = self.told.latency_frames
        self._is_first, self._expected = True, HOP_FRAMES
        self._frames = self._given = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the process; closing it twice is harmless."""
        self._process.kill()
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe:
                with contextlib.suppress(OSError):
                    pipe.close()
        self._process.wait()

    def process(self, blocks: Sequence[Real]) -> list[Real]:
        """Take a block per voice in; return what is settled of each, of one length."""
        self._frames += len(blocks[0])
        held = [
            np.concatenate([kept, block])
            for kept, block in zip(self._held, blocks, strict=True)
        ]
        done: list[list[Real]] = [[] for _ in held]
        while len(held[0]) >= HOP_FRAMES:
            out = self._hop([kept[:HOP_FRAMES] for kept in held])
            for pieces, piece in zip(done, out, strict=True):
                pieces.append(piece)
            held = [kept[HOP_FRAMES:] for kept in held]
        self._held = held
        found = [
            np.concatenate(pieces) if pieces else np.zeros((0, self._channels))
            for pieces in done
        ]
        cut = min(self._early, len(found[0]))
        self._early -= cut
        self._given += len(found[0]) - cut
        return [piece[cut:] for piece in found]

    def finish(self) -> list[Real]:
        """Return what is still to come, cut where the streams ended."""
        left = self._frames - self._given
        silence = np.zeros((HOP_FRAMES + self.told.latency_frames, self._channels))
        rest = self.process([silence] * self._voices)
        if len(rest[0]) < left:
            raise self._fault("gives back less sound than it is given")
        return [piece[:left] for piece in rest]

    def _hop(self, blocks: Sequence[Real]) -> list[Real]:
        wide = self.told.channels
        asked = [
            np.ascontiguousarray(
                np.broadcast_to(block, (len(block), wide)), dtype=np.float32
            )
            for block in blocks
        ]
        found: list[NDArray[np.float32]] = self._asked(asked, "while it played")
        if self._is_first:
            self._note_latency(len(found[0]))
        expected = self._expected
        self._expected = HOP_FRAMES
        for piece in found:
            if piece.shape != (expected, wide):
                raise self._fault(
                    f"gave {len(piece)} frames back for {HOP_FRAMES}; a take must keep "
                    "its length"
                )
            if not np.isfinite(piece).all():
                raise self._fault("gave a sample that is no finite number")
        if wide == self._channels:
            return [piece.astype(np.float64) for piece in found]
        return [piece.mean(axis=1, keepdims=True, dtype=np.float64) for piece in found]

    def _note_latency(self, frames: int) -> None:
        """See whether the host keeps the latency back itself."""
        self._is_first = False
        kept_back = max(0, HOP_FRAMES - self.told.latency_frames)
        if frames == kept_back != HOP_FRAMES:
            self._expected, self._early = frames, 0

    def _asked(self, request: object, when: str) -> Any:
        """Hand a request over and wait for its answer."""
        wanted, answers = self._process.stdin, self._process.stdout
        assert wanted is not None
        assert answers is not None
        is_late = threading.Event()

        def end() -> None:
            is_late.set()
            self._process.kill()

        timer = threading.Timer(PATIENCE_S, end)
        timer.daemon = True
        timer.start()
        try:
            pickle.dump(request, wanted, protocol=pickle.HIGHEST_PROTOCOL)
            wanted.flush()
            answer = pickle.load(answers)
        except (EOFError, OSError, pickle.UnpicklingError) as error:
            if is_late.is_set():
                raise self._fault(
                    f"gave no answer for {PATIENCE_S:g} s {when}"
                ) from error
            raise self._fault(f"crashed {when}{self._signal()}") from error
        finally:
            timer.cancel()
        if isinstance(answer, Refused):
            raise self._fault(answer.fault)
        return answer

    def _signal(self) -> str:
        code = self._process.wait()
        with contextlib.suppress(ValueError):
            return f" ({signal.Signals(-code).name})"
        return f" (code {code})"

    def _fault(self, words: str) -> InputError:
        return InputError(f"{self._path}: {words}")


def _started() -> "subprocess.Popen[bytes]":
    path = os.pathsep.join(entry for entry in sys.path if entry)
    return subprocess.Popen(
        COMMAND,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,  # what a plug-in grumbles
        env={**os.environ, "PYTHONPATH": path},
        start_new_session=True,  # an interruption at the keyboard is ours alone
    )
