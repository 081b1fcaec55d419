# SPDX-License-Identifier: GPL-3.0-or-later
"""The check sheet of a build as files and values: CSV, page, picture, JSON."""

import csv
import io
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from tonebench.audio.outputs import check_new_file, write_whole
from tonebench.errors import RequestError
from tonebench.report.build_page import build_page
from tonebench.report.build_words import cautions
from tonebench.report.canvas import PAPER, Look
from tonebench.report.parts_words import spread_lines
from tonebench.report.plots_spread import draw_spread
from tonebench.report.power_words import reading_sentence
from tonebench.study.battery import KnobLimit
from tonebench.study.build import Build
from tonebench.study.headroom import Headroom
from tonebench.study.hiss import Hiss
from tonebench.study.parts_list import PartLine
from tonebench.study.spread import Band, Spread

SCHEMA = 1
_LOUDEST_SOURCES = 8
_COLUMNS = (
    *("designator", "kind", "code", "value", "unit", "tolerance_percent"),
    *("series", "nearest_sold", "change_db", "at_hz", "note"),
)


def write_build(
    found: Build,
    paths: Mapping[str, Path],
    look: Look = PAPER,
    force: bool = False,
) -> list[Path]:
    """Write what is asked for of "csv", "page" and "plot"; return the paths.

    Raises
    ------
    OutputError
        If one of them exists and `force` is off, or can't be written.
    """
    page = paths.get("page")
    if page is not None and page.suffix.lower() not in (".html", ".htm"):
        raise RequestError(f"{page}: a page's name must end in .html")
    for path in paths.values():
        check_new_file(path, force)
    for kind, path in paths.items():
        if kind == "plot":
            headline = spread_lines(found.spread)[0]
            draw_spread(
                found.chain, found.spread, path, headline, look=look, force=force
            )
        else:
            text = parts_csv(found) if kind == "csv" else build_page(found)
            write_whole(path, text.encode("utf-8"), force)
    return list(paths.values())


def parts_csv(found: Build) -> str:
    """Return the parts list as CSV (RFC 4180), one row per part."""
    text = io.StringIO()
    table = csv.writer(text)
    table.writerow(_COLUMNS)
    for line in found.parts:
        share = None if line.tolerance is None else round(100 * line.tolerance, 9)
        values = line.ref, line.kind, line.code, line.value, line.unit, share
        nearest = line.series, line.nearest, line.change_db, line.change_hz
        row = (*values, *nearest, line.note)
        table.writerow(["" if value is None else value for value in row])
    return text.getvalue()


def build_json(found: Build) -> dict[str, Any]:
    """Return the values that ``build --json`` prints."""
    card, reading, life = found.headroom, found.reading, found.life
    return {
        "schema": SCHEMA,
        "circuit": found.chain.circuit.name,
        "title": found.chain.circuit.title,
        "chain": found.chain.line,
        "settings": dict(found.setting),
        "parts": [_part(line) for line in found.parts],
        "tolerance": _spread(found.spread),
        "noise": {
            "as_set": _hiss(found.hiss),
            "most_treble": None if found.treble is None else _hiss(found.treble),
        },
        "headroom": None
        if card is None
        else {
            "as_set": _headroom(card.here),
            "one_control_turned": _headroom(card.one),
            "least": _headroom(card.any),
            "tired_volts": card.tired_v,
            "tired": _headroom(card.tired),
            "tired_one_control_turned": _headroom(card.tired_one),
        },
        "battery": {
            "reading": None
            if reading is None
            else {
                "volts": reading.volts,
                "state": reading.state,
                "sentence": reading_sentence(reading),
                "loudest_v": reading.loudest_v,
                "jack_v": reading.headroom.jack_v,
                "limits": [_limit(limit) for limit in reading.limits],
                "fresh_limits": [_limit(limit) for limit in reading.fresh_limits],
            },
            "life": None
            if life is None
            else {
                "hours": list(life.hours),
                "until_v": life.until_v,
                "ends_by_clipping": life.is_by_clipping,
            },
        },
        "take": _take(found),
        "cautions": list(cautions(found)),
    }


