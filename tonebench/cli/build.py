# SPDX-License-Identifier: GPL-3.0-or-later
"""``tonebench build``: parts, tolerance, noise, headroom, battery: the check sheet."""

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
    part_option,
    read_chain,
    set_option,
)


@click.command()
@click.argument("circuit")
@set_option
@hookup_options
@part_option
@click.option(
    "--tolerance",
    "tolerances",
    multiple=True,
    metavar="NAME=SHARE",
    help="Of a part, or a kind of part the file says nothing of: C3=5%, pot=10%.",
)
@click.option("--take", metavar="TAKE", help="Hold it against a calibrated take.")
@click.option(
    "--battery", type=float, metavar="VOLTS", help="A meter's reading of the battery."
)
@click.option(
    "--builds",
    type=click.IntRange(100, 100_000),
    default=10_000,
    show_default=True,
    help="How many builds are drawn by lot.",
)
@click.option("--csv", "csv_file", type=click.Path(), help="Write the parts list.")
@click.option("--page", type=click.Path(), help="Write the sheet as a page (.html).")
@plot_options
@force_option
@json_option
def build(
    circuit: str,
    settings: tuple[str, ...],
    parts: tuple[str, ...],
    tolerances: tuple[str, ...],
    take: str | None,
    battery: float | None,
    builds: int,
    csv_file: str | None,
    page: str | None,
    plot: str | None,
    dark: bool,
    transparent: bool,
    force: bool,
    as_json: bool,
    **hookup: Any,
) -> None:
    """Say what a build of CIRCUIT will be like: its check sheet.

    \b
    tonebench build tern --pickup sedge --cable 700p --load 1M --csv parts.csv
    tonebench build tern --battery 7.4
    """
    from tonebench.plan.take_files import read_take_file
    from tonebench.report.build_files import build_json, write_build
    from tonebench.report.build_words import build_words
    from tonebench.study.build import build as study_build

    look = asked_look(plot, dark, transparent)
    played = read_take_file(take) if take else None
    found = study_build(
        read_chain(circuit, hookup, parts, played),
        assignments(settings, "--set bass=7.5"),
        asked_tolerances=assignments(tolerances, "--tolerance C3=5%"),
        builds=builds,
        take=played,
        battery_v=battery,
    )
    wanted = {"csv": csv_file, "page": page, "plot": plot}
    paths = {kind: Path(name) for kind, name in wanted.items() if name}
    for path in write_build(found, paths, look, force):
        click.echo(f"wrote {path}", err=True)
    if as_json:
        click.echo(json.dumps(build_json(found), allow_nan=False))
    else:
        click.echo(build_words(found))
