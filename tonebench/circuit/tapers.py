# SPDX-License-Identifier: GPL-3.0-or-later
"""The law of a pot: which share of its track lies before the wiper at a rotation.

Knows nothing of ohms or of circuits.
"""

import re
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from tonebench.errors import CircuitError

_AUDIO = re.compile(r"(reverse-)?audio(?:-(\d+(?:\.\d+)?))?")
_HINT = (
    "write linear, audio, audio-10, reverse-audio-15, blend, reverse-blend, "
    "or a table of [position, share]"
)
TAPER_WORDS = ("linear", "audio", "reverse-audio", "blend", "reverse-blend")


@dataclass(frozen=True, slots=True)
class Taper:
    """A pot's law from rotation to share of the track.

    ``audio`` laws follow (bˣ − 1)/(b − 1) with b = (100/N − 1)², which puts N % of the
    track before the wiper at mid-rotation; the others run straight between `points`.
    """

    name: str
    law: Literal["audio", "reverse-audio", "table"] = "table"
    percent: float = 15.0
    points: tuple[tuple[float, float], ...] = ((0.0, 0.0), (10.0, 1.0))

    def share(self, position: float) -> float:
        """Return the share (0 to 1) of the track before the wiper.

        Parameters
        ----------
        position : float
            Knob position, 0 to 10.
        """
        x = position / 10
        if self.law == "audio":
            return _audio_share(x, self.percent)
        if self.law == "reverse-audio":
            return 1 - _audio_share(1 - x, self.percent)
        for (x0, y0), (x1, y1) in pairwise(self.points):
            if position <= x1:
                return y0 + (y1 - y0) * (position - x0) / (x1 - x0)
        return self.points[-1][1]


def _audio_share(x: float, percent: float) -> float:
    b = (100 / percent - 1) ** 2
    return float((b**x - 1) / (b - 1))


def parse_taper(text: object) -> Taper:
    """Read a taper from a circuit file: a word, or a table of [position, share].

    Raises
    ------
    CircuitError
        If it is neither; the message says what can be written.

    Examples
    --------
    >>> parse_taper("audio-10").share(5)
    0.1
    >>> parse_taper([[0, 0], [5, 0.5], [10, 1]]).share(7.5)
    0.75
    """
    if text == "linear":
        return Taper("linear")
    if text == "blend":
        return Taper("blend", points=((0.0, 0.0), (5.0, 1.0), (10.0, 1.0)))
    if text == "reverse-blend":
        return Taper("reverse-blend", points=((0.0, 0.0), (5.0, 0.0), (10.0, 1.0)))
    if isinstance(text, str):
        match = _AUDIO.fullmatch(text)
        percent = float(match[2] or 15) if match else 0.0
        if match and 1 <= percent <= 49:
            law: Literal["audio", "reverse-audio"] = (
                "reverse-audio" if match[1] else "audio"
            )
            return Taper(text, law, percent)
        if match:
            raise CircuitError(
                f"taper '{text}': the share at mid-rotation must be from 1 to 49 %"
            )
    elif isinstance(text, list):
        return Taper("table", points=_table(text))
    raise CircuitError(f"taper '{text}' is not known; {_HINT}")


def _table(rows: list[object]) -> tuple[tuple[float, float], ...]:
    points = []
    for row in rows:
        match row:
            case [(int() | float()) as position, (int() | float()) as share]:
                points.append((float(position), float(share)))
            case _:
                raise CircuitError(
                    f"taper table: {row!r} is not a pair [position, share]"
                )
    if len(points) < 2 or points[0][0] != 0 or points[-1][0] != 10:
        raise CircuitError("taper table: the first position must be 0, the last one 10")
    if not all(a[0] < b[0] for a, b in pairwise(points)):  # also catches NaN
        raise CircuitError("taper table: positions must rise from row to row")
    shares = [share for _, share in points]
    if not all(0 <= share <= 1 for share in shares):
        raise CircuitError("taper table: shares must be from 0 to 1")
    if shares not in (sorted(shares), sorted(shares, reverse=True)):
        raise CircuitError("taper table: shares must only rise or only fall")
    return tuple(points)
