# SPDX-License-Identifier: GPL-3.0-or-later
"""Parts and their tolerances in words and tables, as a builder asks for them.

Computes nothing.
"""

from collections.abc import Sequence

from tonebench.study.curves import setting_words
from tonebench.study.feature_spread import FeatureSpread
from tonebench.study.parts_list import PartLine
from tonebench.study.spread import PartEffect, Spread
from tonebench.units import format_db, format_frequency, format_value

#: Shapes that differ by less are one; by less than the other, nobody minds.
_UNSEEN_DB, _NEAR_DB = 0.005, 0.2


def parts_remarks(parts: Sequence[PartLine]) -> list[str]:
    """Return what there is to say of values that aren't sold, and of tolerances."""
    lines = [_odd_sentence(line) for line in parts if line.nearest is not None]
    lines = lines or ["Every value is one that is sold."]
    op_amps = sum(line.kind == "op-amp" for line in parts)
    if op_amps > 1:
        lines.append(f"{op_amps} op-amps: {_packages(op_amps)}.")
    if any(line.is_usual_tolerance for line in parts):
        lines.append("* The file names no tolerance for it; what is usual counts.")
    return lines


def _packages(op_amps: int) -> str:
    """Return in how few packages op-amps come: two in a dual, four in a quad."""
    duals, single = divmod(op_amps, 2)
    told = f"{duals} dual{'s' if duals > 1 else ''}{' and a single' if single else ''}"
    quads, rest = divmod(op_amps, 4)
    if not quads or rest == 1:
        return told
    more = {0: "", 2: " and a dual", 3: " and two duals"}[rest]
    return f"{told}, or {quads} quad{'s' if quads > 1 else ''}{more}"


def parts_table(parts: Sequence[PartLine]) -> list[str]:
    """Return the parts list as aligned lines."""
    rows = [parts_row(line) for line in parts]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        "  ".join(
            f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)
        ).rstrip()
        for row in rows
    ]


def parts_row(line: PartLine) -> tuple[str, ...]:
    """Return one part's cells: designator, value, kind, tolerance, series, note."""
    cells = line.ref, line.code, line.kind, tolerance_words(line)
    return (*cells, line.series, line.note)


def tolerance_words(line: PartLine) -> str:
    """Return a part's tolerance ("5 %", with a star where it is only usual)."""
    if line.tolerance is None:
        return ""
    return percent(line.tolerance) + (" *" if line.is_usual_tolerance else "")


def percent(share: float) -> str:
    """Return a share in percent ("0.5 %")."""
    return f"{100 * share:.3g} %"


def _odd_sentence(line: PartLine) -> str:
    assert line.nearest is not None
    near = format_value(line.nearest, line.unit)
    value = format_value(line.value or 0.0, line.unit)
    start = f"{line.ref}: {value} isn't sold; the nearest is {near}"
    if line.change_db is None or line.change_hz is None:
        return f"{start}."
    if abs(line.change_db) < 0.05:
        return f"{start}, which changes nothing to be heard."
    where = format_frequency(line.change_hz)
    return f"{start}, which makes {format_db(line.change_db)} at {where} at most."


def spread_lines(found: Spread) -> list[str]:
    """Return how far builds lie apart, and which parts to buy tighter."""
    most_db, at_hz = found.most_db
    where = setting_words(found.setting)
    start = f"{found.builds:,} builds" + (f" with {where}" if where else "")
    if most_db < _UNSEEN_DB:
        lines = [f"{start}: all have the shape of the drawn curve."]
    else:
        lines = [
            f"{start}: nine of ten have the shape of the drawn curve within "
            f"{_db(most_db)} (most at {format_frequency(at_hz)}), "
            f"the very worst within {_db(found.worst_db)}."
        ]
    lines.append(_level_sentence(found))
    if found.worth_tighter:
        lines.append(_tighter_sentence(found))
    elif most_db < _NEAR_DB:
        lines.append("No part needs to be bought tighter.")
    else:
        lines.append("No three parts bought tighter would bring them much nearer.")
    lines += [_feature_sentence(feature) for feature in found.features]
    if found.unstable:
        lines.append(f"{percent(found.unstable)} of the builds oscillate or latch.")
    return lines


def _db(size: float) -> str:
    return f"{size:.2f} dB" if size < 1 else f"{size:.1f} dB"


def _level_sentence(found: Spread) -> str:
    low, high = found.level_db
    if max(abs(low), abs(high)) < 0.05:
        return "Their level is the drawing's."
    text = f"Their level lies {format_db(low)} to {format_db(high)} from the drawing's"
    most = max(found.parts, key=lambda effect: effect.level_db)
    if most.level_db < 0.5 * max(abs(low), abs(high)):
        return f"{text}."
    is_volume = most.part.kind == "pot" and most.shape_db < 0.2 * most.level_db
    cure = "; a turn of its knob evens that out" if is_volume else ""
    return f"{text}, mostly by {most.part.name}{cure}."


def _tighter_sentence(found: Spread) -> str:
    alike: dict[str, list[str]] = {}
    for effect in found.worth_tighter:
        alike.setdefault(_part_words(effect), []).append(effect.part.name)
    told = [f"{_and(names)} {words}" for words, names in alike.items()]
    after = (
        f"then nine of ten are within {_db(found.tighter_db)} instead of "
        f"{_db(found.most_db[0])}"
    )
    return f"Worth buying tighter: {_and(told)}; {after}."


def _part_words(effect: PartEffect) -> str:
    part = effect.part
    where = format_frequency(effect.at_hz)
    grade = percent(part.tighter or part.share)
    return f"at {grade} (alone {_db(effect.shape_db)} at {where})"


def _feature_sentence(found: FeatureSpread) -> str:
    drawn = found.drawn
    low, high = found.frequency_hz
    name = drawn.kind[0].upper() + drawn.kind[1:]
    start = f"{name} at {format_frequency(drawn.frequency_hz)}"
    told = _range(format_frequency(low), format_frequency(high))
    text = f"{start}: {told} in nine builds of ten"
    if drawn.kind in ("peak", "dip", "shelf"):
        levels = [format_db(level) for level in found.level_db]
        text += f", {_range(*levels)}"
    if found.there < 0.995:
        text += f"; only {percent(round(found.there, 2))} of the builds have it"
    return f"{text}."


def _range(low: str, high: str) -> str:
    return low if low == high else f"{low} to {high}"


def _and(words: Sequence[str]) -> str:
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"
