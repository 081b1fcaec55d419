# SPDX-License-Identifier: GPL-3.0-or-later
"""``tonebench new``: a commented starter circuit."""

from pathlib import Path

import click

from tonebench.cli.options import force_option


@click.command()
@click.argument("file", type=click.Path())
@force_option
def new(file: str, force: bool) -> None:
    """Write a starter circuit with comments to FILE (mine.toml)."""
    from tonebench.audio.outputs import write_whole
    from tonebench.circuit.starter import STARTER
    from tonebench.errors import RequestError

    path = Path(file)
    if path.suffix != ".toml":
        raise RequestError(f"{file}: a circuit file's name must end in .toml")
    write_whole(path, STARTER.encode(), force)
    click.echo(f"wrote {file}; next: tonebench check {file}")
