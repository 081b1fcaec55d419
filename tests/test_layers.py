# SPDX-License-Identifier: GPL-3.0-or-later
"""The house: a module imports its own folder and earlier layers, and nothing above.

Imports are read from the source, those inside functions too, so that nothing runs.
"""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import tonebench

PACKAGE = Path(tonebench.__file__).parent
#: From the bottom to the top; what stands in one layer does not know its neighbours.
LAYERS = [
    {"errors"},
    {"units", "shipped"},
    {"circuit"},
    {"network"},
    {"digital"},
    {"audio"},
    {"plan"},
    {"render"},
    {"study"},
    {"live", "measure"},
    {"compare"},
    {"report"},
    {"page", "plugin", "batch"},
    {"cli"},
]
LEVEL = {room: level for level, rooms in enumerate(LAYERS) for room in rooms}
#: The package's own front, which belongs to no layer.
FRONT = {"__init__", "__main__"}
#: Libraries that few files alone may import: one, but for those that read and write.
DOORS = {
    "pedalboard": {"audio/plugin_child.py"},
    "soundfile": {"audio/files.py", "audio/clip_files.py"},
    "sounddevice": {"audio/devices.py"},
    "soxr": {"audio/impulse.py"},
}


def room_of(path: Path) -> str:
    """Return the folder or single module that a file of the package belongs to."""
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


def imported(source: str, package: str = "tonebench") -> Iterator[tuple[int, str]]:
    """Return line and full name of all that a source imports, wherever it stands.

    `package` is the package that the source is part of: where its dots start from.
    """
    for node in ast.walk(ast.parse(source)):
        match node:
            case ast.Import(names=names):
                yield from ((node.lineno, alias.name) for alias in names)
            case ast.ImportFrom(module=module, names=names, level=dots):
                base = package.split(".")[: package.count(".") + 2 - dots]
                start = base if dots else []
                stem = ".".join([*start, *([module] if module else [])])
                yield from ((node.lineno, f"{stem}.{alias.name}") for alias in names)
            case ast.Call(
                func=ast.Name(id="import_module" | "__import__")
                | ast.Attribute(attr="import_module"),
                args=[ast.Constant(value=str(name)), *_],
            ):
                yield node.lineno, name


def forbidden(source: str, room: str) -> list[str]:
    """Return what a source in a room imports from its own layer's others, or above."""
    found = []
    for line, name in imported(source, f"tonebench.{room}"):
        top, _, rest = name.partition(".")
        target = rest.partition(".")[0]
        if top != "tonebench" or target == room or target in ("", "__version__"):
            continue
        if LEVEL.get(target, len(LAYERS)) >= LEVEL[room]:
            found.append(f"line {line}: {room} imports {name}")
    return found


def sources() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def test_every_file_of_the_package_stands_in_a_layer() -> None:
    assert {room_of(path) for path in sources()} <= LEVEL.keys() | FRONT


@pytest.mark.parametrize("path", sources(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_module_imports_its_own_folder_and_earlier_layers_only(path: Path) -> None:
    if (room := room_of(path)) not in FRONT:
        assert forbidden(path.read_text(encoding="utf-8"), room) == []


@pytest.mark.parametrize("library", DOORS)
def test_library_of_the_outside_world_is_imported_where_it_is_named_alone(
    library: str,
) -> None:
    importers = {
        path.relative_to(PACKAGE).as_posix()
        for path in sources()
        for _, name in imported(path.read_text(encoding="utf-8"))
        if name.partition(".")[0] == library
    }
    assert importers <= DOORS[library]


@pytest.mark.parametrize(
    ("room", "source"),
    [
        ("circuit", "from tonebench.network.nodal import Network"),
        ("circuit", "import tonebench.cli"),
        ("network", "from tonebench import digital"),
        ("errors", "from tonebench.units import parse_value"),
        ("units", "from tonebench.shipped import find"),
        ("live", "from tonebench.measure.sweep import sweep"),
        ("measure", "import tonebench.live.engine as engine"),
        ("page", "from tonebench.batch import jobs"),
        ("network", "def f():\n    from tonebench.audio.take import Take"),
        ("network", "if True:\n    import numpy, tonebench.study.traits"),
        ("network", "from ..digital.cascade import design"),
        ("network", "from .. import render"),
        ("study", "import importlib\nimportlib.import_module('tonebench.compare')"),
        ("study", "from tonebench.unknown import anything"),
    ],
)
def test_forbidden_import_would_be_caught(room: str, source: str) -> None:
    assert len(forbidden(source, room)) == 1


@pytest.mark.parametrize(
    ("room", "source"),
    [
        ("network", "from tonebench.circuit.parts import Pot\nimport numpy as np"),
        ("network", "from tonebench.network.legs import leg_ohms"),
        ("network", "from .legs import leg_ohms"),
        ("cli", "from tonebench import __version__, errors\nimport tonebench"),
        ("report", "text = 'from tonebench.cli import main'  # tonebench.cli"),
    ],
)
def test_allowed_import_passes(room: str, source: str) -> None:
    assert forbidden(source, room) == []
