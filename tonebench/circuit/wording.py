# SPDX-License-Identifier: GPL-3.0-or-later
"""Wording that every message about a file shares: what was meant, and what was read.

Knows nothing of files.
"""

from collections.abc import Iterable
from difflib import get_close_matches

_LONGEST_SHOWN = 40


def did_you_mean(name: str, names: Iterable[str]) -> str:
    """Return "did you mean 'x'?" for the nearest of some names, or nothing.

    Examples
    --------
    >>> did_you_mean("tap2", ["tap_2", "out"])
    "did you mean 'tap_2'?"
    >>> did_you_mean("treble", ["bass"])
    ''
    """
    plain = {known.casefold(): known for known in names}
    near = get_close_matches(name.casefold(), plain, n=1)
    return f"did you mean '{plain[near[0]]}'?" if near else ""


def shown(value: object) -> str:
    """Return a value of a file as a message shows it: short, in the file's own words.

    Examples
    --------
    >>> shown("noon"), shown(True), shown([1, 2])
    ("'noon'", 'true', 'a list of 2')
    """
    match value:
        case bool():
            return str(value).lower()
        case str() if len(value) > _LONGEST_SHOWN:
            return f"'{value[: _LONGEST_SHOWN - 2]} …'"
        case str():
            return f"'{value}'"
        case list():
            return f"a list of {len(value)}"
        case dict():
            return "a table"
    return str(value)
