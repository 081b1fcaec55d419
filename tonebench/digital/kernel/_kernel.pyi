# SPDX-License-Identifier: GPL-3.0-or-later
"""The module that cffi makes of `kernel.h`; `binding.py` alone may use it."""

from typing import Any

ffi: Any
lib: Any
