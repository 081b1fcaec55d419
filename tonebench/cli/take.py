# SPDX-License-Identifier: GPL-3.0-or-later
"""``tonebench take``: whether a recording is fit, and how many volts its scale is."""

import json

import click

from tonebench.cli.options import force_option, json_option
from tonebench.errors import CheckFailed, RequestError


@click.command()
@click.argument("take", metavar="TAKE")
@click.option(
    "--tone", metavar="HZ", help="TAKE is a steady tone of this frequency, such as 400."
)
@click.option(
    "--meter",
    metavar="VOLTS",
    help="What a meter read at the jack meanwhile, RMS: 0.775V or −2.2dBu.",
)
@click.option(
    "--write",
    "takes",
    multiple=True,
    metavar="TAKE",
    help="Write full_scale into the take file of this one; may be given again.",
)
@force_option
@json_option
def take(
    take: str,
    tone: str | None,
    meter: str | None,
    takes: tuple[str, ...],
    force: bool,
    as_json: bool,
) -> None:
    """Check a recording: clipping, noise, hum, silence, levels, and what to mind.

    With --tone and --meter, say instead how many volts digital full scale is, from a
    tone that was recorded while a meter read it at the instrument's jack. Ends with 1
    if the recording isn't fit: silent, clipped, with gaps, or no steady, clean tone.

    \b
    tonebench take mine.wav
    tonebench take tone.wav --tone 400 --meter 0.775V --write mine.wav
    """
    from tonebench.plan.take_files import read_take_file
    from tonebench.report.calibration_words import calibration_json, calibration_words
    from tonebench.report.take_json import take_json
    from tonebench.report.take_words import take_words, unfit_words
    from tonebench.study.calibration import calibrate
    from tonebench.study.take_check import check_take

    if (tone is None) != (meter is None):
        raise RequestError("--tone and --meter belong together; give both")
    if tone is None or meter is None:
        if takes or force:
            raise RequestError("--write and --force need --tone and --meter")
        check = check_take(read_take_file(take))
        told = json.dumps(take_json(check)) if as_json else take_words(check)
        click.echo(told)
        if not check.is_fit:
            raise CheckFailed(unfit_words(check))
        return
    from tonebench.plan.full_scale_line import write_full_scale

    found = calibrate(read_take_file(take), tone, meter)
    written = write_full_scale(found.line_value, takes, force) if takes else ()
    values, words = calibration_json(found, written), calibration_words(found, written)
    click.echo(json.dumps(values) if as_json else words)
