# SPDX-License-Identifier: GPL-3.0-or-later
"""What ``compare`` prints of a comparison that was run. Writes nothing."""

import math
from pathlib import Path

from tonebench.audio.levels import CEILING_WORDS
from tonebench.compare.verdict import all_differ, verdict
from tonebench.compare.written import Clip, Compared, PairClips
from tonebench.plan.after import line_with_after
from tonebench.render.told import take_notice
from tonebench.units import format_db, format_level


def comparison_words(compared: Compared, folder: Path) -> str:
    """Return the lines that ``compare`` prints: what differs first."""
    first = compared.pairs[0].measured.pair
    differs = all_differ(compared.measured.pairs)
    lines = [
        differs[0].upper() + differs[1:],
        compared.comparison.title,
        f"A  {line_with_after(first.a.side.chain.line, compared.comparison.after)}",
        f"B  {line_with_after(first.b.side.chain.line, compared.comparison.after)}",
    ]
    for take in compared.comparison.takes:
        pair = next(
            p.measured.pair for p in compared.pairs if p.measured.pair.take is take
        )
        lines.append(f"{take.audio.name}: {take_notice(take, pair.a.side.chain)}")
    for pair_clips in compared.pairs:
        lines += ["", *_pair_lines(compared, pair_clips)]
    lines.append("")
    if compared.measured.trim_db:
        lines.append(
            f"all clips are turned by {format_db(compared.measured.trim_db)} to keep "
            f"the set's true peak at {CEILING_WORDS}"
        )
    lines.append(f"wrote {folder}")
    return "\n".join(lines)


def _pair_lines(compared: Compared, clips: PairClips) -> list[str]:
    measured = clips.measured
    name = measured.pair.name
    if len(compared.comparison.takes) > 1:
        name = f"{name}, {measured.pair.take.name}"
    sentences = verdict(measured, compared.comparison.match.frequency_hz)
    lines = [name, *(f"  {sentence}" for sentence in sentences)]
    lines += [f"  {told}" for told in measured.notices if told not in sentences[1]]
    for voice in measured.pair.voices:
        words = voice.moving.words() or "nothing to set"
        if voice.letter == "dry":
            after = compared.comparison.after
            words = f"no circuit, {line_with_after(voice.side.chain.line, after)}"
        lines.append(f"  {_clip_words(clips.clips[voice.letter], words)}")
    if "switch" in clips.clips:
        switch = clips.clips["switch"]
        lines.append(f"  {switch.file}: A and B by turns, as told in {switch.cues}")
    else:
        lines.append("  no clip that switches: the take has no rest or onset for it")
    if "difference" in clips.clips:
        lines.append(f"  {difference_words(clips.clips['difference'])}")
    elif compared.comparison.has_difference:
        lines.append("  no clip of B − A: knobs move")
    return lines


def difference_words(clip: Clip) -> str:
    """Return what the clip of B − A is, and how much it is."""
    below_db = clip.below_a_db
    assert below_db is not None
    where = "below" if below_db >= 0 else "above"
    left = f"{abs(below_db):.1f} dB {where} A by RMS, written 6 dB down"
    if math.isinf(below_db):
        left = "silent, they are the same"
    over = ", B turned over since it inverts" if clip.is_turned_over else ""
    return f"{clip.file}: B − A{over}: {left}"


def _clip_words(clip: Clip, words: str) -> str:
    level = format_level(clip.loudness_lufs, "LUFS")
    if math.isinf(clip.loudness_lufs) and not math.isinf(clip.peak_dbfs):
        level = f"peak {format_level(clip.peak_dbfs, 'dBFS')}"
    return f"{clip.file}: {words}; {level}, turned by {format_db(clip.gain_db)}"
