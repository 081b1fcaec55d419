# SPDX-License-Identifier: GPL-3.0-or-later
"""``tonebench render``: one take through one circuit."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from tonebench.cli.options import (
    after_option,
    assignments,
    force_option,
    hookup_options,
    json_option,
    part_option,
    read_chain,
    set_option,
)
from tonebench.cli.progress import shown_progress
from tonebench.errors import RequestError


@click.command()
@click.argument("take")
@click.argument("circuit")
@click.option(
    "-o", "--output", required=True, type=click.Path(), help="Clip, .wav or .flac."
)
@set_option
@hookup_options
@click.option(
    "--move",
    "moves",
    multiple=True,
    metavar="NAME=S:POSITION,…",
    help="Turn a knob while it plays, such as bass=0:5,4:10; may be given again.",
)
@part_option
@after_option
@click.option(
    "--subtype",
    type=click.Choice(["float", "pcm24", "pcm16"]),
    help="Sample format; default float for .wav, pcm24 for .flac.",
)
@click.option(
    "--trim", is_flag=True, help="Turn the whole clip down if it is over full scale."
)
@force_option
@json_option
def render(
    take: str,
    circuit: str,
    output: str,
    settings: tuple[str, ...],
    moves: tuple[str, ...],
    parts: tuple[str, ...],
    after: tuple[str, ...],
    subtype: str | None,
    trim: bool,
    force: bool,
    as_json: bool,
    **hookup: Any,
) -> None:
    """Play TAKE through CIRCUIT: true gain, sample-aligned, same length.

    \b
    tonebench render mine.wav tern -o mine-tern.wav --pickup sedge --cable 700p
    tonebench render mine.wav tern -o turned.wav --move tilt=0:5,4:10
    tonebench render mine.wav tern -o cab.wav --after my-cabinet.wav
    """
    from tonebench.plan.after import parse_after
    from tonebench.plan.moves import moving_setting, parse_moves
    from tonebench.plan.take_files import read_take_file
    from tonebench.render import offline
    from tonebench.render.told import rendered_json, rendered_words
    from tonebench.study.headroom_words import clipping_notice

    played = read_take_file(take)
    chain = read_chain(circuit, hookup, parts, played)
    steps = [parse_after(text) for text in after]
    changes: dict[str, object] = {**assignments(settings, "--set bass=7.5")}
    moved = parse_moves(chain.controls, moves)
    if both := changes.keys() & moved.keys():
        raise RequestError(
            f"{min(both)} is set and moved; its move alone says where it stands"
        )
    target = Path(output)
    default = "pcm24" if target.suffix.lower() == ".flac" else "float"
    with shown_progress("rendering", quiet=as_json) as progress:
        done = offline.render_take(
            played,
            chain,
            changes | moved,
            target,
            after=steps,
            subtype=subtype or default,
            trim=trim,
            force=force,
            progress=progress,
        )
    setting = moving_setting(chain.controls, changes | moved).at(0)
    if clipping := clipping_notice(played, chain, setting):
        done = replace(done, notices=(*done.notices, clipping))
    if as_json:
        click.echo(
            json.dumps(rendered_json(played, chain, done, steps), allow_nan=False)
        )
    else:
        click.echo(rendered_words(played, chain, done, steps))
