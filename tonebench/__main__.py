# SPDX-License-Identifier: GPL-3.0-or-later
"""``python -m tonebench`` is the same as the ``tonebench`` command."""

from tonebench.cli import main

if __name__ == "__main__":
    main()
