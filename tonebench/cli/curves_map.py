# SPDX-License-Identifier: GPL-3.0-or-later
"""``tonebench curves --map``: features over a knob, as words, CSV, JSON or picture."""

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from tonebench.circuit.controls import Settings
    from tonebench.circuit.hookup import Chain
    from tonebench.report.canvas import Look


def show_map(
    chain: "Chain",
    changes: "Settings",
    knob: str,
    csv_file: str | None,
    plot: str | None,
    look: "Look",
    force: bool,
    as_json: bool,
) -> None:
    """Follow the features of a chain over a knob, and print, write or draw them."""
    from tonebench.report.map_words import map_csv, map_json, map_words
    from tonebench.study.feature_map import feature_map

    found = feature_map(chain, knob, changes)
    if csv_file:
        from tonebench.audio.outputs import write_whole

        write_whole(Path(csv_file), map_csv(found).encode(), force)
        click.echo(f"wrote {csv_file}", err=True)
    if plot:
        from tonebench.report.plots_map import draw_feature_map

        draw_feature_map(chain, found, Path(plot), look=look, force=force)
        click.echo(f"wrote {plot}", err=True)
    if as_json:
        click.echo(json.dumps(map_json(chain, found), allow_nan=False))
    elif not (csv_file or plot):
        click.echo(map_words(chain, found))
