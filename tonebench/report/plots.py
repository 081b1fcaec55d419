# SPDX-License-Identifier: GPL-3.0-or-later
"""Pictures of curves, as SVG, PNG or PDF: the same bytes for the same curves.

A sentence first, the curves under it, each named at its end. matplotlib is imported
here, and only when something is drawn.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tonebench.audio.outputs import check_new_file, write_whole
from tonebench.circuit.hookup import Chain
from tonebench.compare.verdict import MatchedCurves
from tonebench.report.canvas import PAPER, Line, Look, check_ending, curve_picture
from tonebench.report.themes import DARK, LIGHT, Theme
from tonebench.study.curves import Curve, setting_words

#: For families: ordered, told apart by the names at their ends.
_FAMILY_COLOURS = {
    LIGHT: ("#0072B2", "#D55E00", "#009E73", "#8a5a83", "#6b5900", "#3b3a36"),
    DARK: ("#56B4E9", "#E69F00", "#2fbf8f", "#c79bc0", "#d6c35a", "#e9e5dc"),
}
_FAMILY_DASHES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (8, 2, 2, 2)))
_FINE_DOTS = (0, (1, 2))  # the filter, over the circuit's own curve


def draw_curves(
    chain: Chain,
    curves: Sequence[Curve],
    path: Path,
    names: Sequence[str] = (),
    *,
    look: Look = PAPER,
    force: bool = False,
) -> None:
    """Draw a family of curves of one chain to a file.

    Parameters
    ----------
    chain : Chain
        The circuit with its hook-up, for the headline.
    curves : sequence of Curve
        What to draw.
    path : Path
        Where to; the name's ending chooses SVG, PNG or PDF.
    names : sequence of str
        The controls that tell the curves apart.
    look : Look
        Light or dark paper, or none.
    """
    check_ending(path)
    check_new_file(path, force)
    has_inputs = len({curve.input for curve in curves}) > 1
    lines: list[Line] = []
    ink, colours = look.theme.ink, _FAMILY_COLOURS[look.theme]
    for k, curve in enumerate(curves):
        words = setting_words(curve.setting, names) if len(curves) > 1 else ""
        name = f"from {curve.input}: {words}" if has_inputs else words
        name = name.removesuffix(": ")
        dash = _FAMILY_DASHES[k // len(colours) % len(_FAMILY_DASHES)]
        colour = colours[k % len(colours)]
        lines.append((curve.frequency_hz, curve.gain_db, name, colour, dash))
        if curve.digital_gain_db is not None:
            filtered = (curve.frequency_hz, curve.digital_gain_db, "", ink, _FINE_DOTS)
            lines.append(filtered)
    told = chain.circuit.full_title, [chain.line]
    drawn = curve_picture(lines, *told, "gain, dB", path.suffix, look)
    write_whole(path, drawn, force)


@dataclass(frozen=True, slots=True, eq=False)
class PairPicture:
    """What a picture of A, B and B − A shows.

    `names` stand at the ends of A and B, the sentence `headline` over the curves and
    the lines `below` under it; `label` is what the level axis shows, `strings` are the
    open strings: name and frequency in Hz.
    """

    curves: MatchedCurves
    names: tuple[str, str]
    headline: str
    below: tuple[str, ...]
    label: str
    strings: tuple[tuple[str, float], ...] = ()


def draw_pair(
    picture: PairPicture,
    ending: str,
    theme: Theme = LIGHT,
    is_transparent: bool = False,
) -> bytes:
    """Return a picture of A, B and B − A in a format: ".svg", ".png" or ".pdf"."""
    curves = picture.curves
    hz = curves.frequency_hz
    lines: list[Line] = [
        (hz, curves.difference_db, "B − A", theme.difference, (0, (1, 1.5))),
        (hz, curves.a_db, picture.names[0], theme.a, "-"),
        (hz, curves.b_db, picture.names[1], theme.b, (0, (5, 2))),
    ]
    words = picture.headline, picture.below
    look = Look(theme, is_transparent)
    return curve_picture(lines, *words, picture.label, ending, look, picture.strings)
