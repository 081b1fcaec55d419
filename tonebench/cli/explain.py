# SPDX-License-Identifier: GPL-3.0-or-later
"""``tonebench explain``: which part is behind what, and which would do what."""

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
    read_hookup,
    read_with_parts,
    set_option,
)
from tonebench.errors import RequestError


@click.command()
@click.argument("circuit")
@set_option
@hookup_options
@part_option
@click.option("--against", metavar="CIRCUIT", help="Why this one sounds different.")
@click.option("--set-b", multiple=True, metavar="NAME=POSITION", help="On that one.")
@click.option("--part-b", multiple=True, metavar="REF=VALUE", help="A part of it.")
@click.option("--pickup-b", metavar="NAME|FILE", help="Its pickup, if another.")
@click.option(
    "--aim",
    metavar="AIM",
    help="Which part would do it: high-pass=25, peak=3.5k, peak=6dB, bass=12dB, flat.",
)
@plot_options
@force_option
@json_option
def explain(
    circuit: str,
    settings: tuple[str, ...],
    parts: tuple[str, ...],
    against: str | None,
    set_b: tuple[str, ...],
    part_b: tuple[str, ...],
    pickup_b: str | None,
    aim: str | None,
    plot: str | None,
    dark: bool,
    transparent: bool,
    force: bool,
    as_json: bool,
    **hookup: Any,
) -> None:
    """Say why CIRCUIT with its hook-up sounds as it does, and what would change it.

    \b
    tonebench explain plover --pickup sedge --cable 700p --load 10k
    tonebench explain plover --pickup sedge --part R1=470k
    tonebench explain tern --against plover --pickup sedge --load 10k
    tonebench explain plover --load 10k --aim high-pass=25
    """
    from tonebench.plan.comparison import Side

    if against and aim:
        raise RequestError("--against and --aim are two questions; ask one at a time")
    if not against and (set_b or part_b or pickup_b):
        raise RequestError("--set-b, --part-b and --pickup-b belong to --against")
    if aim and plot:
        raise RequestError("--aim has nothing to draw; leave out --plot")
    look = asked_look(plot, dark, transparent)
    around = read_hookup(hookup)
    side = Side(read_with_parts(circuit, parts), around)
    changes = assignments(settings, "--set bass=7.5")
    if against:
        from tonebench.report.against_words import against_json, against_words
        from tonebench.study.against import against as study_against

        other = {**hookup, "pickup": (pickup_b,)} if pickup_b else hookup
        side_b = Side(read_with_parts(against, part_b), read_hookup(other))
        changes_b = assignments(set_b, "--set-b bass=7.5")
        differs = study_against(side, side_b, changes, changes_b)
        if plot:
            from tonebench.report.plots_sides import draw_against

            draw_against(differs, Path(plot), look=look, force=force)
            click.echo(f"wrote {plot}", err=True)
        _print(as_json, differs, against_json, against_words)
    elif aim:
        from tonebench.report.aim_words import aimed_json, aimed_words
        from tonebench.study.aim import parse_aim
        from tonebench.study.ways import ways_to

        aimed = ways_to(side, parse_aim(aim, side), changes)
        _print(as_json, aimed, aimed_json, aimed_words)
    else:
        from tonebench.report.explain_json import explanation_json
        from tonebench.report.explain_words import explanation_words
        from tonebench.study.explain import explain as study_explain

        drawn = Side(read_with_parts(circuit, ()), around) if parts else None
        explained = study_explain(side, changes, drawn)
        if plot:
            from tonebench.report.plots_explained import draw_explained

            before = drawn.chain if drawn else None
            draw_explained(explained, Path(plot), before, look=look, force=force)
            click.echo(f"wrote {plot}", err=True)
        _print(as_json, explained, explanation_json, explanation_words)


def _print(as_json: bool, found: Any, values: Any, words: Any) -> None:
    if as_json:
        click.echo(json.dumps(values(found), allow_nan=False))
    else:
        click.echo(words(found))
