# SPDX-License-Identifier: GPL-3.0-or-later
"""Ways to an aim: in sentences, and as plain values for JSON.

Computes nothing.
"""

from tonebench.report.wrapped import all_wrapped
from tonebench.study.aim import Aim
from tonebench.study.aim_search import Aside
from tonebench.study.blamed import label
from tonebench.study.curves import setting_words
from tonebench.study.ways import Aimed, Way
from tonebench.units import format_code, format_db, format_frequency, format_value

SCHEMA = 1
#: A way that changes more than this besides is counted, not told.
_MOST_PRICE_DB = 8.0
_MOST_TOLD = 8
_NO_ASIDE_DB, _LEAST_GAIN_DB = 0.05, 0.5
_UNIT = {"resistance": "Ω", "capacitance": "F", "inductance": "H"}


def aimed_words(found: Aimed) -> str:
    """Return what ``explain --aim`` prints."""
    chain = found.side.chain
    lines = [chain.circuit.full_title, chain.line]
    if where := setting_words(found.setting):
        lines.append(f"at {where}")
    lines += ["", _aim_sentence(found)]
    near = [way for way in found.ways if way.aside.price <= _MOST_PRICE_DB]
    near = near[:_MOST_TOLD]
    lines += [f"  {way_sentence(found, way)}" for way in near]
    if (others := len(found.ways) - len(near)) and near:
        lines.append(f"  {others} more, at a higher price elsewhere")
    elif others:
        lines.append(
            f"  {others} parts can, but they would change far more than that elsewhere"
        )
    return "\n".join(all_wrapped(lines))


def _aim_sentence(found: Aimed) -> str:
    aim = found.aim
    now = "there is none now" if found.now is None else f"now {_figure(aim, found.now)}"
    ask = f"{_what_words(found)}: {now}"
    if aim.what == "flat":
        ask += " from 40 Hz to 10 kHz"
    if found.is_there:
        return f"{ask}; it is there already"
    if any(way.aside.price <= _MOST_PRICE_DB for way in found.ways):
        return f"{ask}; any of these parts by itself does it:"
    if aim.what == "flat":
        return f"{ask}; no part by itself makes it flatter"
    return f"{ask}; no part by itself does it well"


def _what_words(found: Aimed) -> str:
    aim = found.aim
    match aim.what:
        case "flat":
            return "flat with all knobs at 5"
        case "range":
            knob = label(found.side.chain, aim.of)
            return f"{knob} with a range of {_figure(aim, aim.wanted)}"
        case "frequency":
            return f"{aim.of} at {_figure(aim, aim.wanted)}"
        case "level":
            return f"{aim.of} of {_figure(aim, aim.wanted)}"


def _figure(aim: Aim, figure: float) -> str:
    if aim.what == "frequency":
        return format_frequency(figure)
    if aim.what in ("range", "flat"):
        return f"±{figure:.1f} dB"
    return format_db(figure)


def way_sentence(found: Aimed, way: Way) -> str:
    """Return one way: the part, its new value, what it reaches, and the price."""
    aim = found.aim
    unit = _UNIT.get(way.who.value.quantity, "")
    reached = f"reaches {_figure(aim, way.reached_e24)}"
    series = "E12" if way.e12 == way.e24 else "E24"
    told = f"{way.who.words} → {format_value(way.e24, unit)} ({series}) {reached}"
    if way.e12 != way.e24 and way.reached_e12 is not None:
        told += f", {format_value(way.e12, unit)} (E12) {_figure(aim, way.reached_e12)}"
    return f"{told}; {_aside_words(way.aside)}"


def _aside_words(aside: Aside) -> str:
    told = []
    if abs(aside.gain_db) >= _LEAST_GAIN_DB:
        way = "louder" if aside.gain_db > 0 else "quieter"
        told.append(f"all {abs(aside.gain_db):.1f} dB {way}")
    if abs(aside.most_db) >= _NO_ASIDE_DB:
        where = format_frequency(aside.at_hz)
        told.append(f"elsewhere {format_db(aside.most_db)} at {where}")
    if aside.moved_hz is not None:
        before, after = (format_frequency(hz) for hz in aside.moved_hz)
        told.append(f"its effect moves from {before} to {after}")
    return ", ".join(told) or "nothing else changes"


def aimed_json(found: Aimed) -> dict[str, object]:
    """Return an aim and its ways as plain values."""
    aim = found.aim
    return {
        "schema": SCHEMA,
        "circuit": found.side.circuit.name,
        "chain": found.side.chain.line,
        "settings": dict(found.setting),
        "aim": {"what": aim.what, "of": aim.of, "wanted": aim.wanted},
        "now": found.now,
        "ways": [
            {
                "part": way.who.part,
                "value": way.who.value.amount,
                "exact": way.exact,
                "e12": way.e12,
                "e12_code": format_code(way.e12),
                "e12_reached": way.reached_e12,
                "e24": way.e24,
                "e24_code": format_code(way.e24),
                "e24_reached": way.reached_e24,
                "gain_db": way.aside.gain_db,
                "elsewhere_db": way.aside.most_db,
                "elsewhere_hz": way.aside.at_hz,
                "sentence": way_sentence(found, way),
            }
            for way in found.ways
        ],
    }
