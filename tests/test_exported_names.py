# SPDX-License-Identifier: GPL-3.0-or-later
"""What a module says it exports is sorted, there, and all that it defines for others.

Read from the source, so that nothing runs.
"""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import tonebench

PACKAGE = Path(tonebench.__file__).parent


def sources() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def bound(statements: list[ast.stmt]) -> Iterator[str]:
    """Yield the names that statements bind, whatever branch they stand in.

    An import counts only if it is of the package's own: the others serve the module.
    """
    for node in statements:
        match node:
            case ast.FunctionDef(name=name) | ast.AsyncFunctionDef(name=name):
                yield name
            case ast.ClassDef(name=name):
                yield name
            case ast.Assign(targets=targets):
                for target in targets:
                    names = (n for n in ast.walk(target) if isinstance(n, ast.Name))
                    yield from (n.id for n in names)
            case ast.AnnAssign(target=ast.Name(id=name)):
                yield name
            case ast.ImportFrom(module=str(module), names=names):
                if module.partition(".")[0] == "tonebench":
                    yield from (alias.asname or alias.name for alias in names)
            case ast.If(body=body, orelse=other):
                yield from bound([*body, *other])
            case ast.Try(body=body, handlers=handlers, orelse=other, finalbody=last):
                inside = [s for handler in handlers for s in handler.body]
                yield from bound([*body, *inside, *other, *last])


def exported(tree: ast.Module) -> list[str] | None:
    """Return what ``__all__`` holds; None if there is none."""
    for node in tree.body:
        match node:
            case ast.Assign(targets=[ast.Name(id="__all__")], value=value):
                return [str(name) for name in ast.literal_eval(value)]
    return None


def complaints(source: str) -> list[str]:
    """Return what is wrong with the ``__all__`` of a source; nothing without one."""
    tree = ast.parse(source)
    names = exported(tree)
    if names is None:
        return []
    there = {*bound(tree.body)} - {"__all__"}
    public = {name for name in there if not name.startswith("_")}
    found = [] if names == sorted(set(names)) else ["not sorted, or a name twice"]
    found += [f"{name} is not there" for name in names if name not in there]
    found += [f"{name} is left out" for name in sorted(public - {*names})]
    return found


@pytest.mark.parametrize(
    "path", sources(), ids=[str(path.relative_to(PACKAGE)) for path in sources()]
)
def test_what_a_module_exports_is_sorted_and_complete(path: Path) -> None:
    assert complaints(path.read_text(encoding="utf-8")) == []


def test_the_package_itself_says_what_it_exports() -> None:
    assert "__version__" in tonebench.__all__
    for name in tonebench.__all__:
        assert hasattr(tonebench, name)


@pytest.mark.parametrize(
    ("source", "told"),
    [
        ("__all__ = ['b', 'a']\na = b = 1", "not sorted, or a name twice"),
        ("__all__ = ['a', 'a']\na = 1", "not sorted, or a name twice"),
        ("__all__ = ['a', 'b']\na = 1", "b is not there"),
        ("__all__ = ['a']\na = 1\ndef b(): ...", "b is left out"),
        ("__all__ = []\nclass A: ...", "A is left out"),
        ("__all__ = []\nif x:\n    a: int = 1", "a is left out"),
        ("__all__ = []\ntry:\n    a, b = 1, 2\nfinally:\n    b = 3", "a is left out"),
        ("__all__ = []\nfrom tonebench.units import to_db", "to_db is left out"),
    ],
)
def test_a_wrong_list_would_be_seen(source: str, told: str) -> None:
    assert told in complaints(source)


@pytest.mark.parametrize(
    "source",
    [
        "a = 1",
        "__all__ = ['A', 'b']\nclass A: ...\nb = 1\n_c = 2",
        "__all__ = ['__version__']\nfrom importlib import x\n__version__ = x()",
        "__all__ = ['c']\nfrom tonebench.units import b as c\nimport numpy as np",
    ],
)
def test_a_right_list_passes(source: str) -> None:
    assert complaints(source) == []
