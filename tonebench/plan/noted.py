# SPDX-License-Identifier: GPL-3.0-or-later
"""Keys read into values, what is refused being noted as a fault of its key."""

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from tonebench.circuit.tables import Table
from tonebench.errors import FileFaults, InputError, RequestError
from tonebench.plan.asked_hookup import HOOKUP_KEYS, hookup_field

T = TypeVar("T")


def noted(table: Table, key: str, make: Callable[[], T]) -> T | None:
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


def noted_hookup_fields(
    table: Table, folder: Path, keys: Sequence[str] = HOOKUP_KEYS
) -> dict[str, Any]:
    """Return the fields of a `Hookup` that a table's own keys ask for."""
    fields = {}
    for key in keys:
        if key in table:
            read = partial(hookup_field, key, table.get(key), folder)
            if (field := noted(table, key, read)) is not None:
                fields[field[0]] = field[1]
        table.get(key)  # known here, whether it is there or not
    return fields
