# SPDX-License-Identifier: GPL-3.0-or-later
"""``tonebench curves``: what the knobs do, as a table, CSV, JSON or picture."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tonebench.cli.look import asked_look, plot_options
from tonebench.cli.options import (
    assignments,
    force_option,
    hookup_options,
    json_option,
    part_option,
    read_chain,
    refuse_input_as_output,
    set_option,
)
from tonebench.errors import CircuitError, RequestError, ValueTextError

if TYPE_CHECKING:
    from tonebench.circuit.hookup import Chain


@click.command()
@click.argument("circuit")
@set_option
@click.option(
    "--family",
    metavar="NAMES",
    help="One curve per combination of 0, 5, 10 of these knobs (bass,treble).",
)
@click.option(
    "--map",
    "knob",
    metavar="KNOB",
    help="Instead: how peaks, dips and corners move while this knob turns.",
)
@click.option("--at", metavar="HZ,HZ,…", help="Frequencies; default 10 Hz to 24 kHz.")
@click.option("--rate", metavar="HZ", help="Show the filter at this rate too.")
@click.option(
    "--method",
    type=click.Choice(["corrected", "plain"]),
    help="How that filter is designed: corrected, or plain, the textbook transform.",
)
@hookup_options
@part_option
@click.option("--csv", "csv_file", type=click.Path(), help="Write a table to a file.")
@plot_options
@force_option
@json_option
def curves(
    circuit: str,
    settings: tuple[str, ...],
    family: str | None,
    knob: str | None,
    at: str | None,
    rate: str | None,
    method: str | None,
    parts: tuple[str, ...],
    csv_file: str | None,
    plot: str | None,
    dark: bool,
    transparent: bool,
    force: bool,
    as_json: bool,
    **hookup: Any,
) -> None:
    """Solve CIRCUIT with its hook-up, at one setting or a family of them.

    \b
    tonebench curves plover --pickup sedge --cable 700p --load 1M
    tonebench curves tern --family tilt --plot tilt.svg
    tonebench curves plover --pickup sedge --map bell --plot bell.svg
    """
    look = asked_look(plot, dark, transparent)
    if knob and (family or at or rate or method):
        raise RequestError(
            "--map follows features over a knob; leave out --family, --at, --rate "
            "and --method"
        )
    if method and not rate:
        raise RequestError("--method designs the filter that --rate shows; give both")
    chain = read_chain(circuit, hookup, parts)
    changes = assignments(settings, "--set bass=7.5")
    for output in filter(None, (csv_file, plot)):
        refuse_input_as_output(output, circuit, hookup)
    if knob:
        from tonebench.cli.curves_map import show_map

        show_map(chain, changes, knob, csv_file, plot, look, force, as_json)
        return
    from tonebench.report.tables import TABLE_HZ, curve_csv, curve_json, curve_table
    from tonebench.study import curves as study

    is_table = not (as_json or csv_file or plot)
    names = [name.strip() for name in family.split(",")] if family else []
    found = study.curves(
        chain,
        study.family(chain, names, changes),
        _frequencies(at) if at else TABLE_HZ if is_table else study.DEFAULT_HZ,
        sample_rate_hz=_frequencies(rate)[0] if rate else None,
        method="plain" if method == "plain" else "corrected",
    )
    _warn_if_unstable(chain, changes)
    if csv_file:
        from tonebench.audio.outputs import write_whole

        write_whole(Path(csv_file), curve_csv(found).encode(), force)
        click.echo(f"wrote {csv_file}", err=True)
    if plot:
        from tonebench.report.plots import draw_curves

        draw_curves(chain, found, Path(plot), names, look=look, force=force)
        click.echo(f"wrote {plot}", err=True)
    if as_json:
        click.echo(json.dumps(curve_json(chain, found), allow_nan=False))
    elif is_table:
        click.echo(curve_table(chain, found, names))


def _warn_if_unstable(chain: "Chain", changes: dict[str, str]) -> None:
    """Tell on stderr that the curve is none that could be heard."""
    from tonebench.study.stability import require_stable

    try:
        require_stable(chain, chain.setting(changes))
    except CircuitError as error:
        click.echo(f"warning: nobody will hear this curve: {error}", err=True)


def _frequencies(text: str) -> list[float]:
    from tonebench.units import parse_value

    try:
        return [parse_value(word, "Hz") for word in text.split(",")]
    except ValueTextError:
        raise RequestError(
            f"cannot read '{text}' as frequencies; write them like 20,100,1k"
        ) from None
