# SPDX-License-Identifier: GPL-3.0-or-later
"""How many threads the linear algebra takes: one, since our matrices are small."""

import os
import sys

_LIBRARIES = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS")


def use_one_thread() -> None:
    """Ask for one thread, unless the user asked for some; before numpy is imported.

    Matrices of some thirty rows are solved faster by one thread than by several that
    wait for each other.
    """
    if "numpy" not in sys.modules and not any(
        name in os.environ for name in _LIBRARIES
    ):
        os.environ.update(dict.fromkeys(_LIBRARIES, "1"))
