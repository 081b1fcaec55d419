# SPDX-License-Identifier: GPL-3.0-or-later
"""The options that several commands share, and what they mean as plain values."""

from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

import click

from tonebench.errors import RequestError

if TYPE_CHECKING:
    from tonebench.audio.take import Take
    from tonebench.circuit.circuit import Circuit
    from tonebench.circuit.hookup import Chain, Hookup

F = TypeVar("F", bound=Callable[..., Any])

_HOOKUP_OPTIONS = (
    click.option(
        "--pickup",
        multiple=True,
        metavar="NAME|FILE",
        help="Pickup at the input (or INPUT=NAME, once per input).",
    ),
    click.option(
        "--source", metavar="OHM", help="Source resistance, without a pickup."
    ),
    click.option("--cable", metavar="FARAD", help="The player's lead, such as 700p."),
    click.option("--inner", metavar="FARAD", help="The wire inside the instrument."),
    click.option("--load", metavar="OHM", help="What the output feeds, such as 1M."),
    click.option(
        "--load-capacitance", metavar="FARAD", help="Capacitance at the output."
    ),
    click.option(
        "--place",
        type=click.Choice(["floor", "onboard"]),
        help="Where the circuit stands; default: as its file says.",
    ),
    click.option(
        "--before", multiple=True, metavar="CIRCUIT", help="Circuit before this one."
    ),
    click.option(
        "--into", multiple=True, metavar="CIRCUIT", help="Circuit after this one."
    ),
    click.option(
        "--buffer",
        type=click.Choice(["input"]),
        help="An ideal follower of 1 MΩ at the circuit's input.",
    ),
)


def hookup_options(command: F) -> F:
    """Add the hook-up options; they arrive as keyword arguments of their names."""
    for option in reversed(_HOOKUP_OPTIONS):
        command = option(command)
    return command


set_option = click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="NAME=POSITION",
    help="Turn a knob (0 to 10) or a switch; may be given again.",
)
part_option = click.option(
    "--part",
    "parts",
    multiple=True,
    metavar="REF=VALUE",
    help="Another value for a part, such as C3=22n; may be given again.",
)
after_option = click.option(
    "--after",
    multiple=True,
    metavar="FILE",
    help="What comes after: an impulse response, or a VST3 or AU plug-in, such as "
    "box.vst3:mix=0.5; may be given again.",
)
json_option = click.option(
    "--json", "as_json", is_flag=True, help="Print JSON, errors as JSON on stderr."
)
force_option = click.option(
    "--force", is_flag=True, help="Replace what is there already."
)


def assignments(texts: Iterable[str], example: str) -> dict[str, str]:
    """Return {name: value} from texts such as "bass=7.5"."""
    found: dict[str, str] = {}
    for text in texts:
        name, sign, value = text.partition("=")
        if not (name.strip() and sign and value.strip()):
            raise RequestError(f"cannot read '{text}'; write it like {example}")
        found[name.strip()] = value.strip()
    return found


def hookup_keys(options: Mapping[str, Any]) -> dict[str, object]:
    """Return the hook-up keys among a command's options that were given."""
    from tonebench.plan.asked_hookup import HOOKUP_KEYS

    keys: dict[str, object] = {}
    for name in HOOKUP_KEYS:
        value = options.get(name)
        if value in (None, ()):
            continue
        keys[name] = list(value) if isinstance(value, tuple) else value
    if "pickup" in keys:
        keys["pickup"] = _pickup(options["pickup"])
    return keys


def _pickup(texts: tuple[str, ...]) -> object:
    if len(texts) == 1 and "=" not in texts[0]:
        return texts[0]
    return assignments(texts, "--pickup neck=sedge")


def refuse_input_as_output(
    output: str, circuit: str, options: Mapping[str, Any]
) -> None:
    """Refuse to write over a circuit or pickup that the command reads."""
    from tonebench.audio.outputs import is_same_file

    read = [circuit, *options["before"], *options["into"]]
    read += [text.rpartition("=")[2] for text in options["pickup"]]
    for name in read:
        if any(is_same_file(output, path) for path in (name, f"{name}.toml")):
            raise RequestError(
                f"{output}: is read by this command, and would be lost; "
                "give another name"
            )


def read_chain(
    circuit: str,
    options: Mapping[str, Any],
    parts: Iterable[str] = (),
    take: "Take | None" = None,
) -> "Chain":
    """Return the chain that a command's circuit, part and hook-up options ask for.

    Without a pickup among them it is the one that the take was made with, if known.
    """
    from tonebench.circuit.hookup import join
    from tonebench.plan.comparison import hookup_behind

    hookup = read_hookup(options)
    if take is not None:
        hookup = hookup_behind(hookup, take)
    return join(read_with_parts(circuit, parts), hookup)


def read_with_parts(circuit: str, parts: Iterable[str]) -> "Circuit":
    """Return a circuit by name or file, with other values in some parts."""
    from tonebench.circuit.files import read_circuit
    from tonebench.plan.asked_parts import with_asked_parts

    values = assignments(parts, "--part C3=22n")
    found = with_asked_parts(read_circuit(circuit), values)
    show_doubts([found])
    return found


def show_doubts(circuits: "Iterable[Circuit]") -> None:
    """Tell likely slips of circuit files on stderr, each once."""
    for doubt in dict.fromkeys(doubt for each in circuits for doubt in each.doubts):
        click.echo(f"warning: {doubt}", err=True)


def read_hookup(options: Mapping[str, Any]) -> "Hookup":
    """Return the hook-up that a command's options ask for."""
    from tonebench.plan.asked_hookup import hookup_from

    return hookup_from(hookup_keys(options))
