# SPDX-License-Identifier: GPL-3.0-or-later
"""Why B differs from A: in sentences, and as plain values for JSON.

Computes nothing.
"""

from tonebench.report.wrapped import all_wrapped
from tonebench.study.against import Against, Change, Difference
from tonebench.study.blamed import label
from tonebench.study.curves import setting_words
from tonebench.study.hearing import band_name
from tonebench.units import format_code, format_frequency, format_position

SCHEMA = 1
#: A part that leaves more than this many times what a hook-up leaves isn't told.
_WORSE, _WORSE_DB = 2.0, 0.5
_DONE = {
    "ideal source": "with an ideal source",
    "buffer": "behind a buffer",
    "no cable": "without the lead",
    "no load": "without the load",
}


def against_words(found: Against) -> str:
    """Return what ``explain --against`` prints."""
    lines = [f"{found.a.circuit.full_title} against {found.b.circuit.full_title}"]
    for letter, side, setting in (
        ("A", found.a, found.settings_a),
        ("B", found.b, found.settings_b),
    ):
        where = setting_words(setting)
        lines.append(f"{letter}  {side.chain.line}{f', {where}' if where else ''}")
    lines.append("")
    if abs(found.gain_db) >= 0.1:
        lines.append(
            f"B is {abs(found.gain_db):.1f} dB {_louder(found.gain_db)} all over; "
            "with that taken away:"
        )
    lines += [
        difference_sentence(found, difference) for difference in found.differences
    ]
    if not found.differences:
        lines.append("nothing differs by 1 dB anywhere from 20 Hz to 20 kHz")
    else:
        lines += ["", "(the bands' names are common practice)"]
    return "\n".join(all_wrapped(lines))


def difference_sentence(found: Against, difference: Difference) -> str:
    """Return one sentence for a stretch: how much, where, what is behind it."""
    d = difference
    told = (
        f"{band_name(d.worst_hz)}: B is {abs(d.worst_db):.1f} dB {_louder(d.worst_db)} "
        f"at {format_frequency(d.worst_hz)} (from {format_frequency(d.low_hz)} to "
        f"{format_frequency(d.high_hz)})"
    )
    part, around = _worth_telling(d)
    behind = [_behind(found, change) for change in (part, around) if change is not None]
    if not behind:
        return f"{told}; no single part is behind it"
    return f"{told}; {'; '.join(behind)}"


def _worth_telling(d: Difference) -> tuple[Change | None, Change | None]:
    """Return part and hook-up without the one that explains far less."""
    part, around = d.part, d.around
    if part is None or around is None:
        return part, around
    left_part = part.left_db + part.elsewhere_db
    left_around = around.left_db + around.elsewhere_db
    if around.how == "exchanged" and left_part > left_around + _WORSE_DB:
        return None, around
    if left_around > _WORSE * left_part + _WORSE_DB:
        return part, None
    return part, around


def _behind(found: Against, change: Change) -> str:
    letter = change.letter.upper()
    left = f"{change.left_db:.1f} dB of it is left"
    if change.left_db < 0.05:
        left = "nothing of it is left"
    if change.elsewhere_db >= 0.5:
        left += f", but elsewhere it grows by {change.elsewhere_db:.1f} dB"
    if change.who is None:
        return f"{changed_words(found, change)} {left}"
    return (
        f"it is {change.who.words} of {letter}: {changed_words(found, change)} {left}"
    )


def changed_words(found: Against, change: Change) -> str:
    """Return what was changed ("with C6 at 4u7", "with B behind a buffer")."""
    letter, other = change.letter.upper(), "A" if change.letter == "b" else "B"
    side = found.a if change.letter == "a" else found.b
    ref = change.who.part if change.who is not None else ""
    match change.how:
        case "valued":
            return f"with {ref} at {format_code(change.amount)}"
        case "opened":
            return f"without {ref}"
        case "shorted" | "bridged":
            return f"with {ref} bridged"
        case "turned":
            name = label(side.chain, change.knob)
            at = side.chain.setting({})[change.knob]
            where = format_position(at) if isinstance(at, float | int) else at
            return f"with {name} of {letter} at {where}"
        case "exchanged":
            return f"with {other}'s {change.knob} on {letter}"
    done = _DONE[change.how]
    return f"with {letter} {done}" if change.how == "buffer" else f"{done} on {letter}"


def _louder(level_db: float) -> str:
    return "louder" if level_db > 0 else "quieter"


def against_json(found: Against) -> dict[str, object]:
    """Return the differences as plain values."""
    return {
        "schema": SCHEMA,
        "a": found.a.circuit.name,
        "b": found.b.circuit.name,
        "chain_a": found.a.chain.line,
        "chain_b": found.b.chain.line,
        "settings_a": dict(found.settings_a),
        "settings_b": dict(found.settings_b),
        "gain_db": found.gain_db,
        "differences": [
            {
                "band": band_name(difference.worst_hz),
                "from_hz": difference.low_hz,
                "to_hz": difference.high_hz,
                "worst": {
                    "frequency_hz": difference.worst_hz,
                    "difference_db": difference.worst_db,
                },
                "rms_db": difference.rms_db,
                "behind": [
                    _change_json(found, change)
                    for change in (difference.part, difference.around)
                    if change is not None
                ],
                "sentence": difference_sentence(found, difference),
            }
            for difference in found.differences
        ],
    }


def _change_json(found: Against, change: Change) -> dict[str, object]:
    return {
        "side": change.letter,
        "part": change.who.part if change.who is not None else change.knob or None,
        "how": change.how,
        "amount": change.amount if change.how == "valued" else None,
        "words": changed_words(found, change),
        "left_db_rms": change.left_db,
        "elsewhere_db_rms": change.elsewhere_db,
    }
