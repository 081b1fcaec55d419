# SPDX-License-Identifier: GPL-3.0-or-later
"""Pictures drawn, and words found, in a second process, while this one renders.

Loading the plotting library and drawing take longer than a short take does. The second
process is this module run on its own: it loads the library at once, reads what to draw
and to tell from its standard input, and writes both to its standard output.
"""

import contextlib
import os
import pickle
import subprocess
import sys
from collections.abc import Sequence
from types import TracebackType
from typing import Self

from tonebench.report.client_words import AskedWords, PairWords, pair_words
from tonebench.report.plots import PairPicture, draw_pair
from tonebench.report.themes import DARK, LIGHT

#: The pictures of a pairing, by their key in the manifest: format and colours.
KINDS = {
    "svg": (".svg", LIGHT),
    "png": (".png", LIGHT),
    "svg_dark": (".svg", DARK),
    "png_dark": (".png", DARK),
}


class SecondHand:
    """Draws pictures of pairings in a process of its own; a context manager.

    `ask` once, go on with something else, then take the `words` and the `pictures`.
    When the block ends early the process ends with it.
    """

    _answer: tuple[list[dict[str, bytes]], list[PairWords]] | None = None

    def __enter__(self) -> Self:
        path = os.pathsep.join(entry for entry in sys.path if entry)
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-m", "tonebench.report.drawing"],
            bufsize=0,  # nothing is left to be written when the block ends early
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": path},
            start_new_session=True,  # an interruption at the keyboard is ours alone
        )
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._process.poll() is None:
            self._process.kill()
        for pipe in (self._process.stdin, self._process.stdout, self._process.stderr):
            if pipe:
                pipe.close()
        self._process.wait()

    def ask(
        self, pictures: Sequence[PairPicture], words: Sequence[AskedWords] = ()
    ) -> None:
        """Hand over what to draw, and what to find words for."""
        wanted = self._process.stdin
        assert wanted is not None
        left = memoryview(pickle.dumps((list(pictures), list(words))))
        # if the other process has ended, `pictures` says why
        with contextlib.suppress(BrokenPipeError):
            while left:
                left = left[wanted.write(left) :]
        wanted.close()
        self._process.stdin = None

    def pictures(self) -> list[dict[str, bytes]]:
        """Wait for the pictures: those of each pairing by their key in `KINDS`."""
        return self._answered()[0]

    def words(self) -> list[PairWords]:
        """Wait for the words of each pairing that were asked for."""
        return self._answered()[1]

    def _answered(self) -> tuple[list[dict[str, bytes]], list[PairWords]]:
        if self._answer is None:
            answer, complaint = self._process.communicate()
            if self._process.returncode != 0:
                told = complaint.decode(errors="replace").strip()
                raise RuntimeError(
                    f"drawing failed with code {self._process.returncode}: {told}"
                )
            self._answer = pickle.loads(answer)
        return self._answer


def _draw() -> None:
    import matplotlib.figure  # noqa: F401  # loaded while the other process measures

    wanted = sys.stdin.buffer.read()
    if not wanted:
        return  # the other process ended early
    pictures, asked = pickle.loads(wanted)
    drawn = [
        {key: draw_pair(picture, *how) for key, how in KINDS.items()}
        for picture in pictures
    ]
    sys.stdout.buffer.write(pickle.dumps((drawn, pair_words(asked))))


if __name__ == "__main__":
    _draw()
