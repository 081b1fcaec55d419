# SPDX-License-Identifier: GPL-3.0-or-later
"""Comparison files: TOML texts read into `Comparison` values, each fault with its line.

Reads no sound; a take is only looked up by its name.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from tonebench.audio.take import Take
from tonebench.circuit.hookup import Hookup
from tonebench.circuit.tables import Findings, Table, in_order, is_of_this_schema
from tonebench.circuit.toml_lines import read_toml
from tonebench.errors import FileFaults, InputError
from tonebench.plan.after import Step, after_from
from tonebench.plan.asked_hookup import located, read_located
from tonebench.plan.asked_parts import with_asked_parts
from tonebench.plan.comparison import (
    DEFAULT_MATCH_HZ,
    MATCH_MODES,
    Comparison,
    Match,
    Pairing,
    Side,
    pairing_of,
)
from tonebench.plan.moves import moving_setting
from tonebench.plan.noted import noted, noted_hookup_fields
from tonebench.plan.take_files import SOUND_ENDINGS, read_take_file
from tonebench.shipped import find


def read_comparison(name_or_path: str | Path) -> Comparison:
    """Read a comparison file, or a shipped comparison by its name.

    Raises
    ------
    FileFaults
        With all faults of the file, and of the circuit files that it names.
    InputError
        If there is no such file.
    """
    path = find(name_or_path, "comparison")
    findings = Findings(read_toml(path))
    top = Table(findings)
    made = None
    if "parts" in top:
        raise InputError(
            f"{path} is a circuit file; compare its circuit with another one by "
            f"--a {name_or_path} --b … --take …"
        )
    if is_of_this_schema(top):
        made = top.build(lambda table: _comparison(table, path))
    if made is None:
        raise FileFaults(in_order(findings.faults))
    return made


def _comparison(top: Table, path: Path) -> Comparison | None:
    folder = path.parent
    title = top.text("title", path.stem)
    takes = _takes(top, folder)
    match = _match(top)
    extra = top.flag("dry"), top.flag("difference")
    client = _client(top)
    after: tuple[Step, ...] = ()
    if (asked := top.get("after")) is not None:
        after = noted(top, "after", lambda: after_from(asked, folder)) or ()
    shared = noted_hookup_fields(top, folder)
    a, b = (_side(top, letter, shared, folder) for letter in ("a", "b"))
    tables = list(top.entries("pairings", "pairing"))
    pairings = _pairings(tables, a, b) or (Pairing("as they start"),)
    if not (takes and match and a and b and top.is_sound):
        return None
    values = title, takes, a, b, pairings, match, *extra, client, after
    return noted(top, "takes", lambda: Comparison(*values))


def _takes(top: Table, folder: Path) -> tuple[Take, ...] | None:
    """Return the takes under ``take`` or ``takes``."""
    names = top.get("takes")
    if names is None:
        name = top.text("take")
        take = noted(top, "take", lambda: _take(name, folder)) if name else None
        return (take,) if take else None
    if top.get("take") is not None:
        top.fault("take and takes are both there", "keep one of them", "take")
    if not (
        isinstance(names, list) and names and all(isinstance(n, str) for n in names)
    ):
        top.fault("takes must be names or files", 'write ["one", "other"]', "takes")
        return None
    found = [noted(top, "takes", partial(_take, name, folder)) for name in names]
    return tuple(take for take in found if take) if top.is_sound else None


def _take(name: str, folder: Path) -> Take:
    return read_take_file(located(name, folder, SOUND_ENDINGS))


def _match(top: Table) -> Match | None:
    known = len(top.findings.faults)
    mode = top.one_of("match", MATCH_MODES, "loudness")
    frequency_hz = top.quantity("match_hz", "Hz", f"{DEFAULT_MATCH_HZ:g}")
    trim_b_db = top.number("trim_b") or 0.0
    if len(top.findings.faults) > known:
        return None
    match = noted(top, "match_hz", lambda: Match(mode, frequency_hz))
    if match is None:
        return None
    return noted(top, "trim_b", lambda: replace(match, trim_b_db=trim_b_db))


def _side(
    top: Table, letter: str, shared: Mapping[str, Any], folder: Path
) -> Side | None:
    table = top.inside(letter, f"[{letter}]")
    if table is None:
        if letter not in top:
            top.fault(f"[{letter}] is missing", 'write circuit = "tern" in it')
        return None

    def make(side: Table) -> Side | None:
        circuit = noted(
            side, "circuit", lambda: read_located(side.text("circuit"), folder)
        )
        parts = _plain_table(side, "parts", '{ C3 = "22n" }')
        if circuit and parts:
            drawn = circuit
            circuit = noted(side, "parts", lambda: with_asked_parts(drawn, parts))
        fields = {**shared, **noted_hookup_fields(side, folder)}
        hookup = noted(side, "", lambda: Hookup(**fields))
        if not (circuit and hookup):
            return None
        made = Side(circuit, hookup)
        return made if noted(side, "circuit", lambda: made.chain) else None

    return table.build(make)


def _pairings(
    tables: Sequence[Table], a: Side | None, b: Side | None
) -> tuple[Pairing, ...]:
    made: list[Pairing] = []
    for table in tables:
        pairing = table.build(lambda entry: _pairing(entry, a, b))
        if pairing and pairing.name in {other.name for other in made}:
            table.fault(f"there are two pairings named '{pairing.name}'", key="name")
        elif pairing:
            made.append(pairing)
    return tuple(made)


def _pairing(table: Table, a: Side | None, b: Side | None) -> Pairing | None:
    name = table.text("name")
    if "name" in table and table.is_sound and not name.strip():
        table.fault("name is empty", 'write what is compared, such as "flat"', "name")
    example = "{ bass = 7 }"
    both, only_a, only_b = (
        _plain_table(table, key, example) for key in ("both", "a", "b")
    )
    if not (a and b):
        return None  # whose faults are told already
    pairing = pairing_of(name, a, b, both, only_a, only_b)
    for side, changes in ((a, pairing.a), (b, pairing.b)):
        moving_setting(side.chain.controls, changes)
    return pairing


def _plain_table(table: Table, key: str, example: str) -> Mapping[str, Any]:
    """Return the names and values under a key; nothing if it isn't there."""
    value = table.get(key, {})
    if isinstance(value, dict):
        return value
    table.fault(f"{key} must be a table such as {example}", key=key)
    return {}


def _client(top: Table) -> Mapping[str, str]:
    table = top.inside("client")
    if table is None:
        return {}
    found = table.build(
        lambda inner: {key: inner.text(key, "") for key in ("by", "for", "note")}
    )
    return {key: text for key, text in (found or {}).items() if text}
