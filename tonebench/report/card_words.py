# SPDX-License-Identifier: GPL-3.0-or-later
"""The result card in words, a line for each figure that builders compare."""

import math
import textwrap
from collections.abc import Iterator

from tonebench.study.card import (
    GAIN_HZ,
    WANTED_RATIO,
    Card,
    InputCard,
    Load,
    Resonance,
    TrebleLoss,
)
from tonebench.study.curves import setting_words
from tonebench.study.traits import Traits
from tonebench.units import format_db, format_frequency, format_value, to_db

_HEAD = 20
_LOW_ENOUGH_HZ = 10.0


def card_lines(traits: Traits, width: int) -> list[str]:
    """Return the lines of the result card."""
    lines = []
    for head, text in _rows(traits.card):
        lines += textwrap.wrap(
            text,
            width,
            initial_indent=f"  {head:<{_HEAD}}",
            subsequent_indent=" " * (_HEAD + 2),
        )
    return lines


def _rows(card: Card) -> Iterator[tuple[str, str]]:
    for each in card.inputs:
        of = f" {each.input}" if len(card.inputs) > 1 else ""
        if each.resonance is not None:
            yield f"Pickup{of}", _resonance_words(each.resonance)
        beside = "; the other pickup is part of that" if of and each.resonance else ""
        yield f"Input{of}", _load_words(each.loads) + beside
        yield f"Gain{of}", _gain_words(each)
        if each.gain_db > -math.inf:
            yield f"Low corner{of}", _corner_words(each)
    at = f" at worst ({setting_words(card.output_at)})" if card.output_at else ""
    yield "Output", f"{format_value(card.output_ohm, 'Ω', 3)}{at}"
    for loss in card.treble:
        yield "Volume at 7", _treble_words(loss, len(card.inputs) > 1)
    if card.hiss_v:
        yield "Hiss", _hiss_words(card)
    if card.headroom is not None:
        volts = format_value(card.headroom.jack_v, "V", 2)
        where = format_frequency(card.headroom.at_hz)
        text = f"{volts} peak at the jack, then {card.headroom.ref} clips"
        yield "Largest input", f"{text} (near {where})"


def _resonance_words(peak: Resonance) -> str:
    corner = ""
    if peak.corner_hz is not None:
        corner = f"−3 dB at {format_frequency(peak.corner_hz)}"
    if peak.peak_hz is None or peak.peak_db is None:
        return f"its own peak is damped away; {corner or 'no corner'}"
    size, at = format_db(peak.peak_db), format_frequency(peak.peak_hz)
    q = f", Q {peak.q:.2g}" if peak.q is not None else ""
    return f"loaded resonance {size} at {at}{q}" + (f"; {corner}" if corner else "")


def _load_words(loads: tuple[Load, ...]) -> str:
    shown = [
        (format_value(each.input_ohm, "Ω", 3), format_frequency(each.frequency_hz))
        for each in loads
    ]
    words = ", ".join(f"{ohm} at {hz}" for ohm, hz in shown)
    if len({ohm for ohm, _ in shown}) == 1:
        words = f"{shown[0][0]} from {shown[0][1]} to {shown[-1][1]}"
    rated = [(each.ratio, each) for each in loads if each.ratio is not None]
    if not rated:
        return words
    ratio, worst = min(rated, key=lambda pair: pair[0])
    at = format_frequency(worst.frequency_hz)
    if ratio >= WANTED_RATIO:
        return f"{words}; the source is loaded 1:{_ratio(ratio)} at most"
    return (
        f"{words}; loads what drives it 1:{_ratio(ratio)} at {at}, "
        f"want 1:{WANTED_RATIO:g} (common practice)"
    )


def _ratio(ratio: float) -> str:
    return f"{ratio:.2g}" if ratio < 10 else f"{round(ratio):d}"


def _gain_words(card: InputCard) -> str:
    if card.gain_db == -math.inf:
        return "silent where it stands"
    turned = "turned" if card.inverts else "kept"
    return (
        f"{format_db(card.gain_db)} at {format_frequency(GAIN_HZ)}, polarity {turned}"
    )


def _corner_words(card: InputCard) -> str:
    if card.corner_hz is None:
        return "none: the low end goes through to the bottom"
    lost = ", ".join(
        f"{string} loses {loss:.1f} dB"
        for string, loss in card.lost_db.items()
        if loss >= 0.1
    )
    at = format_frequency(card.corner_hz)
    if card.corner_hz < _LOW_ENOUGH_HZ and not lost:
        return f"{at}: low enough for every string"
    return f"{at}: {lost or 'no string loses 0.1 dB'}"


def _treble_words(loss: TrebleLoss, has_several: bool) -> str:
    whose = f" ({loss.input})" if has_several and loss.input != loss.knob else ""
    text = f"{loss.knob}{whose}: {_lost(loss.lost_db)}"
    if loss.without_db is not None and loss.bleed:
        refs = " and ".join(loss.bleed)
        text += f"; without {refs}, the treble bleed, {_lost(loss.without_db)}"
    return text


def _lost(lost_db: float) -> str:
    if abs(lost_db) < 0.05:
        return "no treble is lost"
    if lost_db < 0:
        return f"{-lost_db:.1f} dB of treble gained"
    return f"{lost_db:.1f} dB of treble lost"


def _hiss_words(card: Card) -> str:
    quiet = card.hiss_v or 0.0
    text = f"{format_value(quiet, 'V', 2)} A-weighted"
    if card.treble_hiss_v and card.treble_at:
        more = to_db(card.treble_hiss_v / quiet)
        at = setting_words(card.treble_at)
        loud = format_value(card.treble_hiss_v, "V", 2)
        text += f"; {loud} with most treble ({at}), {format_db(more)}"
    return text
