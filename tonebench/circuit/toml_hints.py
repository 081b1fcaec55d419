# SPDX-License-Identifier: GPL-3.0-or-later
"""What is likely wrong with a line that is not TOML, in a builder's words.

Guesses from the text of the line alone; nothing here parses.
"""

import re
import tomllib

from tonebench.errors import Fault

_PLACE = re.compile(r" \(at (?:line (\d+), column \d+|end of document)\)$")
_LONGEST_SHOWN = 80

#: The parser's sentences that a builder would not understand.
_PLAINER = {
    "Expected '=' after a key in a key/value pair": "a key and = must stand here",
    "Expected newline or end of document after a statement": (
        "something more stands behind the value"
    ),
    "Invalid initial character for a key part": "a key must stand here",
    "Invalid statement": "a line starts with a key or a [table]",
    "Invalid value": "a value is missing or can't be read",
    "Unclosed array": "a comma or a closing ] is missing",
}

#: How a line looks, its quoted texts blotted out and its comment gone, and the hint
#: that goes with it (\1 is what the first bracket found); the first that fits is given.
_BLOT = "§"
_LOOKS = tuple(
    (re.compile(look), hint)
    for look, hint in (
        ("[“”„«»‘’‚]", 'use straight quotes: "4k7"'),
        (r"^\s*[\w.-]+\s*:", "write = between a key and its value"),
        (
            r"^\s*[A-Za-z0-9_.-]*[^A-Za-z0-9_.\-\s=§\[{\"][^=]*=",
            "a key with other signs than A-Z, 0-9, _ and - needs quotes",
        ),
        (r"""["']""", "is a quote still open?"),
        (r"^\s*\[[^\]]*$", "is the closing ] missing?"),
        (
            r"=\s*([1-9]\d{0,2}),(\d{3})\s*(?:[,}]|$)",
            r"for \1\2 leave out the comma, for a decimal write \1.\2",
        ),
        (r"=\s*(\d+),(\d+)\s*(?:[,}]|$)", r"use a decimal point: \1.\2"),
        (
            r"=\s*([1-9]\d{0,2}),(\d{3}[^\d\s,}][^\s,}]*)",
            r'write "\1\2" or "\1.\2", in quotes and without a comma',
        ),
        (r"=\s*(\d+),(\d+[^\s,}]+)", r'use a decimal point, and quotes: "\1.\2"'),
        (r"=\s*(\.\d+)\s*(?:[,}]|$)", r"a number starts with a digit: 0\1"),
        (r"=\s*(?:True|TRUE|False|FALSE)\b", "write true or false in small letters"),
        (
            r"=\s*(?!true\b|false\b)([^\s,\[\]{}§]*[^\W\d][^\s,\[\]{}§]*)",
            r'values with letters need quotes: "\1"',
        ),
        (r"=\s*\[[^\]]*?([^\W\d]\w*)\s*[,\]]", r'names of nodes need quotes: "\1"'),
        (r",\s*\}", "no comma before the closing brace"),
        (r"\{[^}]*$", "everything from { to } belongs on one line"),
        (r"[§\d]\s+[§\w]", "is a comma missing?"),
    )
)


def syntax_fault(text: str, error: tomllib.TOMLDecodeError) -> Fault:
    """Return what is wrong with a text that could not be parsed, and on which line."""
    said = str(error)
    reason = _PLACE.sub("", said)
    place = _PLACE.search(said)
    line_word = place[1] if place else None  # none at the end of the text
    number = int(line_word or text.rstrip().count("\n") + 1)
    lines = text.split("\n")
    if re.match("Cannot|Duplicate", reason):
        return _double(lines, number, reason)
    if line_word is None:
        message = "the file ends in the middle of a value"
        return Fault(message, "is a bracket or a quote still open?", line=number)
    line = lines[number - 1]
    shown = line.strip()
    if len(shown) > _LONGEST_SHOWN:
        shown = f"{shown[: _LONGEST_SHOWN - 2]} …"
    reason = _PLAINER.get(reason, reason[0].lower() + reason[1:])
    return Fault(f"cannot read '{shown}'", _hint(line) or reason, line=number)


def _hint(line: str) -> str:
    bare = re.sub(r'"(?:\\.|[^"\\])*"|\'[^\']*\'', _BLOT, line).partition("#")[0]
    for look, hint in _LOOKS:
        if match := look.search(bare):
            return match.expand(hint)
    return ""


def _double(lines: list[str], number: int, reason: str) -> Fault:
    """Return the fault of a key or table that is there twice, and where it is first."""
    name = _head(lines[number - 1])
    if inside := re.match("Duplicate inline table key '(.*)'", reason):
        return Fault(f"'{inside[1]}' is there twice in '{name}'", line=number)
    earlier = (count for count in range(number - 1, 0, -1))
    first = next((count for count in earlier if _head(lines[count - 1]) == name), None)
    where = f"it is first on line {first}" if first else "give it a name of its own"
    return Fault(f"'{name}' is there twice", where, line=number)


def _head(line: str) -> str:
    """Return the key or the table's name at the start of a line."""
    return line.partition("=")[0].partition("#")[0].strip("[]\"' \t")
