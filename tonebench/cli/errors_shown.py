# SPDX-License-Identifier: GPL-3.0-or-later
"""Errors on stderr: a line a fault for people, one JSON object for programs."""

import json

import click

from tonebench.errors import FileFaults, TonebenchError


def show(error: TonebenchError, as_json: bool) -> None:
    """Print an error raised on purpose."""
    faults = error.faults if isinstance(error, FileFaults) else ()
    if not as_json:
        for line in str(error).splitlines():
            click.echo(f"tonebench: {line}", err=True)
        if len(faults) > 1:
            click.echo(f"tonebench: {len(faults)} faults", err=True)
        return
    _print_json(
        error.exit_code,
        str(error),
        [
            {
                "file": fault.file,
                "line": fault.line,
                "part": fault.part,
                "message": fault.message,
                "hint": fault.hint,
            }
            for fault in faults
        ],
    )


def show_usage(error: click.ClickException, as_json: bool) -> None:
    """Print what click refuses."""
    if as_json:
        _print_json(error.exit_code, error.format_message(), [])
    else:
        error.show()


def _print_json(code: int, message: str, faults: list[dict[str, object]]) -> None:
    values = {"code": code, "message": message, "faults": faults}
    click.echo(json.dumps(values), err=True)
