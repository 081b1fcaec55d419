# SPDX-License-Identifier: GPL-3.0-or-later
"""Headroom and battery in words: where a build clips, and what a reading means.

Computes nothing.
"""

from collections.abc import Sequence

from tonebench.circuit.controls import Settings
from tonebench.study.battery import KnobLimit, Life, Reading, loudest_first
from tonebench.study.build import Build, HeadroomCard
from tonebench.study.curves import setting_words
from tonebench.study.headroom import Headroom
from tonebench.study.played import Played
from tonebench.units import format_frequency, format_position, format_value


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
            f"with {turned_words(at.setting, found.setting)} ({_clips(at)})."
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
        turned = turned_words(one.setting, found.setting)
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


def turned_words(setting: Settings, start: Settings) -> str:
    """Return what is turned in a setting against another one ("bass 10")."""
    names = [name for name in setting if setting[name] != start[name]]
    return setting_words(setting, names) if names else "the knobs as they are"


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
    if reading.is_of_take:
        loud = "the loudest notes of this take"
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
