# SPDX-License-Identifier: GPL-3.0-or-later
"""``tonebench deliver``: what a client gets of a comparison that was run."""

import json
from pathlib import Path

import click

from tonebench.cli.options import force_option, json_option
from tonebench.cli.progress import shown_progress
from tonebench.errors import CheckFailed, RequestError


@click.command()
@click.argument("folder", metavar="DIR")
@click.option(
    "-o",
    "--output",
    type=click.Path(),
    help="Folder to write to; default: DIR-delivery, here.",
)
@click.option(
    "--formats",
    metavar="LIST",
    help="Of wav, flac, mp3, ogg, such as wav,flac; default: wav,flac,mp3.",
)
@click.option(
    "--sheets",
    metavar="LIST",
    help="Of light, dark, transparent, or none; default: all three.",
)
@click.option("--zip", "is_zipped", is_flag=True, help="Also write OUTPUT.zip.")
@click.option(
    "--recheck",
    metavar="OUT",
    help="Make it again, write nothing, and say whether OUT holds the same.",
)
@force_option
@json_option
def deliver(
    folder: str,
    output: str | None,
    formats: str | None,
    sheets: str | None,
    is_zipped: bool,
    recheck: str | None,
    force: bool,
    as_json: bool,
) -> None:
    """Write a client's folder from DIR, which compare wrote.

    Clips get names that say what they are, titles and levels inside, and the formats
    that are asked for; MP3 and Ogg are previews, not for A/B. Beside them: a sheet per
    pairing of 1920 × 1080 for who cuts a video, the page, a text, and sums.

    \b
    tonebench compare mine.toml -o mine
    tonebench deliver mine -o for-a-client --zip
    tonebench deliver mine --recheck for-a-client
    """
    from tonebench.report.delivery import Wanted
    from tonebench.report.delivery_told import deliver_and_zip, delivery_words
    from tonebench.report.recheck import recheck_delivery

    source = Path(folder)
    if recheck is not None:
        if output or formats or sheets or is_zipped or force:
            raise RequestError("--recheck writes nothing: give DIR and nothing else")
        with shown_progress("making again", quiet=as_json) as progress:
            again = recheck_delivery(source, Path(recheck), progress=progress)
        click.echo(json.dumps(again.as_json()) if as_json else again.words())
        if not again.is_agreed:
            raise CheckFailed(again.fault())
        return
    wanted = Wanted.asked(formats, sheets)
    place = Path(output or f"{source.resolve().name}-delivery")
    with shown_progress("delivering", quiet=as_json) as progress:
        done = deliver_and_zip(
            source, place, wanted, is_zipped=is_zipped, force=force, progress=progress
        )
    click.echo(json.dumps(done) if as_json else delivery_words(done, place))
