# SPDX-License-Identifier: GPL-3.0-or-later
"""``tonebench doctor``: which engine is in use, and what optional parts are missing."""

import json

import click

from tonebench.cli.options import json_option


@click.command()
@json_option
def doctor(as_json: bool) -> None:
    """Say what does the work here, what is missing, and how to get it."""
    from tonebench.report.doctor import doctor_json, doctor_words, examine

    found = examine()
    click.echo(json.dumps(doctor_json(found)) if as_json else doctor_words(found))
