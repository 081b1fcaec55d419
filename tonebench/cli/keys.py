# SPDX-License-Identifier: GPL-3.0-or-later
"""Keys from a terminal, one by one and without Enter, or signs that are piped in."""

import os
import select
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click

_SOON_S = 0.02  # the bytes of one key come together


@contextmanager
def key_reader() -> Iterator[Callable[[], str]]:
    """Yield what returns the next key, "" once no more will come.

    A terminal stays in that mode until the end, so that no key between two readings is
    lost or shown; Ctrl-C interrupts as ever.
    """
    if not sys.stdin.isatty():
        yield _piped
    elif os.name == "nt":
        yield click.getchar
    else:
        import termios
        import tty

        terminal = sys.stdin.fileno()
        before = termios.tcgetattr(terminal)
        tty.setcbreak(terminal, termios.TCSADRAIN)
        try:
            yield lambda: _pressed(terminal)
        finally:
            termios.tcsetattr(terminal, termios.TCSADRAIN, before)


def _piped() -> str:
    while (sign := sys.stdin.read(1)) in ("\n", "\r"):
        pass
    return sign


def _pressed(terminal: int) -> str:
    """Return a key; for one of several bytes, such as an arrow, "?"."""
    key = _byte(terminal)
    if key == b"\x1b":
        if _byte(terminal, _SOON_S) in (b"[", b"O"):  # ECMA-48: up to a final byte
            while b" " <= _byte(terminal, _SOON_S) < b"@":
                pass
        return "?"
    return "" if key == b"\x04" else key.decode("ascii", "replace")


def _byte(terminal: int, within_s: float | None = None) -> bytes:
    """Return the next byte; b"" if the terminal is gone, or none comes in time."""
    try:
        is_there = select.select([terminal], [], [], within_s)[0]
        return os.read(terminal, 1) if is_there else b""
    except OSError:
        return b""
