# SPDX-License-Identifier: GPL-3.0-or-later
"""tonebench: what one preamp circuit does to an instrument that another does not.

The package is a house of layers, each importing earlier ones only:
``errors``, ``units``, ``circuit``, ``network``, ``digital``, ``audio``, ``plan``,
``render``, ``study``, ``compare``, ``report``, ``cli``.
"""

from importlib.metadata import PackageNotFoundError, version

try:
    __version__ = version("tonebench")
except PackageNotFoundError:  # a bare checkout on the path
    __version__ = "0+unknown"

__all__ = ["__version__"]
