# SPDX-License-Identifier: GPL-3.0-or-later
"""Comparison files: TOML texts read into `Comparison` values, each fault with its line.

Reads no sound; a take is only looked up by its name.
"""

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from tonebench.circuit.hookup import Hookup
from tonebench.circuit.tables import Findings, Table, in_order, is_of_this_schema
from tonebench.circuit.toml_lines import read_toml
from tonebench.errors import FileFaults, InputError, RequestError
from tonebench.plan.asked_hookup import (
    HOOKUP_KEYS,
    hookup_field,
    located,
    read_located,
)
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
from tonebench.shipped import find

T = TypeVar("T")


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
    take = _noted(top, "take", lambda: _take(top.text("take"), folder))
    match = _match(top)
    client = _client(top)
    shared = _hookup_fields(top, folder)
    a, b = (_side(top, letter, shared, folder) for letter in ("a", "b"))
    tables = list(top.entries("pairings", "pairing"))
    pairings = _pairings(tables, a, b) or (Pairing("as they start"),)
    if not (take and match and a and b and top.is_sound):
        return None
    return Comparison(title, take, a, b, pairings, match, client)


def _noted(table: Table, key: str, make: Callable[[], T]) -> T | None:
    """Return what `make` makes; note what it refuses as a fault of `key`.

    Unless a fault noted before led to it: in `make`, or without a key in the table.
    """
    known = len(table.findings.faults)
    try:
        return make()
    except FileFaults as error:
        table.adopt(error.faults)
    except (RequestError, InputError) as error:
        is_first = len(table.findings.faults) == known if key else table.is_sound
        if is_first:
            table.fault(str(error), key=key)
    return None


def _take(name: str, folder: Path) -> Path:
    beside = located(name, folder)
    path = beside if isinstance(beside, Path) else find(name, "take")
    if not path.exists():
        raise InputError(f"there is no take '{name}'; check its name and its folder")
    return path


def _match(top: Table) -> Match | None:
    known = len(top.findings.faults)
    mode = top.one_of("match", MATCH_MODES, "loudness")
    frequency_hz = top.quantity("match_hz", "Hz", f"{DEFAULT_MATCH_HZ:g}")
    if len(top.findings.faults) > known:
        return None
    return _noted(top, "match_hz", lambda: Match(mode, frequency_hz))


def _hookup_fields(table: Table, folder: Path) -> dict[str, Any]:
    """Return the fields of a `Hookup` that a table's own keys ask for."""
    fields = {}
    for key in HOOKUP_KEYS:
        if key in table:
            read = partial(hookup_field, key, table.get(key), folder)
            if (field := _noted(table, key, read)) is not None:
                fields[field[0]] = field[1]
        table.get(key)  # known here, whether it is there or not
    return fields


def _side(
    top: Table, letter: str, shared: Mapping[str, Any], folder: Path
) -> Side | None:
    table = top.inside(letter, f"[{letter}]")
    if table is None:
        if letter not in top:
            top.fault(f"[{letter}] is missing", 'write circuit = "tern" in it')
        return None

    def make(side: Table) -> Side | None:
        circuit = _noted(
            side, "circuit", lambda: read_located(side.text("circuit"), folder)
        )
        parts = _plain_table(side, "parts", '{ C3 = "22n" }')
        if circuit and parts:
            drawn = circuit
            circuit = _noted(side, "parts", lambda: with_asked_parts(drawn, parts))
        fields = {**shared, **_hookup_fields(side, folder)}
        hookup = _noted(side, "", lambda: Hookup(**fields))
        if not (circuit and hookup):
            return None
        made = Side(circuit, hookup)
        return made if _noted(side, "circuit", lambda: made.chain) else None

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
    example = "{ bass = 7 }"
    both, only_a, only_b = (
        _plain_table(table, key, example) for key in ("both", "a", "b")
    )
    if not (a and b):
        return None  # whose faults are told already
    pairing = pairing_of(name, a, b, both, only_a, only_b)
    a.chain.setting(pairing.a)
    b.chain.setting(pairing.b)
    return pairing


def _plain_table(table: Table, key: str, example: str) -> Mapping[str, float | str]:
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
