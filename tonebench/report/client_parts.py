# SPDX-License-Identifier: GPL-3.0-or-later
"""The parts of a comparison's page that are words, tables and bars, as HTML.

All that comes from a manifest is escaped here. Knows nothing of curves and of sound.
"""

import re
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from tonebench.audio.levels import CEILING_WORDS
from tonebench.study.exposure import exposure_words
from tonebench.units import (
    format_db,
    format_frequency,
    format_level,
    format_position,
    format_value,
)

#: A manifest, or a part of one.
Values = Mapping[str, Any]

#: What stands between a number and its unit, and must not end a line.
_UNIT = re.compile(r"(?<=\d) (?=(?:dB|dBFS|LUFS|k?Hz|[pnµ]F|[kM]?Ω)\b)")
LETTERS = {"a": "A", "b": "B"}
_MATCHED_BY = {
    "loudness": "loudness (LUFS)",
    "rms": "RMS",
    "frequency": "the gain at {hz}",
}


def sentence(text: str) -> str:
    """Return a text as an escaped sentence: a capital first, a full stop behind.

    Examples
    --------
    >>> sentence("only the lead differs: <short> against long")
    'Only the lead differs: &lt;short&gt; against long.'
    """
    text = _UNIT.sub("\N{NO-BREAK SPACE}", text.strip())
    if text and text[-1] not in ".?!…":
        text += "."
    return escape(text[:1].upper() + text[1:])


def take_of(manifest: Values, pairing: Values) -> Values:
    """Return the take that a pairing was played with.

    A pairing may name one of several takes by its file; otherwise there is one for all.
    """
    named = pairing.get("take")
    if isinstance(named, Mapping):
        return named
    takes = [
        *manifest.get("takes", ()),
        *([manifest["take"]] if "take" in manifest else ()),
    ]
    return next((take for take in takes if take["file"] == named), takes[0])


def client_html(client: Values) -> str:
    """Return who the page is for and from, and the note; nothing if none is said."""
    lines = []
    meant = ", ".join(
        f"{word} {escape(str(client[key]))}"
        for key, word in (("for", "for"), ("by", "from"))
        if client.get(key)
    )
    if client.get("note"):
        lines.append(f"<blockquote><p>{escape(str(client['note']))}</p></blockquote>")
    if meant:
        lines.append(f'<p class="meant">{meant[0].upper()}{meant[1:]}</p>')
    return f'<div class="client">{"".join(lines)}</div>' if lines else ""


def choice_html(names: Sequence[str]) -> str:
    """Return the choice of a pairing; nothing if there is only one."""
    if len(names) < 2:
        return ""
    rows = "".join(
        f'<label><input type="radio" name="pairing" value="{k}"'
        f"{' checked' if k == 0 else ''}> {escape(name)}</label>"
        for k, name in enumerate(names)
    )
    return f'<fieldset class="choice"><legend>Pairings</legend>{rows}</fieldset>'


def settings_html(clip: Values, key: str) -> str:
    """Return a side's settings: a row for each control, a bar where it is a knob."""
    rows = []
    for name, position in clip["settings"].items():
        words = name.translate({ord("_"): " ", ord("."): " "})
        word = escape(f"{words[:1].upper()}{words[1:]}")
        told = escape(_position_words(position))
        bar = _bar(position, key) if _is_number(position) else ""
        rows.append(f"<li><span>{word} <b>{told}</b></span>{bar}</li>")
    if not rows:
        return '<p class="hint">Nothing to set.</p>'
    return f'<ul class="settings">{"".join(rows)}</ul>'


def _is_number(value: object) -> bool:
    return isinstance(value, int | float)


def _position_words(position: Any) -> str:
    """Return where a control stands; one that moves: its places and when."""
    if _is_number(position):
        return format_position(position)
    if isinstance(position, str):
        return position
    return ", ".join(
        f"{_position_words(place)} at {seconds:g} s" for seconds, place in position
    )


def _bar(position: float, key: str) -> str:
    """Return a knob's position as a line of that length, with a mark at the centre."""
    end = f"{10 * position:.1f}%"
    return (
        '<svg class="bar" aria-hidden="true">'
        '<line class="track" x1="0" x2="100%" y1="7" y2="7"/>'
        '<line class="track" x1="50%" x2="50%" y1="1" y2="13"/>'
        f'<line class="fill {key}" x1="0" x2="{end}" y1="7" y2="7"/></svg>'
    )


