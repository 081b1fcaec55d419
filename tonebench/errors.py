# SPDX-License-Identifier: GPL-3.0-or-later
"""Every error tonebench raises on purpose, with the exit code it ends a command with.

::

    TonebenchError
    ├── CheckFailed             1   it ran, and a check failed (over full scale)
    ├── RequestError            2   what was asked for makes no sense (unknown knob)
    ├── InputError              3   something read is missing, unreadable or invalid
    │   ├── ValueTextError      3   a component value could not be read ("4k7k")
    │   ├── CircuitError        3   a circuit contradicts itself or can't be solved
    │   ├── AudioError          3   a recording is empty, broken or does not fit
    │   └── FileFaults          3   all faults of one text file together
    ├── DeviceError             4   the sound card
    ├── MissingPartError        5   an optional part of the program isn't installed
    └── OutputError             6   an output exists already or can't be written

Anything else that escapes is a bug and keeps its traceback.
"""

from collections.abc import Iterable
from dataclasses import dataclass


class TonebenchError(Exception):
    """The root of all errors raised on purpose."""

    exit_code = 70


class CheckFailed(TonebenchError):
    """It ran, and a check failed."""

    exit_code = 1


class RequestError(TonebenchError, ValueError):
    """What was asked for makes no sense: an unknown knob, a position out of range."""

    exit_code = 2


class InputError(TonebenchError, ValueError):
    """An input is missing, unreadable or invalid."""

    exit_code = 3


class ValueTextError(InputError):
    """A text can't be read as a component value; ``hint`` says what would be right."""

    def __init__(self, message: str, hint: str = "") -> None:
        super().__init__(f"{message}; {hint}" if hint else message)
        self.plain = message
        self.hint = hint


class CircuitError(InputError):
    """A circuit contradicts itself, or has no solution at a setting."""


class AudioError(InputError):
    """A recording is empty, broken, or does not fit what is asked of it."""


class DeviceError(TonebenchError):
    """The sound card can't do what is asked."""

    exit_code = 4


class MissingPartError(TonebenchError):
    """An optional part of the program is not installed."""

    exit_code = 5


class OutputError(TonebenchError, OSError):
    """An output exists already, or can't be written."""

    exit_code = 6


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in a text file: where it stands, and what would be right."""

    message: str
    hint: str = ""
    part: str = ""
    line: int | None = None
    file: str = ""

    def __str__(self) -> str:
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        text = f"{self.part}: {self.message}" if self.part else self.message
        if self.hint:
            text = f"{text}; {self.hint}"
        return f"{place}: {text}" if place else text


class FileFaults(InputError):
    """All faults of one text file, reported together."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))
