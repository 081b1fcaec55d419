# SPDX-License-Identifier: GPL-3.0-or-later
"""The options that ask for a comparison, and the comparison they ask for."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tonebench.cli.options import (
    F,
    after_option,
    assignments,
    hookup_keys,
    hookup_options,
    read_hookup,
    read_with_parts,
    show_doubts,
)
from tonebench.errors import RequestError

if TYPE_CHECKING:
    from tonebench.plan.after import Step
    from tonebench.plan.comparison import Comparison

_DEMO = "stage-and-desk"

_OPTIONS = (
    click.option("--a", metavar="CIRCUIT", help="Circuit A, without a file."),
    click.option("--b", metavar="CIRCUIT", help="Circuit B, without a file."),
    click.option(
        "--take",
        multiple=True,
        metavar="TAKE",
        help="Recording to play through both; may be given again.",
    ),
    click.option(
        "--set-both", multiple=True, metavar="NAME=POSITION", help="On A and B."
    ),
    click.option("--set-a", multiple=True, metavar="NAME=POSITION", help="On A alone."),
    click.option("--set-b", multiple=True, metavar="NAME=POSITION", help="On B alone."),
    click.option("--part-a", multiple=True, metavar="REF=VALUE", help="A part of A."),
    click.option("--part-b", multiple=True, metavar="REF=VALUE", help="A part of B."),
    click.option(
        "--match",
        type=click.Choice(["loudness", "rms", "frequency", "none"]),
        help="How A and B are brought to one level; default: loudness.",
    ),
    click.option("--match-hz", type=float, help="The frequency for --match frequency."),
    after_option,
    click.option(
        "--trim-b",
        type=float,
        metavar="DB",
        help="Turn B by hand after matching, in steps of 0.05 dB.",
    ),
    click.option(
        "--dry", is_flag=True, help="Also write the dry take, through no circuit."
    ),
    click.option("--difference", is_flag=True, help="Also write B − A as a clip."),
)
_RECORDINGS = (".wav", ".flac", ".aif", ".aiff", ".ogg", ".mp3")
_OF_A_FILE = (
    "with a comparison file its own keys count; write that there, or give --a, --b and "
    "--take instead of a file"
)


def comparison_options(command: F) -> F:
    """Add the options of a comparison; they arrive as keyword arguments."""
    command = hookup_options(command)
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def asked_comparison(
    files: Sequence[str], options: Mapping[str, Any]
) -> "tuple[Comparison, str]":
    """Return the comparison that a file or options ask for, and its short name."""
    from tonebench.plan.files import read_comparison

    a, b, takes = options["a"], options["b"], options["take"]
    if len(files) > 1:
        raise RequestError(
            f"one comparison file at a time; to compare two circuits write "
            f"--a {files[0]} --b {files[1]} --take …"
        )
    if not files and (a or b or takes):
        if not (a and b and takes):
            raise RequestError("--a, --b and --take belong together; give all three")
        return _without_file(options)
    keys = ("a", "b", "take", "set_both", "set_a", "set_b", "part_a", "part_b", "match")
    if any(options[key] for key in keys) or hookup_keys(options):
        raise RequestError(_OF_A_FILE)
    if options["match_hz"] is not None:
        raise RequestError(_OF_A_FILE)
    file = files[0] if files else _DEMO
    if Path(file).suffix.lower() in (".wav", ".flac", ".aif", ".aiff", ".ogg", ".mp3"):
        raise RequestError(
            f"{file} is a recording; give it by --take, with --a and --b"
        )
    comparison = read_comparison(file)
    show_doubts(comparison.circuits)
    if options["dry"]:
        comparison = replace(comparison, has_dry=True)
    if options["trim_b"] is not None:
        match = replace(comparison.match, trim_b_db=options["trim_b"])
        comparison = replace(comparison, match=match)
    if options["difference"]:
        comparison = replace(comparison, has_difference=True)
    if options["after"]:
        if comparison.after:
            raise RequestError(
                f"{file} says itself what comes after; write it there, or leave out "
                "--after"
            )
        comparison = replace(comparison, after=_after(options))
    return comparison, Path(file).stem


def _after(options: Mapping[str, Any]) -> "tuple[Step, ...]":
    from tonebench.plan.after import parse_after

    return tuple(parse_after(text) for text in options["after"])


def _without_file(options: Mapping[str, Any]) -> "tuple[Comparison, str]":
    from tonebench.plan.comparison import (
        DEFAULT_MATCH_HZ,
        Comparison,
        Match,
        Side,
        pairing_of,
    )
    from tonebench.plan.take_files import read_take_file

    around = read_hookup(options)
    a = Side(read_with_parts(options["a"], options["part_a"]), around)
    b = Side(read_with_parts(options["b"], options["part_b"]), around)
    settings = [
        assignments(options[key], "--set-both bass=7.5")
        for key in ("set_both", "set_a", "set_b")
    ]
    asked_hz = options["match_hz"]
    match = Match(
        options["match"] or "loudness",
        DEFAULT_MATCH_HZ if asked_hz is None else asked_hz,
        options["trim_b"] or 0.0,
    )
    comparison = Comparison(
        title=f"{a.circuit.name} against {b.circuit.name}",
        takes=tuple(read_take_file(take) for take in options["take"]),
        a=a,
        b=b,
        pairings=(pairing_of("as asked", a, b, *settings),),
        match=match,
        has_dry=options["dry"],
        has_difference=options["difference"],
        after=_after(options),
    )
    return comparison, f"{a.circuit.name}-against-{b.circuit.name}"
