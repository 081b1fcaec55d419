# SPDX-License-Identifier: GPL-3.0-or-later
"""``tonebench notes``: what becomes of a note's harmonics, or of a take's bands."""

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
from tonebench.errors import RequestError


@click.command()
@click.argument("circuit")
@click.option("--against", metavar="CIRCUIT", help="B, to hold against CIRCUIT, A.")
@click.option(
    "--note", multiple=True, metavar="NOTE", help="Such as B0; may be given again."
)
@click.option("--tuning", metavar="NOTES", help='Open strings, such as "B0 E1 A1".')
@click.option("--take", metavar="TAKE", help="The spectrum of a take over its length.")
@click.option("--stiffness", type=float, help="B of the string; default as is usual.")
@set_option
@click.option("--set-b", multiple=True, metavar="NAME=POSITION", help="On B alone.")
@hookup_options
@part_option
@click.option("--part-b", multiple=True, metavar="REF=VALUE", help="A part of B.")
@plot_options
@force_option
@json_option
def notes(
    circuit: str,
    against: str | None,
    note: tuple[str, ...],
    tuning: str | None,
    take: str | None,
    stiffness: float | None,
    settings: tuple[str, ...],
    set_b: tuple[str, ...],
    parts: tuple[str, ...],
    part_b: tuple[str, ...],
    plot: str | None,
    dark: bool,
    transparent: bool,
    force: bool,
    as_json: bool,
    **hookup: Any,
) -> None:
    """Say what becomes of notes, or of a take, through CIRCUIT, or through A and B.

    \b
    tonebench notes tern --against plover --pickup sedge --load 10k --note B0
    tonebench notes tern --against plover --pickup sedge --take harbour-low
    """
    from tonebench.plan.take_files import read_take_file
    from tonebench.report.notes_files import draw_notes
    from tonebench.report.notes_words import notes_json, notes_words
    from tonebench.study.bands import band_levels
    from tonebench.study.harmonics import note_levels

    look = asked_look(plot, dark, transparent)
    played = read_take_file(take) if take else None
    wanted = [*note, *(tuning.split() if tuning else ())]
    if not wanted and played is None:
        raise RequestError("say what is played: --note B0, --tuning or --take")
    if (set_b or part_b) and not against:
        raise RequestError("--set-b and --part-b are of B; name it by --against")
    a = read_chain(circuit, hookup, parts, played)
    sides = [(a, assignments(settings, "--set bass=7.5"))]
    if against:
        b = read_chain(against, hookup, part_b, played)
        sides.append((b, assignments(set_b, "--set-b bass=7.5")))
    chains = [chain for chain, _ in sides]
    found = note_levels(wanted, sides, stiffness)
    bands = band_levels(played, sides) if played else None
    title = (played.title or played.name) if played else ""
    if plot:
        draw_notes(chains, found, bands, title, Path(plot), look, force)
        click.echo(f"wrote {plot}", err=True)
    if as_json:
        values = notes_json(chains, found, bands, title)
        click.echo(json.dumps(values, allow_nan=False))
    else:
        click.echo(notes_words(chains, found, bands, title))
