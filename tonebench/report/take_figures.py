# SPDX-License-Identifier: GPL-3.0-or-later
"""The figures of a checked take, as lines of a terminal."""

import math

from tonebench.audio.files import TakeInfo
from tonebench.audio.hum import HumLine
from tonebench.audio.runs import Runs
from tonebench.study.take_check import REST_DB, TakeCheck
from tonebench.units import format_frequency, format_level, format_value


def take_figures(check: TakeCheck) -> list[tuple[str, str]]:
    """Return the figures of a take, each with its name."""
    info, reading, take = check.info, check.reading, check.take
    levels = reading.levels
    channels = "1 channel" if info.channels == 1 else f"{info.channels} channels"
    rate = format_value(info.sample_rate_hz, "Hz", digits=6)
    volts = "unknown: the take isn't calibrated (--tone, --meter)"
    if take.full_scale_v is not None:
        peak_v = take.full_scale_v * 10 ** (levels.peak_dbfs / 20)
        full = format_value(take.full_scale_v, "V", 4)
        volts = f"{format_value(peak_v, 'V', 3)} at the peak; full scale is {full}"
    clipped = "nowhere: no 3 equal samples at the top of a wave that goes on"
    if check.clipped.count:
        clipped = runs_words(check, check.clipped)
    each = "" if info.channels == 1 else ", the worst channel"
    return [
        ("length", f"{info.duration_s:.2f} s, {channels} at {rate}, {_format(info)}"),
        ("peak", format_level(levels.peak_dbfs, "dBFS")),
        ("true peak", format_level(levels.true_peak_dbtp, "dBTP")),
        ("RMS", format_level(levels.rms_dbfs, "dBFS")),
        ("crest", _crest(levels.crest_db)),
        ("loudness", _loudness(check)),
        ("noise floor", _floor(check) + (each if check.has_rest else "")),
        ("hum", _hum_figure(check)),
        ("DC", f"{_offsets(check)} of full scale"),
        ("clipped", clipped),
        ("gaps", runs_words(check, check.gaps) if check.gaps.count else "none"),
        ("silence", _silence(check)),
        ("lowest", _lowest(check)),
        ("volts", volts),
    ]


def _format(info: TakeInfo) -> str:
    return f"{info.format} {info.subtype}".replace("_", " ")


def _crest(crest_db: float) -> str:
    if math.isnan(crest_db):
        return "none"
    return f"{crest_db:.1f} dB, the highest sample over the RMS"


def _loudness(check: TakeCheck) -> str:
    levels = check.reading.levels
    told = [
        (levels.loudness_lufs, "LUFS", ""),
        (levels.short_term_max_lufs, "LUFS", "in the loudest 3 s"),
        (levels.momentary_max_lufs, "LUFS", "in the loudest 400 ms"),
    ]
    words = [
        f"{format_level(level, unit)} {where}".rstrip()
        for level, unit, where in told
        if math.isfinite(level)
    ]
    if math.isfinite(levels.range_lu):
        words.append(f"{levels.range_lu:.1f} LU loudness range")
    return ", ".join(words) or "none: too short or too soft"


def _floor(check: TakeCheck) -> str:
    floor = check.reading.floor_dbfs
    if math.isnan(floor):
        return "none: there is no 200 ms that isn't digital silence"
    level = format_level(floor, "dBFS")
    if not check.has_rest:
        return (
            f"at most {level}: the quietest 200 ms are less than {REST_DB:g} dB below "
            "the playing; it never rests, or is as noisy as that"
        )
    return f"{level} RMS, in the quietest twentieth of its 200 ms"


def _hum_figure(check: TakeCheck) -> str:
    hum = check.reading.hum
    if hum is None:
        return "can't be told: it takes two seconds that aren't digital silence"
    if not check.has_long_rest:
        return f"can't be told: no second of it is {REST_DB:g} dB below the playing"
    if not hum.is_there:
        return "none at 50 or 60 Hz and their multiples, where it rests"
    lines = ", ".join(_line(line) for line in hum.lines if line.is_there)
    return f"{format_level(hum.level_dbfs, 'dBFS')} in all; {lines}"


def _line(line: HumLine) -> str:
    return (
        f"{line.frequency_hz} Hz {format_level(line.level_dbfs, 'dBFS')}, "
        f"{line.above_noise_db:.0f} dB above the noise beside it"
    )


def _lowest(check: TakeCheck) -> str:
    hz = check.reading.lowest_hz
    if math.isnan(hz):
        return "can't be told: it takes two seconds"
    return (
        f"the third of an octave at {format_frequency(hz)} (20 dB below the strongest)"
    )


def _offsets(check: TakeCheck) -> str:
    told = (f"{100 * x.dc:+.4f} %" for x in check.reading.channels)
    return ", ".join(told).replace("-", "−")


def _silence(check: TakeCheck) -> str:
    reading = check.reading
    return (
        f"{reading.leads_s:.2f} s before the sound and {reading.trails_s:.2f} s after "
        f"it, 40 dB below the peak; {reading.silent_s:.2f} s are digital silence"
    )


def runs_words(check: TakeCheck, runs: Runs) -> str:
    """Return how many runs there are, where the first is, and the longest."""
    rate = check.info.sample_rate_hz
    places = "1 place" if runs.count == 1 else f"{runs.count} places"
    return (
        f"{places}, the first at {runs.first_frame / rate:.3f} s, the longest "
        f"{runs.longest} samples ({1000 * runs.longest / rate:.2g} ms)"
    )
