# SPDX-License-Identifier: GPL-3.0-or-later
"""An install succeeds with a compiler and without, and the wheel says which it was.

The hook is given a compiler that works or fails; the real one is tried by `.ci/run`.
"""

import importlib.util
from pathlib import Path

import pytest

import tonebench

PLACE = Path("tonebench", "digital", "kernel")
HOOK = Path(tonebench.__file__).parent.parent / PLACE / "build_hook.py"


class Heard:
    """Stands for hatchling's terminal."""

    def __init__(self) -> None:
        self.warnings: list[str] = []

    def display_warning(self, message: str) -> None:
        self.warnings.append(message)


class Build:
    """One build of a checkout, whose compiler is a function."""

    def __init__(self, root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        spec = importlib.util.spec_from_file_location("build_hook", HOOK)
        assert spec
        assert spec.loader
        self.module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(self.module)
        monkeypatch.delenv("TONEBENCH_NO_KERNEL", raising=False)
        self.folder = root / PLACE
        self.folder.mkdir(parents=True)
        self.heard = Heard()
        self.root = root

    def run(self, compiler, version: str = "standard") -> dict[str, object]:
        self.module.compiled = compiler
        hook = self.module.KernelHook(
            str(self.root), {}, None, None, str(self.root), "wheel", self.heard
        )
        data: dict[str, object] = {"force_include": {}}
        hook.initialize(version, data)
        for made in data["force_include"]:  # type: ignore[attr-defined]
            assert Path(made).read_bytes() == b"machine code"
        hook.finalize(version, data, "")
        for made in data["force_include"]:  # type: ignore[attr-defined]
            assert not Path(made).exists()
        return data


@pytest.fixture
def build(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Build:
    return Build(tmp_path, monkeypatch)


def works(folder: Path, scratch: Path) -> Path:
    made = scratch / "_kernel.cpython-311.so"
    made.write_bytes(b"machine code")
    return made


def fails(folder: Path, scratch: Path) -> Path:
    raise OSError("command 'gcc' failed:\nNo such file")


def test_a_wheel_with_the_kernel_has_the_tag_of_its_platform(build):
    data = build.run(works)
    assert data["pure_python"] is False
    assert data["infer_tag"] is True
    (place,) = data["force_include"].values()
    assert Path(place) == PLACE / "_kernel.cpython-311.so"
    assert list(build.folder.iterdir()) == []
    assert build.heard.warnings == []


def test_an_editable_install_puts_the_kernel_into_the_checkout(build):
    data = build.run(works, "editable")
    assert data == {"force_include": {}}
    (made,) = build.folder.iterdir()
    assert made.read_bytes() == b"machine code"


def test_without_a_compiler_the_wheel_is_pure_and_one_line_says_so(build):
    assert build.run(fails) == {"force_include": {}}
    assert build.heard.warnings == [
        "no kernel, scipy does its work: command 'gcc' failed: No such file"
    ]


@pytest.mark.parametrize("version", ["standard", "editable"])
def test_the_environment_can_ask_for_no_kernel(build, monkeypatch, version):
    monkeypatch.setenv("TONEBENCH_NO_KERNEL", "1")
    assert build.run(works, version) == {"force_include": {}}
    assert build.heard.warnings == ["no kernel, as TONEBENCH_NO_KERNEL asks: scipy"]


def test_an_editable_install_without_a_compiler_leaves_no_old_kernel(build):
    for name in ("_kernel.cpython-310.so", "_kernel.pyd", "_kernel.pyi", "bank.c"):
        (build.folder / name).write_bytes(b"")
    build.run(fails, "editable")
    assert {p.name for p in build.folder.iterdir()} == {"_kernel.pyi", "bank.c"}
