# SPDX-License-Identifier: GPL-3.0-or-later
"""``tonebench nearest``: B's knobs set as near to A as they go."""

import itertools
import json
from pathlib import Path
from typing import Any

import click

from tonebench.cli.look import asked_look, plot_options
from tonebench.cli.options import (
    assignments,
    force_option,
    hookup_options,
    json_option,
    read_hookup,
    read_with_parts,
)


@click.command()
@click.option("--a", metavar="CIRCUIT", required=True, help="What is to be met.")
@click.option("--b", metavar="CIRCUIT", required=True, help="Whose knobs are turned.")
@click.option(
    "--set-a",
    multiple=True,
    metavar="NAME=POSITION",
    help="On A; several positions (tilt=3,7): one setting of B for all of them.",
)
@click.option(
    "--set-b", multiple=True, metavar="NAME=POSITION", help="Held so on B, not sought."
)
@click.option("--part-a", multiple=True, metavar="REF=VALUE", help="A part of A.")
@click.option("--part-b", multiple=True, metavar="REF=VALUE", help="A part of B.")
@hookup_options
@plot_options
@force_option
@json_option
def nearest(
    a: str,
    b: str,
    set_a: tuple[str, ...],
    set_b: tuple[str, ...],
    part_a: tuple[str, ...],
    part_b: tuple[str, ...],
    plot: str | None,
    dark: bool,
    transparent: bool,
    force: bool,
    as_json: bool,
    **hookup: Any,
) -> None:
    """Find the setting of B that comes nearest to A, and say what stays different.

    \b
    tonebench nearest --a tern --b plover --pickup sedge --cable 700p --load 1M
    tonebench nearest --a tern --set-a tilt=3,7 --b plover --set-b level=10
    """
    from tonebench.circuit.hookup import join
    from tonebench.report.nearest_words import nearest_json, nearest_words
    from tonebench.study.misfits import features_behind
    from tonebench.study.nearest import nearest as study_nearest

    look = asked_look(plot, dark, transparent)
    around = read_hookup(hookup)
    chain_a = join(read_with_parts(a, part_a), around)
    chain_b = join(read_with_parts(b, part_b), around)
    settings_a = _settings(set_a)
    held = assignments(set_b, "--set-b level=10")
    found = study_nearest(chain_a, settings_a, chain_b, held)
    behind = features_behind(
        chain_a, settings_a[0], chain_b, found.settings, found.misfits
    )
    if plot:
        from tonebench.report.plots_sides import draw_nearest

        draw_nearest(
            found, chain_a, settings_a, chain_b, Path(plot), look=look, force=force
        )
        click.echo(f"wrote {plot}", err=True)
    if as_json:
        values = nearest_json(found, chain_a, chain_b, behind)
        click.echo(json.dumps(values, allow_nan=False))
    else:
        click.echo(nearest_words(found, chain_a, chain_b, settings_a, behind))


def _settings(texts: tuple[str, ...]) -> list[dict[str, float | str]]:
    """Return all combinations of the positions that --set-a names."""
    asked = assignments(texts, "--set-a tilt=3,7")
    rows = itertools.product(*(text.split(",") for text in asked.values()))
    return [
        {name: at.strip() for name, at in zip(asked, row, strict=True)} for row in rows
    ]
