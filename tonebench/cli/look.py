# SPDX-License-Identifier: GPL-3.0-or-later
"""The options of every command that draws: where to, on which paper or on none."""

from typing import TYPE_CHECKING, Any

import click

from tonebench.cli.options import F
from tonebench.errors import RequestError

if TYPE_CHECKING:
    from tonebench.report.canvas import Look

_OPTIONS = (
    click.option(
        "--plot", type=click.Path(), help="Draw to a file (.svg, .png or .pdf)."
    ),
    click.option("--dark", is_flag=True, help="Draw for dark paper."),
    click.option(
        "--transparent",
        is_flag=True,
        help="Draw without paper, 1920 × 1080, for video.",
    ),
)


def plot_options(command: F) -> F:
    """Add the options of a picture; they arrive as `plot`, `dark`, `transparent`."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def asked_look(plot: Any, dark: bool, transparent: bool) -> "Look":
    """Return how the picture looks; refuse a look without a picture."""
    if not plot and (dark or transparent):
        raise RequestError(
            "--dark and --transparent say how a picture looks; name it by --plot"
        )
    from tonebench.report.canvas import Look
    from tonebench.report.themes import DARK, LIGHT

    return Look(DARK if dark else LIGHT, transparent)
