# SPDX-License-Identifier: GPL-3.0-or-later
"""``tonebench list``: the circuits, pickups, takes and comparisons that are shipped."""

import json

import click

from tonebench.cli.options import json_option


@click.command("list")
@json_option
def list_shipped(as_json: bool) -> None:
    """Show what is shipped; every name here works where a file is asked for."""
    from tonebench.plan.shelf import shelf, shelf_words

    found = shelf()
    click.echo(json.dumps(found) if as_json else shelf_words(found))
