# SPDX-License-Identifier: GPL-3.0-or-later
"""The check sheet of a build in words: a sentence first, the figures behind it.

Says what a builder asks before the iron is hot. Computes nothing.
"""

from collections.abc import Sequence

from tonebench.circuit.controls import Settings
from tonebench.study.battery import KnobLimit, Life, Reading, loudest_first
from tonebench.study.build import Build, HeadroomCard
from tonebench.study.curves import setting_words
from tonebench.study.headroom import Headroom
from tonebench.study.hiss import Hiss, Share
from tonebench.study.parts_list import PartLine
from tonebench.study.played import Played
from tonebench.study.spread import FeatureSpread, PartEffect, Spread
from tonebench.study.tolerance import PartTolerance
from tonebench.units import (
    format_db,
    format_frequency,
    format_level,
    format_position,
    format_value,
)

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


# -- parts -----------------------------------------------------------------------------


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


# -- tolerance -------------------------------------------------------------------------


def spread_lines(found: Spread) -> list[str]:
    """Return how far builds lie apart, and which parts to buy tighter."""
    most_db, at_hz = found.most_db
    where = setting_words(found.setting)
    start = f"{found.builds:,} builds" + (f" with {where}" if where else "")
    lines = [
        f"{start}: nine of ten have the shape of the drawn curve within "
        f"{_db(most_db)} (most at {format_frequency(at_hz)}), the very worst within "
        f"{_db(found.worst_db)}.",
        _level_sentence(found),
    ]
    if found.worth_tighter:
        lines.append(_tighter_sentence(found))
    else:
        lines.append(
            "No three parts bought tighter would bring them much nearer together."
        )
    lines += [_feature_sentence(feature) for feature in found.features]
    if found.unstable:
        lines.append(f"{percent(found.unstable)} of the builds oscillate or latch.")
    return lines


def _db(size: float) -> str:
    return f"{size:.2g} dB" if size < 1 else f"{size:.1f} dB"


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
    part: PartTolerance = effect.part
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


# -- noise -----------------------------------------------------------------------------