def levels_html(pairing: Values, match_hz: float) -> str:
    """Return the levels as they came out, the jump between them, and the gains."""
    a, b = pairing["clips"]["a"], pairing["clips"]["b"]
    jump = pairing.get("jump_db", {})
    at_hz = f"gain at {format_frequency(match_hz)}"
    rows = [
        _row(word, [_level(c.get("before", {}), entry, unit) for c in (a, b)], to_b)
        for word, entry, unit, to_b in (
            ("loudness", "loudness_lufs", "LUFS", _jump(jump, "loudness")),
            ("RMS", "rms_dbfs", "dBFS", _jump(jump, "rms")),
            (at_hz, "gain_at_match_hz_db", "dB", _jump(jump, "frequency")),
            ("peak", "peak_dbfs", "dBFS", ""),
        )
    ]
    gains = _row("turned by", [format_db(clip["gain_db"]) for clip in (a, b)])
    heard = _row("heard at", [_level(c, "loudness_lufs", "LUFS") for c in (a, b)])
    return (
        '<table class="levels"><caption>As they came out, and as you hear them'
        '</caption><thead><tr><td></td><th scope="col" class="a">A</th>'
        '<th scope="col" class="b">B</th><th scope="col">switching to B</th></tr>'
        "</thead>"
        f"<tbody>{''.join(rows)}</tbody><tbody>{gains}{heard}</tbody></table>"
    )


def _row(word: str, sides: Sequence[str], to_b: str = "") -> str:
    cells = "".join(f"<td>{escape(told)}</td>" for told in (*sides, to_b))
    return f'<tr><th scope="row">{escape(word)}</th>{cells}</tr>'


def _level(levels: Values, entry: str, unit: str) -> str:
    if entry not in levels:
        return ""
    level = levels[entry]
    if level is None:
        return "no reading" if unit == "LUFS" else "silent"
    return format_db(level) if unit == "dB" else format_level(level, unit)


def _jump(jump: Values, mode: str) -> str:
    value = jump.get(mode)
    return "" if value is None else format_db(value)


def level_hint(pairing: Values, as_is_db: Values) -> str:
    """Return what "as they are" does to this pairing, in a plain sentence."""
    if not pairing["is_matched"]:
        return "These clips are not matched: you hear them as they are."
    softer = {key: db for key, db in as_is_db.items() if key in LETTERS}
    key = min(softer, key=lambda k: softer[k])
    difference = max(softer.values()) - softer[key]
    if difference < 0.05:
        return "Matching moved nothing: both ways are the same."
    other = "AB".replace(LETTERS[key], "")
    return f"As they are, {LETTERS[key]} is {difference:.1f} dB below {other}."


def notices_html(notices: Sequence[str]) -> str:
    """Return what a listener must know; nothing if there is nothing."""
    told = "".join(f"<li>{sentence(notice)}</li>" for notice in notices)
    return f'<ul class="notices" aria-label="Notices">{told}</ul>' if told else ""


def files_html(pairing: Values) -> str:
    """Return the files beside the page, as names: a page may travel without them."""
    words = {
        "a": "A",
        "b": "B",
        "dry": "no circuit",
        "switch": "switches A and B",
        "difference": "B − A, 6 dB down",
    }
    rows = []
    for key, clip in pairing["clips"].items():
        names = [str(clip[entry]) for entry in ("file", "cues") if clip.get(entry)]
        told = ", ".join(f"<code>{escape(name)}</code>" for name in names)
        rows.append(f"<li>{escape(words.get(key, key))}: {told}</li>")
    return f"<ul>{''.join(rows)}</ul>"


def footer_html(manifest: Values, takes: Sequence[Values]) -> str:
    """Return the facts of a comparison: takes, matching, trim, program."""
    lines = [f"Take: {escape(_take_words(take))}." for take in takes]
    match = manifest["match"]
    by = _MATCHED_BY.get(match["mode"], "")
    told = by.format(hz=format_frequency(match["match_hz"]))
    done = [pairing["is_matched"] for pairing in manifest["pairings"]]
    modes = {
        pairing.get("matched_by", match["mode"]) for pairing in manifest["pairings"]
    }
    if not told:
        lines.append("Not matched, as asked for.")
    elif all(done) and modes == {match["mode"]}:
        lines.append(f"Matched by {told}.")
    else:
        lines.append(f"To be matched by {told}, but not all could be: see the notices.")
    if manifest.get("trim_db"):
        trim = format_db(manifest["trim_db"])
        lines.append(
            f"All clips are turned by {trim} to keep the set's true peak at "
            f"{CEILING_WORDS}."
        )
    lines.append(
        "All clips of a pairing start on one sample and are the same length; they are "
        "24-bit, and nothing on this page leaves your computer."
    )
    lines.append(exposure_words())
    lines.append(f"Made with tonebench {escape(str(manifest.get('tonebench', '')))}.")
    return "\n".join(f"<p>{line}</p>" for line in lines)


def _take_words(take: Values) -> str:
    seconds = take["frames"] / take["sample_rate_hz"]
    channels = {1: "mono", 2: "stereo"}.get(
        take["channels"], f"{take['channels']} channels"
    )
    known = take["file"], take.get("instrument"), take.get("tuning")
    words = ", ".join(str(word) for word in known if word)
    rate = format_value(take["sample_rate_hz"], "Hz", digits=6)
    told = f"{words}, {seconds:.1f} s, {rate}, {channels}"
    if loads := "; ".join(take.get("recorded", ())):
        told += f". What loaded it when it was recorded is taken out: {loads}"
    return told
