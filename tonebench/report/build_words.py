# SPDX-License-Identifier: GPL-3.0-or-later
"""The check sheet of a build in words: a sentence first, the figures behind it.

Says what a builder asks before the iron is hot. Computes nothing.
"""

import math

from tonebench.report.parts_words import parts_remarks, parts_table, spread_lines
from tonebench.report.power_words import battery_lines, headroom_lines, turned_words
from tonebench.report.wrapped import all_wrapped
from tonebench.study.build import Build
from tonebench.study.hiss import Hiss, Share
from tonebench.units import format_db, format_level, format_value

CAUTIONS = (
    "Soldering: the iron is at some 350 °C and the fumes irritate; use a stand, air "
    "and eye protection, take the battery out first, wash your hands after leaded "
    "solder.",
    "Battery: mind its polarity, never charge a primary cell, don't mix old and new, "
    "take it out when the unit is put away; dispose of it as local rules say.",
    "Mains: never. This is for a battery or an approved, isolated low-voltage supply; "
    "never open mains-powered equipment unless you are qualified, and follow your "
    "local codes.",
    "Before you plug it into anything, check the build with a meter: the supply, half "
    "of it where the drawing says bias, the current, no direct voltage at the output.",
)
#: Of a circuit without a supply.
PASSIVE_CAUTIONS = (
    CAUTIONS[0],
    "Before you plug it into anything, check the build with a meter: from input to "
    "output, from output to ground, each knob at both ends.",
)


def cautions(found: Build) -> tuple[str, ...]:
    """Return the cautions that go with a circuit: without a supply there are fewer."""
    has_supply = found.chain.circuit.supply is not None
    has_op_amp = any(line.kind == "op-amp" for line in found.parts)
    return CAUTIONS if has_supply or has_op_amp else PASSIVE_CAUTIONS


def build_sections(found: Build) -> list[tuple[str, list[str]]]:
    """Return the check sheet as heads with their lines."""
    sections = [
        ("Parts", parts_remarks(found.parts) + parts_table(found.parts)),
        ("Tolerance", spread_lines(found.spread)),
        ("Noise", hiss_lines(found)),
        ("Headroom", headroom_lines(found)),
    ]
    if found.life is not None or found.reading is not None:
        sections.append(("Battery", battery_lines(found)))
    sections.append(("Cautions", list(cautions(found))))
    return sections


def hiss_lines(found: Build) -> list[str]:
    """Return how much it hisses, why, and how far below the take that is."""
    lines = [f"{_level_of(found.hiss)}, {_why(found, found.hiss)}."]
    if found.treble is not None:
        more = found.treble.weighted_dbu - found.hiss.weighted_dbu
        turned = turned_words(found.treble.setting, found.setting)
        lines.append(
            f"With {turned}, the most treble of any knob: {_level_of(found.treble)}, "
            f"{format_db(more)} against that, {_why(found, found.treble)}."
        )
    if found.played is not None and found.take is not None:
        over_db = found.played.over_hiss_db
        over = f", {over_db:.0f} dB over that hiss" if math.isfinite(over_db) else ""
        lines.append(
            f"{found.take.title or found.take.name} comes out at "
            f"{format_value(found.played.output_rms_v, 'V', 3)} rms{over}."
        )
    return lines


def _level_of(quiet: Hiss) -> str:
    return (
        f"{format_value(quiet.weighted_v, 'V', 3)} A-weighted at the output "
        f"({format_level(quiet.weighted_dbu, 'dBu')}; "
        f"{format_value(quiet.plain_v, 'V', 3)} from 20 Hz to 20 kHz)"
    )


def _why(found: Build, quiet: Hiss) -> str:
    if not quiet.shares:
        return "since nothing in it makes any"
    first = quiet.shares[0]
    share = round(100 * (first.weighted_v / quiet.weighted_v) ** 2)
    return f"{share} % of its power from {_source_words(found, first)}"


def _source_words(found: Build, share: Share) -> str:
    ref = share.ref
    if share.origin == "voltage":
        return f"{ref}'s voltage noise"
    if share.origin == "current":
        return f"{ref}'s current noise in what its inputs see"
    if ref == "load":
        return "the load's own resistance"
    if ref.startswith("source."):
        return "the source's resistance"
    if ref.startswith("pickup."):
        return "the pickup's losses" if ref.endswith(".losses") else "the pickup's coil"
    named = {line.ref: line.code for line in found.parts}
    return f"{ref} ({named[ref]})" if ref in named else ref


def build_words(found: Build) -> str:
    """Return the check sheet as the lines that ``build`` prints."""
    lines = [found.chain.circuit.full_title, found.chain.line]
    for head, body in build_sections(found):
        lines += ["", head]
        lines += (
            [f"  {line}" for line in body]
            if head == "Parts"
            else all_wrapped(body, indent=2)
        )
    return "\n".join(lines)
