# SPDX-License-Identifier: GPL-3.0-or-later
"""One table of a text file, taken key by key, every fault noted with its line.

A key that is missing or wrong is noted, and a stand-in is read in its place, so that
all faults of a file can be reported together. Knows no key by name.
"""

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any, TypeVar

from tonebench.circuit.toml_lines import Key, TomlText
from tonebench.circuit.wording import did_you_mean, shown
from tonebench.errors import CircuitError, Fault, RequestError, ValueTextError
from tonebench.units import parse_share, parse_value

T = TypeVar("T")

#: The version of the text files.
SCHEMA = 1

_EXAMPLES = {"Ω": "4k7", "F": "22n", "H": "0.56H", "V": "9V", "A": "1m", "Hz": "3M"}


@dataclass(frozen=True, slots=True)
class Findings:
    """A file that is being read, and what was found wrong or doubtful so far."""

    source: TomlText
    faults: list[Fault] = field(default_factory=list)
    warnings: list[Fault] = field(default_factory=list)


class Table:
    """A table of a file.

    Parameters
    ----------
    findings : Findings
        The file, and where to note what is wrong.
    part : str
        What its faults are said to be in: a designator, or "knobs.bass".
    outer : Table, optional
        The table, or array of tables, it stands in, at `name`. Without one it is the
        whole file.
    """

    def __init__(
        self,
        findings: Findings,
        part: str = "",
        outer: "Table | None" = None,
        name: str | int = "",
    ) -> None:
        self.findings, self.part, self.outer = findings, part, outer
        self.name = str(name)
        self.key: Key = (*outer.key, name) if outer else ()
        # a mapping; for the holder of an array of tables, the array
        self.data: Any = outer.data[name] if outer else findings.source.data
        self.is_sound = True
        self._asked: dict[str, None] = {}

    def __contains__(self, key: str) -> bool:
        return key in self.data

    def fault(self, message: str, hint: str = "", key: str = "") -> None:
        """Note a fault at the line of a key, or else of the table itself."""
        self.findings.faults.append(self._remark(message, hint, key))
        self._is_faulty()

    def warn(self, message: str, hint: str = "", key: str = "") -> None:
        """Note a doubt at the line of a key, or else of the table itself."""
        self.findings.warnings.append(self._remark(message, hint, key))

    def adopt(self, faults: Iterable[Fault]) -> None:
        """Take over the faults of another file that this table names."""
        self.findings.faults.extend(faults)
        self._is_faulty()

    def _is_faulty(self) -> None:
        table: Table | None = self
        while table:
            table.is_sound, table = False, table.outer

    def _remark(self, message: str, hint: str, key: str) -> Fault:
        source = self.findings.source
        line = source.line(*self.key, key) if key else source.line(*self.key)
        return Fault(message, hint, self.part, line, source.file)

    def build(self, make: "Callable[[Table], T]") -> T | None:
        """Return what `make` makes of this table, or None if there is a fault in it.

        Keys that `make` did not ask for are noted as unknown. What it refuses with a
        CircuitError or RequestError is noted, unless a fault noted before led to it.
        """
        made = None
        try:
            made = make(self)
        except (CircuitError, RequestError) as error:
            if self.is_sound:
                self.fault(str(error).removeprefix(f"{self.name}: "))
        for key in self.data:
            if key not in self._asked:
                known = f"known here: {', '.join(self._asked)}"
                hint = did_you_mean(key, self._asked) or known
                self.fault(f"unknown key '{key}'", hint, key)
        return made if self.is_sound else None

    def get(self, key: str, default: object = None) -> Any:
        """Return whatever a key holds."""
        self._asked[key] = None
        return self.data.get(key, default)

    def _require(self, key: str, example: str) -> Any:
        value = self.get(key)
        if value is None:  # TOML has no such value: the key isn't there
            self.fault(f"{key} is missing", f"write {key} = {example}")
        return value

    def _wrong(self, key: str, rule: str, value: object) -> None:
        self.fault(f"{key} must be {rule}, got {shown(value)}", key=key)

    def text(self, key: str, default: str | None = None) -> str:
        """Return a text; without a default it must be there."""
        value = self._require(key, '"…"') if default is None else self.get(key, default)
        if value is not None and not isinstance(value, str):
            self._wrong(key, "a text in quotes", value)
        return value if isinstance(value, str) else ""

    def one_of(self, key: str, words: Iterable[str], default: str | None = None) -> str:
        """Return one of some words; without a default it must be there."""
        value, known = self.text(key, default), tuple(words)
        if isinstance(self.data.get(key), str) and value not in known:
            hint = did_you_mean(value, known) or f"write {' or '.join(known)}"
            self.fault(f"{key} {shown(value)} is not known", hint, key)
        return value

    def words(self, key: str) -> tuple[str, ...]:
        """Return a list of two or more different texts; it must be there."""
        match self._require(key, '["one", "other"]'):
            case None:
                return ()
            case [str(), str(), *_] as words if all(isinstance(w, str) for w in words):
                for word in sorted({word for word in words if words.count(word) > 1}):
                    self.fault(f"{key}: {shown(word)} is there twice", key=key)
                return tuple(words)
            case value:
                self._wrong(key, "two or more texts in brackets", value)
        return ()

    def flag(self, key: str) -> bool:
        """Return true or false; false if it isn't there."""
        value = self.get(key, False)
        if not isinstance(value, bool):
            self._wrong(key, "true or false", value)
        return value is True

    def number(self, key: str) -> float | None:
        """Return a plain number; None if it isn't there."""
        match self.get(key):
            case None | bool() as value:
                if value is not None:
                    self._wrong(key, "a number", value)
            case int() | float() as value if math.isfinite(value):
                return float(value)
            case value:
                self._wrong(key, "a number", value)
        return None

    def maybe(self, key: str, unit: str = "") -> float | None:
        """Return a value in its unit; None if it isn't there."""
        return self.quantity(key, unit) if self.get(key) is not None else None

    def quantity(self, key: str, unit: str = "", default: str | None = None) -> float:
        """Return a value in its unit; without a default it must be there."""
        example = f'"{_EXAMPLES.get(unit, "1k")}"'
        value = (
            self._require(key, example) if default is None else self.get(key, default)
        )
        if value is None:
            return math.nan
        return self._parsed(key, value, lambda: parse_value(value, unit))

    def share(self, key: str) -> float:
        """Return a tolerance as a share of one; 0 if it isn't there."""
        value = self.get(key, 0)
        return self._parsed(key, value, lambda: parse_share(value))

    def _parsed(self, key: str, value: object, parse: Callable[[], float]) -> float:
        if isinstance(value, bool) or not isinstance(value, (str, int, float)):
            self._wrong(key, 'a value such as "4k7"', value)
            return math.nan
        try:
            return parse()
        except ValueTextError as error:
            named = error.plain.startswith(key)
            message = error.plain if named else f"{key}: {error.plain}"
            self.fault(message, error.hint, key)
            return math.nan

    def node(self, key: str, default: str | None = None) -> str:
        """Return the name of a node; without a default it must be there."""
        value = self._require(key, '"a"') if default is None else self.get(key, default)
        return "".join(self.nodes(key, value)) if value is not None else ""

    def pair(self, key: str) -> tuple[str, str]:
        """Return the names of two nodes; they must be there."""
        match self._require(key, '["a", "b"]'):
            case None:
                return "", ""
            case [_, _] as value:
                one, other = self.nodes(key, value) or ("", "")
                return one, other
            case value:
                self._wrong(key, 'two nodes such as ["in", "a"]', value)
        return "", ""

    def nodes(self, key: str, value: object) -> tuple[str, ...]:
        """Return one node's name, or a list of them; nothing if one is wrong."""
        nodes = tuple(value) if isinstance(value, list) else (value,)
        wrong = [node for node in nodes if not _is_node(node)]
        for node in wrong:
            is_number = isinstance(node, int) and not isinstance(node, bool)
            hint = f'write "{node}"' if is_number else ""
            self.fault(
                f"{key}: a node is a name in quotes, got {shown(node)}", hint, key
            )
        return () if wrong else nodes

    def inside(self, key: str, part: str = "", example: str = "") -> "Table | None":
        """Return the table inside this one under a key; None if there is none."""
        part = part or self.part or key
        value = self.get(key)
        if isinstance(value, dict):
            return Table(self.findings, part, self, key)
        if value is not None:
            hint = f"write {example}" if example else ""
            self.fault(f"{key} must be a table, got {shown(value)}", hint, key)
        return None

    def each(self, key: str, prefix: str = "", example: str = "") -> "Iterator[Table]":
        """Yield the tables inside a table of tables, such as ``[knobs]``.

        Their faults are said to be in `prefix` and the name.
        """
        outer = self.inside(key)
        if outer is None:
            return
        for name in outer.data:
            hint = example and f"{name} = {example}"
            if table := outer.inside(name, prefix + name, hint):
                yield table

    def entries(self, key: str, part: str) -> "Iterator[Table]":
        """Yield the tables of an array of tables, such as ``[[pairings]]``.

        Their faults are said to be in `part` and the number of the entry.
        """
        value = self.get(key, [])
        if not (isinstance(value, list) and all(isinstance(v, dict) for v in value)):
            self.fault(f"{key} must be tables", f"write [[{key}]] above each", key)
            return
        if value:
            every = Table(self.findings, key, self, key)
            for number in range(len(value)):
                yield Table(self.findings, f"{part} {number + 1}", every, number)


def is_of_this_schema(table: Table) -> bool:
    """Return whether a file is written for this version; note it if not."""
    schema = table.get("schema")
    if schema is None:
        table.fault("schema is missing", f"write schema = {SCHEMA} on the first line")
    elif schema != SCHEMA or isinstance(schema, bool):
        hint = "was the file written for another version of tonebench?"
        table.fault(f"schema must be {SCHEMA}, got {shown(schema)}", hint, "schema")
    return table.is_sound


def in_order(faults: Iterable[Fault]) -> tuple[Fault, ...]:
    """Return faults in the order of their lines."""
    return tuple(sorted(faults, key=lambda fault: fault.line or 0))


def _is_node(value: object) -> bool:
    return (
        isinstance(value, str)
        and value != ""
        and value == value.strip()
        and value.isprintable()
    )
