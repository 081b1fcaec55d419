# SPDX-License-Identifier: GPL-3.0-or-later
"""A take's full scale written into its take file, all else left as it stands.

Edits the text, so that comments and order stay, and reads it back before it is written.
"""

import json
import re
import tomllib
from collections.abc import Sequence
from pathlib import Path

from tonebench.audio.outputs import write_whole
from tonebench.audio.take import parse_full_scale
from tonebench.circuit.toml_lines import read_text
from tonebench.errors import OutputError, RequestError
from tonebench.plan.take_files import ENDING, read_take_file
from tonebench.shipped import find, shipped_folder

_LINE = re.compile(r"""(\s*full_scale\s*=\s*)(?:"[^"]*"|'[^']*')(.*)""", re.DOTALL)
_AUDIO = re.compile(r"\s*audio\s*=")
#: Values that differ by less say the same.
_SAME = 1e-4


def write_full_scale(
    value: str, names: Sequence[str], force: bool = False
) -> tuple[Path, ...]:
    """Write a full scale into the take files of takes; return those that changed.

    A take without a take file gets one. All are looked at before the first is written.

    Parameters
    ----------
    value : str
        Such as "2.75V".
    names : sequence of str
        Recordings, or their take files.
    force : bool
        Whether another value that stands there may be replaced.

    Raises
    ------
    FileFaults, InputError
        If a take file, or a recording, isn't right.
    RequestError
        If a take is a shipped one.
    OutputError
        If another value stands there and `force` is off, or a file can't be written.
    """
    planned = {}
    for name in names:
        path, text = _planned(name, value, force)
        if text is not None:
            planned[path] = text
    for path, text in planned.items():
        write_whole(path, text.encode("utf-8"), force=path.exists())
    return tuple(planned)


def _planned(name: str, value: str, force: bool) -> tuple[Path, str | None]:
    """Return a take file and its new text; None if it says so already."""
    take, given = read_take_file(name), find(name, "take")
    path = take.audio.with_name(take.audio.stem + ENDING)
    if given.name.endswith(ENDING):
        path = given
    if path.resolve().is_relative_to(shipped_folder("demo_audio").resolve()):
        raise RequestError(f"{name} comes with tonebench; copy it to a folder of yours")
    if not path.exists():
        audio = json.dumps(take.audio.name, ensure_ascii=False)
        return path, f'schema = 1\naudio = {audio}\nfull_scale = "{value}"\n'
    if take.full_scale_v is not None:
        if abs(parse_full_scale(value) / take.full_scale_v - 1) < _SAME:
            return path, None
        if not force:
            raise OutputError(
                f"{path}: says full_scale = {take.full_scale_v:.5g} V already; "
                f"--force replaces it by {value}"
            )
    return path, with_full_scale(path, value)


def with_full_scale(path: Path, value: str) -> str:
    """Return the text of a take file with another full scale in it.

    Raises
    ------
    OutputError
        If it is written in a way that can't be edited safely.
    """
    text = read_text(path)
    lines = text.splitlines(keepends=True)
    end = "\r\n" if "\r\n" in text else "\n"
    new = f'full_scale = "{value}"'
    for k, line in enumerate(lines):
        if match := _LINE.fullmatch(line):
            lines[k] = f'{match[1]}"{value}"{match[2]}'
            break
    else:
        at = next((k for k, x in enumerate(lines) if _AUDIO.match(x)), -1)
        if at >= 0 and not lines[at].endswith("\n"):
            lines[at] += end
        lines.insert(at + 1, new + end)
    changed = "".join(lines)
    try:
        is_right = tomllib.loads(changed) == {
            **tomllib.loads(text),
            "full_scale": value,
        }
    except tomllib.TOMLDecodeError:
        is_right = False
    if not is_right:
        raise OutputError(
            f"{path}: can't be changed safely as it is written; write {new} into it"
        )
    return changed
