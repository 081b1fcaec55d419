# SPDX-License-Identifier: GPL-3.0-or-later
"""``tonebench compare``: one take through A and B, at one level."""

import json
from pathlib import Path
from typing import Any

import click

from tonebench.cli.options import (
    assignments,
    force_option,
    hookup_options,
    json_option,
    read_hookup,
    read_with_parts,
)
from tonebench.cli.progress import shown_progress
from tonebench.errors import RequestError

_DEMO = "stage-and-desk"


@click.command()
@click.argument("files", metavar="[FILE]", nargs=-1)
@click.option(
    "-o",
    "--output",
    type=click.Path(),
    help="Folder to write to; default: named after the comparison, here.",
)
@click.option("--a", "a_name", metavar="CIRCUIT", help="Circuit A, without a file.")
@click.option("--b", "b_name", metavar="CIRCUIT", help="Circuit B, without a file.")
@click.option("--take", metavar="TAKE", help="Recording to play through both.")
@click.option("--set-both", multiple=True, metavar="NAME=POSITION", help="On A and B.")
@click.option("--set-a", multiple=True, metavar="NAME=POSITION", help="On A alone.")
@click.option("--set-b", multiple=True, metavar="NAME=POSITION", help="On B alone.")
@click.option("--part-a", multiple=True, metavar="REF=VALUE", help="A part of A.")
@click.option("--part-b", multiple=True, metavar="REF=VALUE", help="A part of B.")
@click.option(
    "--match",
    type=click.Choice(["loudness", "rms", "frequency", "none"]),
    default="loudness",
    show_default=True,
    help="How A and B are brought to one level.",
)
@click.option("--match-hz", type=float, help="The frequency for --match frequency.")
@hookup_options
@force_option
@json_option
def compare(
    files: tuple[str, ...],
    output: str | None,
    a_name: str | None,
    b_name: str | None,
    take: str | None,
    set_both: tuple[str, ...],
    set_a: tuple[str, ...],
    set_b: tuple[str, ...],
    part_a: tuple[str, ...],
    part_b: tuple[str, ...],
    match: str,
    match_hz: float | None,
    force: bool,
    as_json: bool,
    **hookup: Any,
) -> None:
    """Run the comparison in FILE, or A against B, or the bundled demo.

    \b
    tonebench compare
    tonebench compare mine.toml -o for-a-client
    tonebench compare --a tern --b plover --take mine.wav --pickup sedge -o out
    """
    from tonebench.plan.comparison import Comparison, Match, Side, pairing_of
    from tonebench.plan.files import read_comparison
    from tonebench.report.comparison import comparison_words, write_comparison
    from tonebench.shipped import find

    if len(files) > 1:
        raise RequestError(
            f"one comparison file at a time; to compare two circuits write "
            f"--a {files[0]} --b {files[1]} --take …"
        )
    file = files[0] if files else None
    asked = (a_name, b_name, take)
    if file or not any(asked):
        given = [*asked, *set_both, *set_a, *set_b, *part_a, *part_b]
        is_asked = match != "loudness" or match_hz is not None
        if any(given) or any(hookup.values()) or is_asked:
            raise RequestError(
                "with a comparison file its own keys count; write the settings there, "
                "or give --a, --b and --take"
            )
        comparison = read_comparison(file or _DEMO)
        name = Path(file or _DEMO).stem
    elif not (a_name and b_name and take):
        raise RequestError("--a, --b and --take belong together; give all three")
    else:
        around = read_hookup(hookup)
        a = Side(read_with_parts(a_name, part_a), around)
        b = Side(read_with_parts(b_name, part_b), around)
        example = "--set-both bass=7.5"
        settings = [assignments(s, example) for s in (set_both, set_a, set_b)]
        comparison = Comparison(
            title=f"{a.circuit.name} against {b.circuit.name}",
            take=find(take, "take"),
            a=a,
            b=b,
            pairings=(pairing_of("as asked", a, b, *settings),),
            match=Match(match) if match_hz is None else Match(match, match_hz),
        )
        name = f"{a.circuit.name}-against-{b.circuit.name}"
    folder = Path(output or name)
    with shown_progress("comparing", quiet=as_json) as progress:
        done = write_comparison(comparison, folder, force=force, progress=progress)
    if as_json:
        from tonebench.compare.manifest import manifest_of

        click.echo(json.dumps(manifest_of(done), allow_nan=False))
    else:
        click.echo(comparison_words(done, folder))
