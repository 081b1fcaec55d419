# SPDX-License-Identifier: GPL-3.0-or-later
"""Which engine filters and measures: the compiled kernel, or numpy and scipy.

The environment variable TONEBENCH_KERNEL chooses: ``auto`` (or nothing), ``baseline``
(the kernel without AVX2, the same bytes) or ``off`` (scipy).
"""

import os
from enum import StrEnum
from functools import cache
from typing import Any

from tonebench.errors import RequestError

VARIABLE = "TONEBENCH_KERNEL"


class Engine(StrEnum):
    """What does the work, in words for people."""

    WIDE = "kernel with AVX2"
    BASELINE = "kernel"
    SCIPY = "scipy"


@cache
def compiled() -> Any | None:
    """Return the compiled module, or None where the install has none."""
    try:
        from tonebench.digital.kernel import _kernel
    except ImportError:  # no compiler when it was installed, or no cffi
        return None
    return _kernel


def chosen() -> Engine:
    """Return the engine that new runners and meters will use.

    Raises
    ------
    RequestError
        If the environment variable holds something else.
    """
    asked = os.environ.get(VARIABLE) or "auto"
    if asked not in ("auto", "baseline", "off"):
        raise RequestError(
            f"{VARIABLE} must be auto, baseline or off, got '{asked}'; unset it"
        )
    module = compiled()
    if asked == "off" or module is None:
        return Engine.SCIPY
    if asked == "auto" and module.lib.tb_has_wide_path():
        return Engine.WIDE
    return Engine.BASELINE
