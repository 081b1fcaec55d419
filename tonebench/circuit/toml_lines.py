# SPDX-License-Identifier: GPL-3.0-or-later
"""TOML texts with the line of every table and key.

The standard library's parser decides what is TOML; a light second walk over the text it
accepted notes the lines. Nothing here knows what the keys mean.
"""

import re
import tomllib
from bisect import bisect_left
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from tonebench.circuit.toml_hints import syntax_fault
from tonebench.errors import Fault, FileFaults, InputError

#: Where a value stands: the keys that lead to it, and its place in each list.
Key = tuple[str | int, ...]

_LARGEST_BYTES = 1_000_000


@dataclass(frozen=True, slots=True, eq=False)
class TomlText:
    """What a text file says, and on which line it says it."""

    file: str
    data: Mapping[str, Any]
    lines: Mapping[Key, int]

    def line(self, *key: str | int) -> int | None:
        """Return the line of a key, or else of the nearest table around it."""
        while key and key not in self.lines:
            key = key[:-1]
        return self.lines.get(key)


def read_toml(path: Path) -> TomlText:
    """Read a TOML file.

    Raises
    ------
    FileFaults
        If its text is not UTF-8, or not TOML; with the line, and what would be right.
    InputError
        If there is no such file, or nothing in it.
    """
    return parse_toml(read_text(path), str(path))


def read_text(path: Path) -> str:
    """Read a small UTF-8 text file; its faults are those of `read_toml`."""
    try:
        with path.open("rb") as file:
            raw = file.read(_LARGEST_BYTES + 1)
    except FileNotFoundError:
        raise InputError(f"there is no file '{path}'") from None
    except IsADirectoryError:
        raise InputError(f"'{path}' is a folder, not a file") from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise InputError(f"cannot read '{path}': {reason}") from None
    if len(raw) > _LARGEST_BYTES:
        raise InputError(f"'{path}' is too large for a text file of tonebench's (1 MB)")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        fault = Fault("this is not UTF-8 text", "save the file as UTF-8", line=line)
        raise FileFaults([replace(fault, file=str(path))]) from None
    if not text.strip():
        raise InputError(f"'{path}' is empty")
    return text


def parse_toml(text: str, file: str = "") -> TomlText:
    """Parse a TOML text; `file` is the name that its faults carry.

    Raises
    ------
    FileFaults
        If the text is not TOML.
    """
    text = text.replace("\r\n", "\n")  # as the parser itself does
    try:
        data = tomllib.loads(text)
        _check_integers(data)
        return TomlText(file, data, _Walk(text).lines)
    except tomllib.TOMLDecodeError as error:
        fault = syntax_fault(text, error)
    except RecursionError:
        fault = Fault("brackets are nested too deeply")
    except ValueError:  # from Python itself, for a number of thousands of digits
        fault = Fault("a whole number is too large", "TOML allows 64 bits")
    raise FileFaults([replace(fault, file=file)])


def _check_integers(value: object) -> None:
    match value:
        case dict():
            for inner in value.values():
                _check_integers(inner)
        case list():
            for inner in value:
                _check_integers(inner)
        case int() if not -(2**63) <= value < 2**63:
            raise ValueError


_BLANK = re.compile(r"(?:[ \t\n]|#[^\n]*)*")
_BLANK_OR_COMMA = re.compile(r"(?:[ \t\n,]|#[^\n]*)*")
_WORD = re.compile(r"""[ \t]*("(?:\\.|[^"\\])*"|'[^']*'|[A-Za-z0-9_-]+)[ \t]*""")
_SCALAR = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}'  # up to two quotes may stand before the closing three
    r"|'''.*?'{3,5}"
    r'|"(?:\\.|[^"\\])*"'
    r"|'[^']*'"
    r"|[^,\[\]{}#\n]+",
    re.DOTALL,
)


class _Walk:
    """A walk over a text that is known to be TOML, so it checks nothing itself."""

    def __init__(self, text: str) -> None:
        self.lines: dict[Key, int] = {}
        self._text, self._at = text, 0
        self._line_ends = [match.start() for match in re.finditer("\n", text)]
        self._tables_so_far: Counter[Key] = Counter()  # in each array of tables
        table: Key = ()
        self._skip(_BLANK)
        while self._at < len(text):
            if text[self._at] == "[":
                table = self._header()
            else:
                self._entry(table)
            self._skip(_BLANK)

    def _skip(self, pattern: re.Pattern[str]) -> None:
        if match := pattern.match(self._text, self._at):
            self._at = match.end()

    def _note(self, key: Key) -> None:
        self.lines.setdefault(key, bisect_left(self._line_ends, self._at) + 1)

    def _header(self) -> Key:
        brackets = 2 if self._text.startswith("[[", self._at) else 1
        self._at += brackets
        words = self._words()
        key: Key = ()
        for count, word in enumerate(words, start=1):
            key = (*key, word)
            self._note(key)
            if brackets == 2 and count == len(words):
                self._tables_so_far[key] += 1
            if key in self._tables_so_far:
                key = (*key, self._tables_so_far[key] - 1)
                self._note(key)
        self._at += brackets
        return key

    def _entry(self, table: Key) -> None:
        key = table
        self._skip(_BLANK)
        for word in self._words():
            key = (*key, word)
            self._note(key)
        self._at += 1  # the equals sign
        self._value(key)

    def _words(self) -> list[str]:
        words = []
        while match := _WORD.match(self._text, self._at):
            self._at = match.end()
            words.append(_unquoted(match[1]))
            if not self._text.startswith(".", self._at):
                break
            self._at += 1
        return words

    def _value(self, key: Key) -> None:
        self._skip(_BLANK)
        if self._text[self._at] == "[":
            self._at += 1
            place = 0
            while not self._closes("]"):
                self._note((*key, place))
                self._value((*key, place))
                place += 1
        elif self._text[self._at] == "{":
            self._at += 1
            while not self._closes("}"):
                self._entry(key)
        else:
            self._skip(_SCALAR)

    def _closes(self, bracket: str) -> bool:
        self._skip(_BLANK_OR_COMMA)
        if self._text[self._at] != bracket:
            return False
        self._at += 1
        return True


def _unquoted(word: str) -> str:
    if word[0] == "'":
        return word[1:-1]
    if word[0] == '"':
        (unescaped,) = tomllib.loads(f"{word} = 0")
        return unescaped
    return word
