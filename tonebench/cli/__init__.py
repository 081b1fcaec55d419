# SPDX-License-Identifier: GPL-3.0-or-later
"""The ``tonebench`` command: parses, calls one public function, prints.

Commands import what they need when they run, so that ``tonebench --help`` needs click
alone. Errors raised on purpose become one line on stderr and a documented exit code;
anything else is a bug and keeps its traceback.
"""

import io
import os
import signal
import sys
import traceback
from collections.abc import Sequence

import click

from tonebench.cli import errors_shown
from tonebench.cli.blind import blind
from tonebench.cli.build import build
from tonebench.cli.check import check
from tonebench.cli.compare import compare
from tonebench.cli.curves import curves
from tonebench.cli.deliver import deliver
from tonebench.cli.doctor import doctor
from tonebench.cli.explain import explain
from tonebench.cli.list_shipped import list_shipped
from tonebench.cli.nearest import nearest
from tonebench.cli.new import new
from tonebench.cli.notes import notes
from tonebench.cli.render import render
from tonebench.cli.take import take
from tonebench.cli.threads import use_one_thread
from tonebench.cli.traits import traits
from tonebench.errors import OutputError, TonebenchError

_EPILOG = """\b
Exit codes: 0 done · 1 ran, but a check failed (also: over full scale) · 2 usage
3 an input is missing, unreadable or invalid · 4 audio device · 5 missing optional
part · 6 output exists or can't be written · 70 internal · 130 interrupted

\b
Start with:  tonebench compare            the bundled demo
             tonebench new mine.toml      a circuit of your own
"""


@click.group(
    epilog=_EPILOG,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 88},
)
@click.version_option(package_name="tonebench", message="tonebench %(version)s")
def cli() -> None:
    """Hear, see and say what one preamp circuit does that another does not."""


_COMMANDS = (
    *(new, check, list_shipped, curves, traits, explain, nearest, notes),
    *(render, compare, blind, deliver, build, take, doctor),
)
for _command in _COMMANDS:
    cli.add_command(_command)


def run(arguments: Sequence[str]) -> int:
    """Run the command line and return its exit code; nothing is raised."""
    arguments = list(arguments)
    as_json = "--json" in arguments
    try:
        code = cli.main(arguments, prog_name="tonebench", standalone_mode=False)
        return code if isinstance(code, int) else 0
    except click.exceptions.Exit as done:
        return done.exit_code
    except (click.Abort, KeyboardInterrupt):
        click.echo("interrupted", err=True)
        return 130
    except click.ClickException as error:
        errors_shown.show_usage(error, as_json)
        return error.exit_code
    except TonebenchError as error:
        errors_shown.show(error, as_json)
        return error.exit_code
    except OSError as error:  # of stdout: files raise errors of their own
        return _unwritable(error)
    except SystemExit:  # click's answer to a closed pipe: who read us has seen enough
        return 0
    except Exception:
        traceback.print_exc()
        click.echo(
            "this is a fault in tonebench itself; the lines above say where", err=True
        )
        return 70


def main() -> None:
    """Run the command line of this process."""
    use_one_thread()
    # to be ended by the system tidies up as Ctrl-C does
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # signs that a code page lacks: "?"
            stream.reconfigure(errors="replace")
    code = run(sys.argv[1:])
    try:
        sys.stdout.flush()
    except OSError as error:
        code = _unwritable(error)
    sys.exit(code)


def _unwritable(error: OSError) -> int:
    """Tell why stdout can't be written; whoever hung up has seen enough."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # nothing is left to be flushed
    if isinstance(error, BrokenPipeError):
        return 0
    click.echo(f"tonebench: can't write the output ({error.strerror})", err=True)
    return OutputError.exit_code
