# SPDX-License-Identifier: GPL-3.0-or-later
"""Doubts about part values: readable, but hardly what a builder meant.

On many drawings "4.7" means 4.7 kΩ and ".047" 0.047 µF, and a capacitor has "333"
printed on it; values are taken at their word, so the doubt is said aloud. Knows no
file, so that it serves values from anywhere. The limits are common practice for
battery circuits, no source.
"""

import re
from dataclasses import dataclass

from tonebench.units import format_code, format_value, printed_capacitance


@dataclass(frozen=True, slots=True)
class _Limits:
    """What is usual: of any value, and of one that is a bare number.

    `guesses` are (from, up to, scale): what a bare number in that range may have meant.
    """

    unit: str
    least: float
    most: float
    bare_least: float
    bare_most: float
    guesses: tuple[tuple[float, float, float], ...]
    mixed_up: str


_MILLI = "m is milli, M is mega"
_LIMITS = {
    "resistor": _Limits("Ω", 0.1, 100e6, 10, 100e6, ((0, 1e3, 1e3),), "m"),
    "pot": _Limits("Ω", 100, 10e6, 1e3, 10e6, ((0, 1e3, 1e3),), "m"),
    "capacitor": _Limits(
        "F", 1e-12, 10e-3, 1e-12, 10e-6, ((1e-5, 100, 1e-6), (1, 1e6, 1e-12)), "M"
    ),
    "capacitance": _Limits(
        "F", 1e-12, 1e-6, 1e-12, 1e-6, ((1e-3, 1, 1e-9), (1, 1e6, 1e-12)), "M"
    ),
    "inductor": _Limits("H", 1e-6, 100, 1e-6, 100, ((100, 1e4, 1e-3),), "M"),
}


def doubt(kind: str, written: str | float, value: float) -> tuple[str, str] | None:
    """Return what is doubtful about a value, and what may have been meant.

    Parameters
    ----------
    kind : str
        "resistor", "pot", "capacitor" or "inductor" for a part, and "capacitance" for
        what nobody prints a code on: a lead, or a pickup's winding.
    written : str or float
        The value as somebody wrote it.
    value : float
        The same in ohms, farads or henries.

    Returns
    -------
    tuple of (str, str), or None
        What the value is as it was read, and the likely text. None if the value is
        usual, 0 (a wire link) or what is refused elsewhere: below 0, or not a number.

    Examples
    --------
    >>> doubt("capacitor", ".047", 0.047)
    ('.047 is 0.047 F', 'meant 47n?')
    >>> doubt("capacitor", "333", 333.0)
    ('333 is 333 F', 'meant 33n, as the code 333 on a part says?')
    >>> doubt("capacitance", "700", 700.0)
    ('700 is 700 F', 'meant 700p?')
    >>> doubt("resistor", 4.7, 4.7)
    ('4.7 is 4.7 Ω', 'meant 4k7? otherwise write 4R7')
    >>> doubt("resistor", "4k7", 4700.0)
    """
    limits, text = _LIMITS[kind], str(written).strip()
    is_bare = re.fullmatch(r"[+\d.eE-]+", text) is not None
    least, most = limits.least, limits.most
    if is_bare:
        least, most = limits.bare_least, limits.bare_most
    if not value > 0 or least <= value <= most:
        return None  # a wire link, or usual; what is below 0 is refused elsewhere
    meant = [
        _code(value * scale, limits.unit)
        for start, end, scale in limits.guesses
        if is_bare and start <= value < end
    ]
    hint = f"meant {' or '.join(meant)}?" if meant else "is the prefix right?"
    if not is_bare and limits.mixed_up in text:
        hint = _MILLI
    if kind == "capacitor":
        hint = _as_printed(text) or hint
    if limits.least <= value <= limits.most:
        hint = f"{hint} otherwise write {_code(value, limits.unit)}"
    amount = f"{value:g} {limits.unit}" if is_bare else format_value(value, limits.unit)
    return f"{text} is {amount}", hint


def _as_printed(text: str) -> str:
    """Return what a three-digit code means that is printed on a capacitor, if it is."""
    farad = printed_capacitance(text)
    if farad is None:
        return ""
    code = format_code(farad)
    if text.endswith("0"):  # drawings have such numbers too, as picofarads
        return f"meant {text}p? as a code on a part, {text} is {code}"
    return f"meant {code}, as the code {text} on a part says?"


def _code(value: float, unit: str) -> str:
    if unit != "Ω" and 1e-3 <= value < 1:  # the code has no milli
        return format_value(value).replace(" ", "")
    return format_code(value)
