# SPDX-License-Identifier: GPL-3.0-or-later
"""Progress on stderr, for people only: nothing where stderr is no terminal."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click


@contextmanager
def shown_progress(doing: str, *, quiet: bool) -> Iterator[Callable[[float], None]]:
    """Show a line that counts up; yields what is told the share that is done."""
    if quiet or not sys.stderr.isatty():
        yield lambda share: None
        return
    last = -1

    def tell(share: float) -> None:
        nonlocal last
        percent = int(100 * share)
        if percent != last:
            last = percent
            click.echo(f"\r{doing} {percent:3d} %", err=True, nl=False)

    try:
        yield tell
    finally:
        click.echo("\r" + " " * (len(doing) + 6) + "\r", err=True, nl=False)
