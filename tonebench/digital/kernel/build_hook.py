# SPDX-License-Identifier: GPL-3.0-or-later
"""Compiles the kernel while tonebench is being installed, where there is a compiler.

Read by hatchling alone, never imported by the package. Where nothing can be compiled,
or TONEBENCH_NO_KERNEL is set, the install goes on in pure Python and says so.
"""

import os
import shutil
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.config import BuilderConfig
from hatchling.builders.hooks.plugin.interface import BuildHookInterface

_PLACE = "tonebench/digital/kernel"
_MODULE = "tonebench.digital.kernel._kernel"
_SOURCES = ("bank.c", "meter.c")
#: No contraction of a product and a sum, no -march: the same bits on every machine. No
#: debugging either, which would put this machine's folders into the module.
_OPTIONS = ["-std=gnu99", "-O3", "-ffp-contract=off", "-g0"]


class KernelHook(BuildHookInterface[BuilderConfig]):
    """Adds the compiled kernel to a wheel, or puts it into the checkout (editable)."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Compile; hatchling calls this before each build."""
        folder = Path(self.root, _PLACE)
        is_editable = version == "editable"
        if is_editable:
            for old in folder.glob("_kernel.*"):
                if old.suffix in (".so", ".pyd"):
                    old.unlink()
        if os.environ.get("TONEBENCH_NO_KERNEL"):
            self.app.display_warning("no kernel, as TONEBENCH_NO_KERNEL asks: scipy")
            return
        self._scratch = tempfile.TemporaryDirectory()
        try:
            built = compiled(folder, Path(self._scratch.name))
        except Exception as error:  # whatever is missing, tonebench runs without it
            reason = " ".join(str(error).split()) or type(error).__name__
            self.app.display_warning(f"no kernel, scipy does its work: {reason}")
            return
        if is_editable:
            shutil.copyfile(built, folder / built.name)
        else:
            build_data["force_include"][str(built)] = f"{_PLACE}/{built.name}"
            build_data["pure_python"] = False
            build_data["infer_tag"] = True

    def finalize(self, *args: object) -> None:
        """Clear up; hatchling calls this after each build."""
        if hasattr(self, "_scratch"):
            self._scratch.cleanup()


def compiled(folder: Path, scratch: Path) -> Path:
    """Compile the kernel's sources into `scratch`; return the extension module."""
    from cffi import FFI

    header = (folder / "kernel.h").read_text(encoding="utf-8")
    plain = [line for line in header.splitlines() if not line.startswith("#")]
    ffi = FFI()
    ffi.cdef("\n".join(plain))
    ffi.set_source(
        _MODULE,
        '#include "kernel.h"',
        sources=[str(folder / name) for name in _SOURCES],
        include_dirs=[str(folder)],
        extra_compile_args=_OPTIONS,
    )
    return Path(ffi.compile(tmpdir=str(scratch)))
