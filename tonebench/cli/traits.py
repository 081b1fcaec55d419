# SPDX-License-Identifier: GPL-3.0-or-later
"""``tonebench traits``: what the knobs do, in words or JSON, and the result card."""

import json
from typing import Any

import click

from tonebench.cli.options import (
    assignments,
    hookup_options,
    json_option,
    part_option,
    read_chain,
    set_option,
)


@click.command()
@click.argument("circuit")
@set_option
@hookup_options
@part_option
@json_option
def traits(
    circuit: str,
    settings: tuple[str, ...],
    parts: tuple[str, ...],
    as_json: bool,
    **hookup: Any,
) -> None:
    """Say what the knobs of CIRCUIT do with its hook-up, and what stays.

    Each knob is told against its own position with the flattest curve.

    \b
    tonebench traits plover --pickup sedge --cable 700p --load 10k
    """
    from tonebench.report.traits_json import traits_json
    from tonebench.report.traits_words import traits_words
    from tonebench.study.traits import traits as find_traits

    chain = read_chain(circuit, hookup, parts)
    found = find_traits(chain, assignments(settings, "--set bass=7.5"))
    if as_json:
        click.echo(json.dumps(traits_json(found), allow_nan=False))
    else:
        click.echo(traits_words(found))
