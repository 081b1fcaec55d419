# SPDX-License-Identifier: GPL-3.0-or-later
"""Notes and takes through A and B in words and tables: where the difference lies.

Computes nothing but what a sentence chooses from.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.hookup import Chain
from tonebench.report.wrapped import wrapped
from tonebench.study.bands import BandLevels
from tonebench.study.harmonics import NoteLevels, cents_sharp
from tonebench.units import format_db, format_frequency

Bools = NDArray[np.bool_]

#: Smaller differences are not told.
_SMALLEST_DB = 0.5
#: Bands this far below the loudest one are hardly heard beside it.
_UNHEARD_DB = 35.0
#: Nominal names of thirds of an octave, 25 Hz to 16 kHz (IEC 61260-1, ISO 266).
_NOMINAL = (
    *("25", "31.5", "40", "50", "63", "80", "100", "125", "160", "200"),
    *("250", "315", "400", "500", "630", "800", "1k", "1.25k", "1.6k", "2k"),
    *("2.5k", "3.15k", "4k", "5k", "6.3k", "8k", "10k", "12.5k", "16k"),
)
_TOLD = 3
#: Two levels nearer than this are told as one.
_SAME_DB = 0.05
#: Harmonics that the table shows: all of the first, then fewer and fewer.
_SHOWN = (*range(1, 13), 14, 16, 20, 24, 28, 32, 40, 48, 56, 64)


def note_sentence(found: NoteLevels) -> str:
    """Return in one sentence what B does to a note that A doesn't, or what A does."""
    pitch = f"{found.note} ({format_frequency(found.fundamental_hz)})"
    numbers = np.arange(1, len(found.frequency_hz) + 1)
    if len(found.levels_db) == 1:
        level = found.levels_db[0]
        strongest = int(level.argmax())
        first = f"{pitch}: the fundamental comes out at {format_db(float(level[0]))}"
        if strongest == 0:
            return f"{first}, and no harmonic stronger."
        return (
            f"{first}, the "
            f"{_ordinal(strongest + 1)} harmonic "
            f"({format_frequency(float(found.frequency_hz[strongest]))}) strongest at "
            f"{format_db(float(level[strongest]))}."
        )
    offset = found.offset_db
    start = (
        f"{pitch}: B is {_louder(offset)} throughout; against that"
        if (abs(offset) >= _SMALLEST_DB)
        else f"{pitch}: in B"
    )
    size = np.abs(found.difference_db)
    told = []
    for low, high in ((1, 1), (2, 8), (9, len(numbers))):
        inside = range(low - 1, min(high, len(numbers)))
        worst = max(inside, key=lambda k: size[k], default=0)
        if inside and size[worst] >= _SMALLEST_DB:
            what = (
                "the fundamental"
                if worst == 0
                else f"the {_ordinal(worst + 1)} harmonic "
                f"({format_frequency(float(found.frequency_hz[worst]))})"
            )
            told.append(f"{what} has {format_db(float(found.difference_db[worst]))}")
    if not told:
        return f"{start} every harmonic is within {_SMALLEST_DB:g} dB."
    return f"{start} {', '.join(told)}."


def _louder(offset_db: float) -> str:
    return f"{abs(offset_db):.1f} dB {'louder' if offset_db > 0 else 'quieter'}"


def _ordinal(number: int) -> str:
    if number % 100 in (11, 12, 13):
        return f"{number}th"
    return f"{number}{ {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th') }"


def note_table(found: NoteLevels) -> list[str]:
    """Return a row per harmonic: number, frequency, level in A and B, B − A."""
    has_b = len(found.levels_db) > 1
    heads = ["harmonic", "Hz", "A dB", *(["B dB", "B − A"] if has_b else [])]
    lines = ["".join(f"{head:>10}" for head in heads)]
    for k, hz in enumerate(found.frequency_hz.tolist()):
        if k + 1 not in _SHOWN:
            continue
        values = [float(level[k]) for level in found.levels_db]
        values += [values[1] - values[0]] if has_b else []
        cells = [f"{k + 1}", f"{hz:.2f}", *map(_signed, values)]
        lines.append("".join(f"{cell:>10}" for cell in cells))
    last = len(found.frequency_hz)
    sharp = cents_sharp(found.stiffness, last)
    lines.append(
        f"stiffness {found.stiffness:g}: the {_ordinal(last)} harmonic is "
        f"{sharp:.0f} cents sharp"
    )
    return lines


def _signed(value: float) -> str:
    return f"{round(value, 2) + 0.0:+.2f}".replace("-", "−")


