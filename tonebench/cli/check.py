# SPDX-License-Identifier: GPL-3.0-or-later
"""``tonebench check``: all faults of a circuit file, or its echo."""

import json

import click

from tonebench.cli.options import json_option
from tonebench.errors import FileFaults


@click.command()
@click.argument("circuit")
@json_option
def check(circuit: str, as_json: bool) -> None:
    """Read CIRCUIT, tell every fault with its line, or echo what was drawn."""
    from tonebench.circuit.files import inspect_circuit
    from tonebench.report.echo import echo_json, echo_words
    from tonebench.study.notes import circuit_notes

    inspection = inspect_circuit(circuit)
    if inspection.circuit is None:
        for warning in () if as_json else inspection.warnings:
            click.echo(f"warning: {warning}", err=True)
        raise FileFaults(inspection.faults)
    notes = circuit_notes(inspection.circuit)
    if notes.faults:
        raise FileFaults(notes.faults)
    if as_json:
        values = echo_json(inspection, inspection.circuit, notes)
        click.echo(json.dumps(values, allow_nan=False))
    else:
        click.echo(echo_words(inspection, inspection.circuit, notes))
