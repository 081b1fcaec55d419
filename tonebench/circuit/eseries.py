# SPDX-License-Identifier: GPL-3.0-or-later
"""The values that parts are sold in: the E series of preferred numbers (IEC 60063).

Knows the numbers alone: not which parts a circuit has, nor what another value would do
to its sound.
"""

import math
from itertools import pairwise
from typing import Final, Literal, get_args

from tonebench.errors import RequestError

Series = Literal["E3", "E6", "E12", "E24", "E48", "E96", "E192"]

#: All series, the coarsest first.
SERIES: Final[tuple[Series, ...]] = get_args(Series)

# E24 was rounded by hand, before there was a formula; the finer ones follow
# 100·10^(i/192), but for one.
_E24 = (
    *(10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30),
    *(33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91),
)
_E192 = tuple(
    920 if i == 185 else round(100 * 10 ** (i / 192))  # the formula has 919
    for i in range(192)
)


def mantissas(series: Series) -> tuple[int, ...]:
    """Return the numbers of one decade: of two digits up to E24, of three beyond.

    Examples
    --------
    >>> mantissas("E6")
    (10, 15, 22, 33, 47, 68)
    """
    if series not in SERIES:
        raise RequestError(f"series must be one of {', '.join(SERIES)}, got '{series}'")
    count = int(series[1:])
    return _E24[:: 24 // count] if count <= 24 else _E192[:: 192 // count]


def neighbours(value: float, series: Series = "E24") -> tuple[float, float]:
    """Return the preferred values around a value: the last one up to it, and the next.

    Both are exactly the numbers that their decimal texts read as.

    Raises
    ------
    RequestError
        If there is no such series, or the value isn't above 0 and finite.

    Examples
    --------
    >>> neighbours(5000, "E12")
    (4700.0, 5600.0)
    """
    if not (value > 0 and math.isfinite(value)):
        raise RequestError(f"a preferred value is above 0, got {value:g}")
    numbers = mantissas(series)
    digits = len(str(numbers[0]))
    decade = math.floor(math.log10(value)) - digits + 1
    ladder = [
        float(f"{number}e{exponent}")
        for exponent in (decade - 1, decade, decade + 1)
        for number in numbers
    ]
    nearly = value * (1 + 1e-12)  # 10n/2.2n has dust at its end
    return next((a, b) for a, b in pairwise(ladder) if a <= nearly < b)


def nearest(value: float, series: Series = "E24") -> float:
    """Return the preferred value nearest to a value, by ratio.

    Examples
    --------
    >>> nearest(5000), nearest(5000, "E12"), nearest(9.7e-8, "E6")
    (5100.0, 4700.0, 1e-07)
    """
    below, above = neighbours(value, series)
    return below if value / below <= above / value else above


def is_preferred(value: float, series: Series = "E24") -> bool:
    """Return whether parts of exactly this value are in the series.

    Examples
    --------
    >>> is_preferred(4700), is_preferred(5000)
    (True, False)
    """
    return math.isclose(value, nearest(value, series), rel_tol=1e-9)


def coarsest_series(value: float) -> Series | None:
    """Return the coarsest series that has a value; None if not even E192 has it.

    Examples
    --------
    >>> coarsest_series(4700), coarsest_series(5100), coarsest_series(5000)
    ('E3', 'E24', None)
    """
    return next((name for name in SERIES if is_preferred(value, name)), None)
