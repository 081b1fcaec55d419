# SPDX-License-Identifier: GPL-3.0-or-later
"""``tonebench blind``: whether a difference is heard, or one side preferred."""

import functools
import json
from pathlib import Path
from typing import Any

import click

from tonebench.cli.keys import key_reader
from tonebench.cli.options import json_option
from tonebench.errors import CheckFailed, RequestError


@click.command()
@click.argument("paths", metavar="DIR | --pool FILE...", nargs=-1, required=True)
@click.option(
    "--kind",
    type=click.Choice(["which", "prefer"]),
    help="Which of the two is the hidden one (default), or which one you prefer.",
)
@click.option("--trials", type=int, help="How many, fixed before; default 16.")
@click.option(
    "--level",
    type=click.Choice(["0.05", "0.01"]),
    help="How often guessing may pass for hearing; default 0.05.",
)
@click.option("--pairing", metavar="NAME", help="Which pairing; default: the first.")
@click.option("--listener", metavar="NAME", default="", help="Who listens.")
@click.option("--from", "start_s", type=float, metavar="S", help="Play from here, ...")
@click.option("--to", "end_s", type=float, metavar="S", help="... to here, over.")
@click.option("--device", metavar="NAME", help="Which sound card.")
@click.option(
    "--files",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Write each trial as files there, for another player; no sound card.",
)
@click.option(
    "--pool", "is_pooled", is_flag=True, help="Take results of several tests together."
)
@json_option
def blind(
    paths: tuple[str, ...],
    is_pooled: bool,
    as_json: bool,
    device: str | None,
    level: str | None,
    **asked: Any,
) -> None:
    """Listen blind to A and B of a folder that compare wrote; or go on with it.

    \b
    tonebench blind stage-or-desk
    tonebench blind stage-or-desk --kind prefer --trials 20 --listener Ada
    tonebench blind stage-or-desk --files trials
    tonebench blind --pool ada.json ben.json
    """
    if is_pooled:
        _pool(paths, as_json, [device, level, *asked.values()])
        return
    if len(paths) != 1:
        raise RequestError("give one folder; several results go with --pool")
    from tonebench.audio.devices import open_output
    from tonebench.compare.blind_test import AskedTest, blind_test

    test = AskedTest(level=float(level) if level else None, **asked)
    go_on = f"tonebench blind {paths[0]}"
    go_on += f" --listener '{test.listener}'" if test.listener else ""
    go_on += f" --files {test.files}" if test.files else ""
    opener = functools.partial(open_output, device=device)
    say = functools.partial(click.echo, err=True)
    try:
        with key_reader() as read_key:
            done = blind_test(
                Path(paths[0]), test, opener=opener, read_key=read_key, say=say
            )
    except KeyboardInterrupt:
        click.echo(f"\nwhat is answered is kept; go on with: {go_on}", err=True)
        raise
    if done.result is None:
        count, trials = len(done.session.answers), done.session.plan.trials
        raise CheckFailed(
            f"{count} of {trials} trials are answered and kept; go on with: {go_on}"
        )
    words = [*done.result["words"], f"wrote {done.path}"]
    click.echo(json.dumps(done.result) if as_json else "\n".join(words))


def _pool(paths: tuple[str, ...], as_json: bool, others: list[Any]) -> None:
    from tonebench.compare.blind_pool import pool
    from tonebench.compare.blind_result import read_result

    if any(other not in (None, "") for other in others):
        raise RequestError("--pool takes results alone; leave the other options out")
    pooled = pool([read_result(Path(path)) for path in paths])
    click.echo(json.dumps(pooled) if as_json else "\n".join(pooled["words"]))
