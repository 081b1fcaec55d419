# SPDX-License-Identifier: GPL-3.0-or-later
"""Take files: what is known of a recording, in a TOML text beside it.

A recording without one is a take too, of which nothing is known. Reads no sound.
"""

from pathlib import Path

from tonebench.audio.take import (
    Take,
    loads_of,
    open_strings_hz,
    parse_full_scale,
)
from tonebench.circuit.hookup import Hookup
from tonebench.circuit.tables import Findings, Table, in_order, is_of_this_schema
from tonebench.circuit.toml_lines import read_toml
from tonebench.errors import FileFaults, InputError
from tonebench.plan.asked_hookup import HOOKUP_KEYS
from tonebench.plan.noted import noted, noted_hookup_fields
from tonebench.shipped import find

ENDING = ".take.toml"
#: What may be left out of a recording's name.
SOUND_ENDINGS = (".flac", ".wav")
_RECORDED_KEYS = tuple(
    key for key in HOOKUP_KEYS if key not in ("source", "into", "place", "buffer")
)


def read_take_file(name_or_path: str | Path) -> Take:
    """Return a take by the name of a shipped one, its recording, or its take file.

    Raises
    ------
    FileFaults
        With all faults of the take file.
    InputError
        If there is no such recording.
    """
    path = find(name_or_path, "take")
    if path.name.endswith(ENDING):
        return _read(path, None)
    beside = path.with_name(path.stem + ENDING)
    if beside.is_file():
        return _read(beside, path)
    if not path.exists():
        raise InputError(f"{path}: no such file; check its name and its folder")
    return Take(path, title=path.stem)


def _read(path: Path, audio: Path | None) -> Take:
    findings = Findings(read_toml(path))
    top = Table(findings)
    made = None
    if is_of_this_schema(top):
        made = top.build(lambda table: _take(table, path, audio))
    if made is None:
        raise FileFaults(in_order(findings.faults))
    return made


def _take(top: Table, path: Path, audio: Path | None) -> Take | None:
    name = top.text("audio")
    named = path.parent / name
    if top.is_sound and not named.is_file():
        top.fault(f"audio: there is no file '{name}' beside it", key="audio")
    if audio is not None and top.is_sound and not named.samefile(audio):
        hint = f'write audio = "{audio.name}", or rename this file'
        top.fault(f"audio is '{named.name}', not {audio.name}", hint, "audio")
    title = top.text("title", named.stem)
    instrument, tuning = top.text("instrument", ""), top.text("tuning", "")
    noted(top, "tuning", lambda: open_strings_hz(tuning))
    volts = None
    level = top.text("full_scale", "")
    if isinstance(top.get("full_scale"), str):
        volts = noted(top, "full_scale", lambda: parse_full_scale(level))
    recorded = _recorded(top, path.parent)
    if not top.is_sound:
        return None
    return Take(named, title, instrument, tuning, volts, recorded)


def _recorded(top: Table, folder: Path) -> Hookup | None:
    table = top.inside("recorded", "recorded")
    if table is None:
        return None

    def make(inner: Table) -> Hookup | None:
        fields = noted_hookup_fields(inner, folder, _RECORDED_KEYS)
        if inner.is_sound and not fields.get("pickups"):
            inner.fault("pickup is missing", "write what the take was played with")
        hookup = noted(inner, "", lambda: Hookup(**fields))
        if hookup and inner.is_sound:
            noted(inner, "", lambda: loads_of(hookup))
        return hookup

    return table.build(make)
