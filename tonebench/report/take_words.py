# SPDX-License-Identifier: GPL-3.0-or-later
"""A checked take in words: what to mind first, then the figures."""

import math
from collections.abc import Callable, Mapping, Sequence

from tonebench.report.take_figures import runs_words, take_figures
from tonebench.study.take_check import Finding, Kind, TakeCheck
from tonebench.units import format_level

#: What makes a take unfit, in a word.
_FAULTS = {
    Kind.SILENT: "is silent",
    Kind.CLIPPED: "is clipped",
    Kind.GAPS: "has gaps",
}


def take_words(check: TakeCheck) -> str:
    """Return the lines that ``take`` prints."""
    take, info = check.take, check.info
    lines = [f"{take.title or take.name}: {info.path.name}", ""]
    lines += [finding_words(check, finding) for finding in check.findings]
    if take.loads:
        told = "; ".join(dict.fromkeys(load.line for load in take.loads))
        lines.append(f"It was recorded through {told}; that is taken out again.")
    if not [x for x in check.findings if x.kind is not Kind.LOAD_UNKNOWN]:
        lines.append("Nothing stands against it.")
    lines.append("")
    lines += [f"{word:<15}{told}" for word, told in take_figures(check)]
    return "\n".join(lines)


def unfit_words(check: TakeCheck) -> str:
    """Return in one sentence why a take isn't fit."""
    found = [_FAULTS[x.kind] for x in check.findings if x.kind.is_fault]
    return f"{check.info.path}: {' and '.join(found)}; record it again"


def finding_words(check: TakeCheck, finding: Finding) -> str:
    """Return what a finding means, in a sentence or two."""
    return _SENTENCES[finding.kind](check, finding)


def _silent(check: TakeCheck, finding: Finding) -> str:
    peak = check.reading.levels.peak_dbfs
    if math.isinf(peak):
        return "It is silent: every sample is 0."
    return (
        f"It is as good as silent: its peak is {format_level(peak, 'dBFS')}; was the "
        "right input recorded, with its gain up?"
    )


def _clipped(check: TakeCheck, finding: Finding) -> str:
    runs = check.clipped
    return (
        f"It is clipped{_where(check, finding)}: {runs_words(check, runs)}. Nothing "
        "brings back what was cut off; record it again, lower."
    )


def _gaps(check: TakeCheck, finding: Finding) -> str:
    return (
        f"The sound breaks off{_where(check, finding)}: "
        f"{runs_words(check, check.gaps)}. Either samples were dropped, or it was cut "
        "without a fade; listen there."
    )


def _empty(check: TakeCheck, finding: Finding) -> str:
    return f"Nothing is{_where(check, finding)}; a mono take would do."


def _identical(check: TakeCheck, finding: Finding) -> str:
    others = finding.channels[1:]
    level = max(check.reading.channels[k - 1].unlike_first_db for k in others)
    how = "the same"
    if not math.isinf(level):
        how += f", but for a rest {-level:.0f} dB below"
    return f"Channels {_list(finding.channels)} are {how}: it is a mono take."


def _mirrored(check: TakeCheck, finding: Finding) -> str:
    one, *others = finding.channels
    return (
        f"Channels {one} and {_list(others)} are the same with opposite polarity: "
        "summed, they cancel."
    )


def _low(check: TakeCheck, finding: Finding) -> str:
    peak = format_level(check.reading.levels.peak_dbfs, "dBFS")
    return f"It was recorded low, its peak is {peak}: more gain brings less noise."


def _high(check: TakeCheck, finding: Finding) -> str:
    peak = format_level(check.reading.levels.true_peak_dbtp, "dBTP")
    return f"It comes close to full scale: its true peak is {peak}."


def _dc(check: TakeCheck, finding: Finding) -> str:
    most = max((x.dc for x in check.reading.channels), key=abs)
    return (
        f"It has an offset of {100 * most:+.2f} % of full scale"
        f"{_where(check, finding)}: a circuit that passes DC passes it on, and it "
        "starts and ends with a click.".replace("-", "−")
    )


def _hum(check: TakeCheck, finding: Finding) -> str:
    hum = check.reading.hum
    assert hum is not None
    below = check.reading.playing_dbfs - hum.level_dbfs
    return (
        f"It hums with the mains ({hum.mains_hz} Hz), {below:.0f} dB below the playing."
    )


def _noise(check: TakeCheck, finding: Finding) -> str:
    below = check.reading.playing_dbfs - check.reading.floor_dbfs
    return (
        f"Its noise is only {below:.0f} dB below the playing; a treble boost will "
        "bring it up."
    )


def _short(check: TakeCheck, finding: Finding) -> str:
    return (
        f"It lasts {check.info.duration_s:.2f} s: under 3 s clips are matched by RMS, "
        "not by loudness."
    )


def _load_unknown(check: TakeCheck, finding: Finding) -> str:
    return (
        "What it was recorded through isn't known. Unless it is the pickup's own "
        "voltage, the pickup may be counted twice: the top end is likely too dull; "
        "B − A is little affected. A take file can tell, under [recorded]."
    )


_SENTENCES: Mapping[Kind, Callable[[TakeCheck, Finding], str]] = {
    Kind.SILENT: _silent,
    Kind.CLIPPED: _clipped,
    Kind.GAPS: _gaps,
    Kind.EMPTY_CHANNEL: _empty,
    Kind.IDENTICAL: _identical,
    Kind.MIRRORED: _mirrored,
    Kind.LOW: _low,
    Kind.HIGH: _high,
    Kind.DC: _dc,
    Kind.HUM: _hum,
    Kind.NOISE: _noise,
    Kind.SHORT: _short,
    Kind.LOAD_UNKNOWN: _load_unknown,
}


def _where(check: TakeCheck, finding: Finding) -> str:
    if check.info.channels == 1:
        return ""
    word = "channel" if len(finding.channels) == 1 else "channels"
    return f" in {word} {_list(finding.channels)}"


def _list(numbers: Sequence[int]) -> str:
    *most, last = (str(number) for number in numbers)
    return f"{', '.join(most)} and {last}" if most else last
