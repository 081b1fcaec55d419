# SPDX-License-Identifier: GPL-3.0-or-later
"""The hook-up as a person writes it: the same keys in files and on the command line.

``pickup = "sedge"``, ``cable = "700p"``, ``before = "whimbrel"`` become a `Hookup`,
with pickups and neighbours looked up by name. Solves nothing.
"""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.files import read_circuit, read_pickup
from tonebench.circuit.hookup import Hookup, Neighbour
from tonebench.errors import RequestError
from tonebench.plan.asked_parts import likely_value
from tonebench.shipped import Kind

HOOKUP_KEYS = (
    "pickup",
    "source",
    "cable",
    "inner",
    "load",
    "load_capacitance",
    "place",
    "before",
    "into",
    "buffer",
)


def located(
    name: str, folder: Path | None, endings: Sequence[str] = (".toml",)
) -> str | Path:
    """Return what `name` means when it is written in a file of `folder`.

    A file beside the writing file is meant before one in the current folder, with or
    without one of the endings; shipped names stay names.
    """
    if folder is not None:
        for path in (folder / name, *(folder / f"{name}{end}" for end in endings)):
            if path.is_file():
                return path
    return name


def read_located(name: object, folder: Path | None, kind: Kind = "circuit") -> Circuit:
    """Return the circuit a key names."""
    if not isinstance(name, str):
        raise RequestError(f"{kind} must be a name or a file, got {name!r}")
    return read_circuit(located(name, folder))


def hookup_from(values: Mapping[str, object], folder: Path | None = None) -> Hookup:
    """Return the hook-up that these keys ask for.

    Parameters
    ----------
    values : mapping
        Any of `HOOKUP_KEYS`, as a TOML file or the command line gives them.
    folder : Path, optional
        Where the file stands in which they were written, for paths beside it.

    Raises
    ------
    RequestError, InputError
        For a key that isn't one, or a value that can't be one.

    Examples
    --------
    >>> hookup_from({"cable": "700p", "load": "1M"}).cable_farad
    7e-10
    """
    return Hookup(**dict(hookup_field(*item, folder) for item in values.items()))


def hookup_field(key: str, value: object, folder: Path | None) -> tuple[str, Any]:
    """Return the name and the value of the `Hookup` field that one key asks for."""
    readers = _readers(folder)
    if key not in readers:
        known = ", ".join(HOOKUP_KEYS)
        raise RequestError(f"'{key}' is no hook-up key; there are {known}")
    name, read = readers[key]
    try:
        made = read(value)
        Hookup(**{name: made})  # refuses what is out of range, here, at its key
    except RequestError as error:
        text = str(error)
        raise RequestError(
            text if text.startswith(key) else f"{key}: {text}"
        ) from error
    return name, made


def _readers(folder: Path | None) -> dict[str, tuple[str, Callable[[Any], Any]]]:
    return {
        "pickup": ("pickups", lambda value: _pickups(value, folder)),
        "source": ("source_ohm", _ohm),
        "cable": ("cable_farad", _farad),
        "inner": ("inner_farad", _farad),
        "load": ("load_ohm", _ohm),
        "load_capacitance": ("load_farad", _farad),
        "place": ("place", _place),
        "before": ("before", lambda value: _neighbours(value, folder)),
        "into": ("into", lambda value: _neighbours(value, folder)),
        "buffer": ("has_buffer", _buffer),
    }


def _ohm(value: str | float) -> float:
    return likely_value(value, "Ω", "resistor")


def _farad(value: str | float) -> float:
    return likely_value(value, "F", "capacitance")


def _place(value: object) -> object:
    if value not in ("floor", "onboard"):
        raise RequestError(f"place must be floor or onboard, got '{value}'")
    return value


def _buffer(value: object) -> bool:
    if value != "input":
        raise RequestError(f'buffer must be "input", where it can stand, got {value!r}')
    return True


def _pickups(value: object, folder: Path | None) -> dict[str, object]:
    """Return pickups by input; one name alone stands for every input."""
    if isinstance(value, str):
        return {"": read_pickup(located(value, folder))}
    if isinstance(value, Mapping) and all(isinstance(v, str) for v in value.values()):
        return {
            name: read_pickup(located(pickup, folder)) for name, pickup in value.items()
        }
    raise RequestError(
        f"pickup must be a name, a file, or one per input, got {value!r}"
    )


def _neighbours(value: object, folder: Path | None) -> tuple[Neighbour, ...]:
    """Return neighbours from a name, {circuit, settings}, or a list of these."""
    entries = value if isinstance(value, (list, tuple)) else [value]
    neighbours = []
    for entry in entries:
        settings: Mapping[str, float | str] = {}
        name = entry
        if isinstance(entry, Mapping):
            unknown = set(entry) - {"circuit", "settings"}
            if unknown or "circuit" not in entry:
                raise RequestError(
                    "a neighbour is written { circuit = …, settings = { … } }, "
                    f"got {dict(entry)}"
                )
            name, settings = entry["circuit"], entry.get("settings", {})
        if not isinstance(settings, Mapping):
            raise RequestError(
                f"settings must be a table such as {{ bass = 7 }}, got {settings!r}"
            )
        circuit = read_located(name, folder)
        circuit.setting(settings)  # refuses a knob that isn't there
        neighbours.append(Neighbour(circuit, dict(settings)))
    return tuple(neighbours)
