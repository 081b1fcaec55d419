# SPDX-License-Identifier: GPL-3.0-or-later
"""Which engine filters and measures: the compiled kernel, or numpy and scipy.

The environment variable TONEBENCH_KERNEL chooses: ``auto`` (or nothing), ``baseline``
(the kernel without AVX2, the same bytes) or ``off`` (scipy).
"""

import os
from enum import StrEnum
from functools import cache
from importlib import import_module
from importlib.util import find_spec
from typing import Any

from tonebench.errors import RequestError

VARIABLE = "TONEBENCH_KERNEL"
_MODULE = "tonebench.digital.kernel._kernel"


class Engine(StrEnum):
    """What does the work, in words for people."""

    WIDE = "kernel with AVX2"
    BASELINE = "kernel"
    SCIPY = "scipy"


@cache
def compiled() -> Any | None:
    """Return the compiled module, or None where it isn't there or can't be loaded."""
    return None if fault() else import_module(_MODULE)


def fault() -> str:
    """Return why the compiled module can't be used; "" if it can.

    Costs an import only the first time.
    """
    if find_spec(_MODULE) is None:
        return "it was not compiled when tonebench was installed"
    try:
        import_module(_MODULE)
    except ImportError as error:  # cffi is gone, or another Python compiled it
        return str(error)
    return ""


def asked() -> str:
    """Return what the environment asks for: "auto", "baseline" or "off".

    Raises
    ------
    RequestError
        If it holds something else.
    """
    word = os.environ.get(VARIABLE) or "auto"
    if word not in ("auto", "baseline", "off"):
        raise RequestError(
            f"{VARIABLE} must be auto, baseline or off, got '{word}'; unset it"
        )
    return word


def chosen() -> Engine:
    """Return the engine that new runners and meters will use.

    Raises
    ------
    RequestError
        As `asked` does.
    """
    word, module = asked(), compiled()
    if word == "off" or module is None:
        return Engine.SCIPY
    if word == "auto" and module.lib.tb_has_wide_path():
        return Engine.WIDE
    return Engine.BASELINE