def take_sentence(found: BandLevels, title: str) -> str:
    """Return in one sentence where on this playing the difference lies."""
    level = np.max(found.levels_db, axis=0)
    heard = level > level.max() - _UNHEARD_DB
    if len(found.levels_db) == 1:
        full = np.flatnonzero(level > level.max() - 10).tolist()
        return (
            f"{title}: most of what comes out lies from {_NOMINAL[full[0]]} to "
            f"{_NOMINAL[full[-1]]} Hz, strongest at {_NOMINAL[int(level.argmax())]} Hz."
        )
    groups = _groups(found, heard)
    if not groups:
        return (
            f"{title}: at one level (RMS) A and B are within {_SMALLEST_DB:g} dB in "
            "every band that this playing fills."
        )
    told = [
        f"{format_db(float(found.difference_db[k]))} at {_hz(k)}"
        for k in sorted(groups[:_TOLD])
    ]
    text = f"{title}: at one level (RMS) B has, against A, {', '.join(told)}"
    silent = np.abs(np.where(heard, 0.0, found.difference_db))
    most = int(silent.argmax())
    if silent[most] > 2 * np.abs(found.difference_db[groups[0]]):
        return (
            f"{text}; the curves part more at {_hz(most)}, but there this playing has "
            "next to nothing."
        )
    return f"{text}."


def _hz(k: int) -> str:
    name = _NOMINAL[k]
    return f"{name[:-1]} kHz" if name.endswith("k") else f"{name} Hz"


def _groups(found: BandLevels, heard: Bools) -> list[int]:
    """Return the bands where to tell a difference, the largest one first.

    One band for each run of bands that stand out together: the one that this playing
    fills most.
    """
    difference = found.difference_db
    level = np.max(found.levels_db, axis=0)
    left = heard & (np.abs(difference) >= _SMALLEST_DB)
    told = []
    while left.any():
        top = int(np.where(left, np.abs(difference), 0.0).argmax())
        run = {top}
        for step in (-1, 1):
            k = top + step
            while (
                0 <= k < len(left) and left[k] and difference[k] * difference[top] > 0
            ):
                run.add(k)
                k += step
        strong = [k for k in run if abs(difference[k]) >= abs(difference[top]) / 2]
        told.append(max(strong, key=lambda k: level[k]))
        left[sorted(run)] = False
    return told


def take_table(found: BandLevels) -> list[str]:
    """Return a row per third of an octave: level in A and B, B − A at one level."""
    has_b = len(found.levels_db) > 1
    heads = ["Hz", "A dBFS", *(["B dBFS", "B − A"] if has_b else [])]
    lines = ["".join(f"{head:>10}" for head in heads)]
    for k, name in enumerate(_NOMINAL):
        cells = [name, *(f"{level[k]:.1f}" for level in found.levels_db)]
        if has_b:
            cells.append(f"{found.difference_db[k]:+.1f}")
        lines.append("".join(f"{cell.replace('-', '−'):>10}" for cell in cells))
    if has_b:
        by = _louder(found.offset_db)
        by = "as loud as A" if abs(found.offset_db) < _SAME_DB else by
        lines.append(f"B − A is at one level; by RMS B is {by}")
    return lines


def heads_of(chains: Sequence[Chain]) -> list[str]:
    """Return a line per side: its letter, its title, its chain."""
    return [
        f"{letter}  {chain.circuit.full_title}: {chain.line}"
        for letter, chain in zip("AB", chains, strict=False)
    ]


def notes_words(
    chains: Sequence[Chain],
    notes: Sequence[NoteLevels],
    take: BandLevels | None,
    title: str,
) -> str:
    """Return what ``notes`` prints: sentences first, the figures under them."""
    lines = heads_of(chains)
    lines.append("")
    for found in notes:
        lines += wrapped(note_sentence(found))
    if take is not None:
        lines += wrapped(take_sentence(take, title))
    for found in notes:
        lines += ["", found.note, *note_table(found)]
    if take is not None:
        lines += ["", title, *take_table(take)]
    return "\n".join(lines)


def notes_json(
    chains: Sequence[Chain],
    notes: Sequence[NoteLevels],
    take: BandLevels | None,
    title: str,
) -> dict[str, Any]:
    """Return the values that ``notes --json`` prints."""
    letters = ("a", "b")[: len(chains)]
    return {
        "schema": 1,
        **{
            letter: {"circuit": chain.circuit.name, "chain": chain.line}
            for letter, chain in zip(letters, chains, strict=True)
        },
        "notes": [
            {
                "note": found.note,
                "fundamental_hz": found.fundamental_hz,
                "stiffness": found.stiffness,
                "frequency_hz": found.frequency_hz.tolist(),
                **_levels(letters, found.levels_db),
                "sentence": note_sentence(found),
            }
            for found in notes
        ],
        "take": None
        if take is None
        else {
            "title": title,
            "centre_hz": take.centre_hz.tolist(),
            **_levels(letters, take.levels_db),
            "offset_db": take.offset_db,
            "sentence": take_sentence(take, title),
        },
    }


def _levels(letters: Sequence[str], levels: Sequence[Any]) -> dict[str, list[float]]:
    return {
        f"{letter}_db": level.tolist()
        for letter, level in zip(letters, levels, strict=True)
    }