def _part(line: PartLine) -> dict[str, Any]:
    return {
        "ref": line.ref,
        "kind": line.kind,
        "value": line.value,
        "unit": line.unit,
        "code": line.code,
        "tolerance": line.tolerance,
        "tolerance_is_usual": line.is_usual_tolerance,
        "series": line.series or None,
        "nearest_sold": line.nearest,
        "change_db": line.change_db,
        "change_hz": line.change_hz,
        "note": line.note,
    }


def _spread(found: Spread) -> dict[str, Any]:
    most_db, at_hz = found.most_db
    return {
        "builds": found.builds,
        "frequency_hz": found.frequency_hz.tolist(),
        "drawn_db": _numbers(found.drawn_db),
        "gain_db": _band(found.gain),
        "shape_db": _band(found.shape),
        "level_db": list(found.level_db),
        "most_db": most_db,
        "most_hz": at_hz,
        "parts": [
            {
                "refs": list(effect.part.refs),
                "tolerance": effect.part.share,
                "rms_db": effect.rms_db,
                "shape_db": effect.shape_db,
                "at_hz": effect.at_hz,
                "level_db": effect.level_db,
            }
            for effect in found.parts
        ],
        "worth_tighter": [list(effect.part.refs) for effect in found.worth_tighter],
        "most_db_when_tighter": found.tighter_db,
        "features": [
            {
                "kind": each.drawn.kind,
                "frequency_hz": each.drawn.frequency_hz,
                "level_db": each.drawn.level_db,
                "range_hz": list(each.frequency_hz),
                "range_db": list(each.level_db),
                "share_of_builds": each.there,
            }
            for each in found.features
        ],
        "unstable": found.unstable,
    }


def _band(band: Band) -> dict[str, Any]:
    return {
        "low": _numbers(band.low),
        "high": _numbers(band.high),
        "worst_low": _numbers(band.worst_low),
        "worst_high": _numbers(band.worst_high),
    }


def _numbers(values: Any) -> list[float | None]:
    return [value if math.isfinite(value) else None for value in values.tolist()]


def _hiss(quiet: Hiss) -> dict[str, Any]:
    return {
        "settings": dict(quiet.setting),
        "a_weighted_v": quiet.weighted_v,
        "a_weighted_dbu": quiet.weighted_dbu if quiet.weighted_v else None,
        "unweighted_v": quiet.plain_v,
        "frequency_hz": quiet.frequency_hz.tolist(),
        "density_v_per_rt_hz": quiet.density_v.tolist(),
        "sources": [
            {"part": s.ref, "origin": s.origin, "a_weighted_v": s.weighted_v}
            for s in quiet.shares[:_LOUDEST_SOURCES]
        ],
    }


def _headroom(at: Headroom | None) -> dict[str, Any] | None:
    if at is None:
        return None
    return {
        "settings": dict(at.setting),
        "jack_v": at.jack_v,
        "op_amp": at.ref,
        "at_hz": at.at_hz,
        "swing_v": at.swing_v,
    }


def _limit(limit: KnobLimit) -> dict[str, Any]:
    side = "above" if limit.is_above else "below"
    return {"knob": limit.knob.name, "position": limit.position, "clips": side}


def _take(found: Build) -> dict[str, Any] | None:
    heard = found.played
    if heard is None or found.take is None:
        return None
    over = heard.over_hiss_db
    return {
        "name": found.take.name,
        "jack_peak_v": heard.jack_peak_v,
        "output_rms_v": heard.output_rms_v,
        "over_hiss_db": over if math.isfinite(over) else None,
        "op_amps": [
            {"ref": p.ref, "peak_v": p.peak_v, "swing_v": p.swing_v}
            for p in heard.op_amps
        ],
    }