def hiss_lines(found: Build) -> list[str]:
    """Return how much it hisses, why, and how far below the take that is."""
    lines = [f"{_level_of(found.hiss)}, {_why(found, found.hiss)}."]
    if found.treble is not None:
        more = found.treble.weighted_dbu - found.hiss.weighted_dbu
        turned = _turned(found.treble.setting, found.setting)
        lines.append(
            f"With {turned}, the most treble of any knob: {_level_of(found.treble)}, "
            f"{format_db(more)} against that, {_why(found, found.treble)}."
        )
    if found.played is not None and found.take is not None:
        lines.append(
            f"{found.take.title or found.take.name} comes out at "
            f"{format_value(found.played.output_rms_v, 'V', 3)} rms, "
            f"{found.played.over_hiss_db:.0f} dB over that hiss."
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


def _turned(setting: Settings, start: Settings) -> str:
    names = [name for name in setting if setting[name] != start[name]]
    return setting_words(setting, names) if names else "the knobs as they are"


# -- headroom --------------------------------------------------------------------------


def headroom_lines(found: Build) -> list[str]:
    """Return the largest peaks at the jack before anything clips."""
    card = found.headroom
    if card is None:
        has_supply = found.chain.circuit.supply is not None
        has_op_amp = any(line.kind == "op-amp" for line in found.parts)
        if has_op_amp and not has_supply:
            return ["The file has no [supply], so where its op-amps clip isn't known."]
        return ["Nothing in it clips: there is no op-amp."]
    lines = [_headroom_sentence(found, card)]
    if card.any is not None and card.any.jack_v < 0.98 * _one_v(card):
        at = card.any
        lines.append(
            f"At the very least {_volts(at.jack_v)}, "
            f"with {_turned(at.setting, found.setting)} ({_clips(at)})."
        )
    if found.played is not None:
        lines += _played_lines(found, found.played)
    return lines


def _one_v(card: HeadroomCard) -> float:
    return min(card.here.jack_v, card.one.jack_v if card.one else card.here.jack_v)


def _headroom_sentence(found: Build, card: HeadroomCard) -> str:
    tired = f"at {card.tired_v:.3g} V {_volts(card.tired.jack_v)}"
    text = (
        f"A single tone at the jack may peak at {_volts(card.here.jack_v)} with the "
        f"knobs as they are"
    )
    one, tired_one = card.one, card.tired_one
    if (
        one is not None
        and tired_one is not None
        and one.jack_v < 0.98 * card.here.jack_v
    ):
        turned = _turned(one.setting, found.setting)
        text += f", at {_volts(one.jack_v)} with {turned} ({_clips(one)})"
        tired += f" and {_volts(tired_one.jack_v)}"
    else:
        text += f" ({_clips(card.here)})"
    return f"{text}, before an op-amp clips; {tired}."


def _clips(at: Headroom) -> str:
    return f"{at.ref} at {format_frequency(at.at_hz)}"


def _volts(volts: float) -> str:
    return format_value(float(f"{volts:.2g}"), "V", 3)


def _played_lines(found: Build, heard: Played) -> list[str]:
    title = found.take.title or found.take.name if found.take else "the take"
    near = heard.nearest
    start = f"{title} peaks at {_volts(heard.jack_peak_v)} at the jack"
    if near is None:
        return [f"{start}."]
    limit = (
        f"{_volts(near.peak_v)} of the {_volts(near.swing_v)} that {near.ref} swings"
    )
    if near.is_clipped:
        return [f"{start} and would need {limit}: the real unit clips on it."]
    return [f"{start} and needs {limit}: it doesn't clip."]


# -- battery ---------------------------------------------------------------------------


def battery_lines(found: Build) -> list[str]:
    """Return what a reading means, and how long a battery lasts."""
    lines = []
    if found.reading is not None:
        lines.append(reading_sentence(found.reading))
    supply = found.chain.circuit.supply
    if found.life is not None and supply is not None and supply.draw_ampere:
        lines.append(_life_sentence(found.life, supply.draw_ampere))
    return lines


def reading_sentence(reading: Reading) -> str:
    """Return what a battery's reading means for the player."""
    at = f"{reading.volts:.3g} V"
    loud = f"the loudest notes ({_volts(reading.loudest_v)} at the jack)"
    fresh = _limits_words(reading.fresh_limits)
    if reading.state == "fine":
        return f"{at}: fine, no knob makes {loud} clip."
    if reading.state == "change":
        if reading.headroom.jack_v <= 0:
            return f"{at}: change it, {reading.headroom.ref} has no room left at all."
        if reading.is_flat:
            return f"{at}: change it, it is flat."
        peak = _volts(reading.headroom.jack_v)
        return (
            f"{at}: change it, it clips from {peak} at the jack with the knobs as they "
            f"are, and {loud} do that."
        )
    text = f"{at}: clips only on {loud}, with {_limits_words(reading.limits)}"
    if not fresh:
        return f"{text}; a fresh battery wouldn't."
    if reading.limits == reading.fresh_limits:
        return f"{text}, as with a fresh battery."
    return f"{text}; with a fresh battery {fresh}."


def _limits_words(limits: Sequence[KnobLimit]) -> str:
    told = []
    for limit in loudest_first(limits):
        # told on the safe side, to a half
        half = int(2 * limit.position) / 2
        if not limit.is_above:
            half = 10 - int(2 * (10 - limit.position)) / 2
        side = "above" if limit.is_above else "below"
        name = limit.knob.label or limit.knob.name
        told.append(f"{name} {side} {format_position(half)}")
    return " or ".join(told)


def _life_sentence(life: Life, draw_ampere: float) -> str:
    low, high = (f"{float(f'{hours:.2g}'):g}" for hours in life.hours)
    until = f"{life.until_v:.2g} V"
    why = "where the loudest notes begin to clip" if life.is_by_clipping else "flat"
    return (
        f"A fresh battery lasts some {low} to {high} hours at "
        f"{format_value(draw_ampere, 'A', 2)}, down to {until} ({why}); it drains "
        "whenever a plug is left in."
    )


def _and(words: Sequence[str]) -> str:
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def build_words(found: Build) -> str:
    """Return the check sheet as the lines that ``build`` prints."""
    lines = [found.chain.circuit.full_title, found.chain.line]
    for head, body in build_sections(found):
        lines += ["", head]
        lines += [f"  {line}" for line in body]
    return "\n".join(lines)
