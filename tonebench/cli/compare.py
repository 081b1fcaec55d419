# SPDX-License-Identifier: GPL-3.0-or-later
"""``tonebench compare``: one take through A and B, at one level."""

import json
from pathlib import Path
from typing import Any

import click

from tonebench.cli.comparison_options import asked_comparison, comparison_options
from tonebench.cli.options import force_option, json_option
from tonebench.cli.progress import shown_progress
from tonebench.errors import CheckFailed, RequestError


@click.command()
@click.argument("files", metavar="[FILE]", nargs=-1)
@click.option(
    "-o",
    "--output",
    type=click.Path(),
    help="Folder to write to; default: named after the comparison, here.",
)
@comparison_options
@click.option(
    "--recheck",
    metavar="DIR",
    help="Run again, write nothing, and say whether DIR holds the same.",
)
@click.option(
    "--clips-only", is_flag=True, help="Clips and manifest alone: no pictures, no page."
)
@click.option(
    "--open", "is_opened", is_flag=True, help="Open the page once it is made."
)
@force_option
@json_option
def compare(
    files: tuple[str, ...],
    output: str | None,
    recheck: str | None,
    clips_only: bool,
    is_opened: bool,
    force: bool,
    as_json: bool,
    **options: Any,
) -> None:
    """Run the comparison in FILE, or A against B, or the bundled demo.

    \b
    tonebench compare
    tonebench compare mine.toml -o for-a-client --open
    tonebench compare mine.toml --recheck for-a-client
    tonebench compare --a tern --b plover --take mine.wav --pickup sedge -o out
    """
    from tonebench.compare.manifest import manifest_of
    from tonebench.report.comparison import open_page, write_comparison
    from tonebench.report.recheck import recheck_comparison
    from tonebench.report.told import comparison_words

    comparison, name = asked_comparison(files, options)
    if recheck is not None:
        if output or force or is_opened or clips_only:
            raise RequestError(
                "--recheck writes nothing: leave out -o, --force, --open, --clips-only"
            )
        with shown_progress("running again", quiet=as_json) as progress:
            again = recheck_comparison(comparison, Path(recheck), progress=progress)
        click.echo(json.dumps(again.as_json()) if as_json else again.words())
        if not again.is_agreed:
            raise CheckFailed(again.fault())
        return
    if clips_only and is_opened:
        raise RequestError(
            "--clips-only makes no page to --open: leave one of them out"
        )
    folder = Path(output or name)
    with shown_progress("comparing", quiet=as_json) as progress:
        done = write_comparison(
            comparison, folder, clips_only=clips_only, force=force, progress=progress
        )
    if as_json:
        click.echo(json.dumps(manifest_of(done), allow_nan=False))
    else:
        click.echo(comparison_words(done, folder))
    if is_opened:
        open_page(folder)
