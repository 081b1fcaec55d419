# SPDX-License-Identifier: GPL-3.0-or-later
"""B's nearest setting to A: in sentences, and as plain values for JSON.

Computes nothing.
"""

from collections.abc import Sequence

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain
from tonebench.report.feature_words import feature_words
from tonebench.report.wrapped import all_wrapped
from tonebench.study.curves import setting_words
from tonebench.study.misfits import Behind
from tonebench.study.nearest import Nearest
from tonebench.units import format_frequency, format_position

SCHEMA = 1
_BAR = 10
_MOST_MISFITS = 3
#: Below this nothing is told to stay different (common practice, no source).
_SAME_DB = 0.3
_FULL, _EMPTY = "█", "░"


def nearest_words(
    found: Nearest,
    a: Chain,
    b: Chain,
    settings_a: Sequence[Settings],
    behind: Sequence[Behind],
) -> str:
    """Return what ``nearest`` prints."""
    lines = [
        f"{b.circuit.full_title} as near as it goes to {a.circuit.full_title}",
        f"A  {a.line}" + _several(settings_a),
        f"B  {b.line}",
        "",
        *_panel(b.circuit, found.settings),
        "",
        f"turn B {_gains_words(found.gain_db, settings_a)}",
        left_sentence(found),
    ]
    if found.residual_db_rms >= _SAME_DB:
        lines += [f"  {misfit_sentence(each)}" for each in behind[:_MOST_MISFITS]]
        bands = [
            f"{_octave(middle)} {rms:.1f}"
            for middle, rms in found.octaves_db_rms.items()
        ]
        lines += ["", f"by octave, in dB: {', '.join(bands)}"]
    return "\n".join(all_wrapped(lines))


def _several(settings: Sequence[Settings]) -> str:
    told = [setting_words(setting) for setting in settings]
    told = [words for words in told if words]
    if not told:
        return ""
    return f", {told[0]}" if len(told) == 1 else f", all of: {'; '.join(told)}"


def _panel(circuit: Circuit, settings: Settings) -> list[str]:
    """Return a bar for every knob, a word for every switch."""
    labels = [c.label or c.name for c in circuit.controls]
    names = {
        c.name: label if labels.count(label) == 1 else f"{label} ({c.name})"
        for c, label in zip(circuit.controls, labels, strict=True)
    }
    names |= {name: name for name in settings if name not in names}
    width = max((len(name) for name in names.values()), default=0)
    lines = []
    for name, at in settings.items():
        if isinstance(at, float | int):
            full = round(at)
            bar = _FULL * full + _EMPTY * (_BAR - full)
            lines.append(f"  {names[name]:<{width}}  {bar}  {position_words(at)}")
        else:
            lines.append(f"  {names[name]:<{width}}  {at}")
    return lines or ["  (nothing to set)"]


def panel_words(settings: Settings) -> str:
    """Return a setting in one line, as it can be set on a panel."""
    return ", ".join(
        f"{name} {position_words(at) if isinstance(at, float | int) else at}"
        for name, at in settings.items()
    )


def position_words(at: float) -> str:
    """Return a position as it can be set on a panel ("7½", "3.3")."""
    quarter = round(4 * at) / 4
    if abs(quarter - at) < 0.03:
        return format_position(quarter)
    return format_position(round(at, 1))


def _gains_words(gains_db: Sequence[float], settings: Sequence[Settings]) -> str:
    if len(gains_db) == 1:
        return _gain_words(gains_db[0])
    told = [
        f"{_gain_words(gain)} for {setting_words(setting)}"
        for gain, setting in zip(gains_db, settings, strict=True)
    ]
    return ", ".join(told)


def _gain_words(gain_db: float) -> str:
    if abs(gain_db) < 0.05:
        return "neither up nor down"
    return f"{'up' if gain_db > 0 else 'down'} by {abs(gain_db):.1f} dB"


def left_sentence(found: Nearest) -> str:
    """Return how much stays different, against how much it was before."""
    rms = found.residual_db_rms
    if rms < _SAME_DB:
        return f"then nothing to speak of stays different ({rms:.2f} dB)"
    was = found.start_db_rms
    told = f"what stays different: {rms:.1f} dB, weighted as the ear hears"
    if was > rms + 0.05:
        return f"{told} ({was:.1f} dB with B as its knobs start)"
    return f"{told}, no less than with B as its knobs start"


def misfit_sentence(behind: Behind) -> str:
    """Return where B stays away from A, and which feature is behind it."""
    misfit = behind.misfit
    way = "louder" if misfit.difference_db > 0 else "quieter"
    told = (
        f"at {format_frequency(misfit.frequency_hz)} B stays "
        f"{abs(misfit.difference_db):.1f} dB {way}"
    )
    if behind.feature is None:
        return told
    mine, other = ("A", "B") if behind.letter == "a" else ("B", "A")
    return f"{told}: {mine} has a {feature_words(behind.feature)}, {other} has not"


def _octave(middle_hz: float) -> str:
    return format_frequency(middle_hz).replace(" ", "\u00a0")


def nearest_json(
    found: Nearest, a: Chain, b: Chain, behind: Sequence[Behind]
) -> dict[str, object]:
    """Return the nearest setting as plain values."""
    gains = list(found.gain_db)
    return {
        "schema": SCHEMA,
        "a": a.circuit.name,
        "b": b.circuit.name,
        "chain_a": a.line,
        "chain_b": b.line,
        "settings": dict(found.settings),
        "gain_db": gains[0],
        "gains_db": gains,
        "residual_db_rms": found.residual_db_rms,
        "start_db_rms": found.start_db_rms,
        "worst": {
            "frequency_hz": found.worst.frequency_hz,
            "difference_db": found.worst.difference_db,
        },
        "misfits": [
            {
                "frequency_hz": each.misfit.frequency_hz,
                "difference_db": each.misfit.difference_db,
                "side": None if each.feature is None else each.letter,
                "feature": None
                if each.feature is None
                else {
                    "kind": each.feature.kind,
                    "frequency_hz": float(each.feature.frequency_hz),
                    "level_db": float(each.feature.level_db),
                },
            }
            for each in behind
        ],
        "octaves_db_rms": {
            f"{middle:g}": rms for middle, rms in found.octaves_db_rms.items()
        },
        "frequency_hz": found.frequency_hz.tolist(),
        "difference_db": found.difference_db.tolist(),
    }
