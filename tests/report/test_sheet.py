# SPDX-License-Identifier: GPL-3.0-or-later
"""Sheets: nothing runs over their edges or into the curves, whatever is told."""

import io
from typing import Any

import numpy as np
import pytest
from client_pages import clip, curves_of, manifest_of, pairing
from PIL import Image

from tonebench.compare.verdict import MatchedCurves
from tonebench.errors import InputError
from tonebench.report.curve_files import pair_csv, read_pair_csv
from tonebench.report.fitting import Ruler
from tonebench.report.sheet import SHEETS, Row, draw_sheet, rows_of, shared

LONG = "a name that is much longer than any place on a sheet has room for " * 4
PAPER = (255, 255, 255)


def flat() -> dict[str, Any]:
    """Return a pairing."""
    a = clip("a.wav", -2.0, tilt=5.0, level=10.0) | {"name": "tern"}
    b = clip("b.wav", 0.0, bass=7.5, range="high") | {"name": "plover"}
    return pairing("both flat", {"a": a, "b": b})


def manifest(its: dict[str, Any], **more: Any) -> dict[str, Any]:
    """Return a manifest of a pairing on a take with open strings."""
    values = manifest_of([its], **more)
    take = values.pop("take") | {"title": "Harbour walk", "tuning": "E1 A1 D2 G2"}
    return values | {"takes": [take]}


def sheet(its: dict[str, Any], **more: Any) -> Image.Image:
    values = manifest(its, **more)
    drawn = draw_sheet(values, its, curves_of(values)[0], SHEETS["light"])
    return Image.open(io.BytesIO(drawn)).convert("RGB")


def is_blank(picture: Image.Image, box: tuple[int, int, int, int]) -> bool:
    return picture.crop(box).getcolors() == [
        ((box[2] - box[0]) * (box[3] - box[1]), PAPER)
    ]


def edges(picture: Image.Image) -> list[bool]:
    boxes = (0, 0, 40, 1080), (1880, 0, 1920, 1080), (0, 0, 1920, 30)
    return [is_blank(picture, box) for box in (*boxes, (0, 1050, 1920, 1080))]


def test_a_plain_sheet_leaves_its_edges_free() -> None:
    assert all(edges(sheet(flat())))


def test_long_texts_and_many_controls_stay_inside() -> None:
    its = flat()
    its["name"], its["verdict"] = LONG, [LONG, LONG, LONG]
    for side in (its["clips"]["a"], its["clips"]["b"]):
        side["name"], side["chain"] = LONG.replace(" ", "_"), LONG
        side["settings"] = {f"{LONG}{k}": 7.5 for k in range(15)}
    picture = sheet(its, title=LONG)
    assert all(edges(picture))
    assert is_blank(picture, (1300, 420, 1335, 940))  # between curves and settings


def test_signs_that_the_font_lacks_and_dollars_are_no_fault() -> None:
    its = flat()
    its["verdict"] = ["$x$ differs.", "茶 and $y$.", "$\\frac{1}{2}$ louder."]
    assert all(edges(sheet(its)))


def test_a_silent_side_still_has_a_sheet() -> None:
    its = flat()
    hz = np.geomspace(20, 20_000, 50)
    silent = MatchedCurves(hz, np.full(50, -np.inf), np.zeros(50))
    drawn = draw_sheet(manifest(its), its, silent, SHEETS["dark"])
    assert Image.open(io.BytesIO(drawn)).size == (1920, 1080)


@pytest.mark.parametrize("word", SHEETS)
def test_the_same_sheet_is_the_same_bytes(word: str) -> None:
    its = flat()
    values = manifest(its)
    curves = curves_of(values)[0]
    one, two = (draw_sheet(values, its, curves, SHEETS[word]) for _ in range(2))
    assert one == two


def test_a_control_that_moves_tells_its_way() -> None:
    found = rows_of({"bass": [[0, 5], [4, 7.5]], "range": [[0, "low"], [2, "high"]]})
    assert found == [
        Row("Bass", "5 → 7½, moving"),
        Row("Range", "low → high, moving"),
    ]


@pytest.mark.parametrize("wanted", [(0, 0), (2, 4), (15, 1), (1, 15), (15, 15)])
@pytest.mark.parametrize("room", [2, 5, 9])
def test_rows_are_shared_within_the_room(wanted: tuple[int, int], room: int) -> None:
    first, second = shared(wanted, room)
    assert first + second <= room
    assert first <= wanted[0]
    assert second <= wanted[1]
    assert first + second == min(room, sum(wanted))


# Words that fit


def test_fewer_lines_are_better_than_slightly_larger_letters() -> None:
    ruler = Ruler()
    text = "sedge → 700 pF lead → plover"
    width = 0.97 * ruler.inches(text, 10)
    assert ruler.fitted(text, width, 2, 10, 6).lines == (
        text.replace("700 pF", "700\N{NO-BREAK SPACE}pF"),
    )


def test_a_number_stays_with_its_unit() -> None:
    ruler = Ruler("bold")
    text = "treble −10.8 dB at 3.75 kHz"
    found = ruler.fitted(text, 0.55 * ruler.inches(text, 10), 3, 10, 9.5)
    assert len(found.lines) > 1
    assert not any(line.startswith(("dB", "kHz")) for line in found.lines)


@pytest.mark.parametrize("text", ["", "x", LONG, "y" * 500, "a b " * 200])
@pytest.mark.parametrize("lines", [1, 3])
def test_every_line_is_within_the_width(text: str, lines: int) -> None:
    ruler = Ruler()
    found = ruler.fitted(text, 2.0, lines, 12, 7)
    assert 1 <= len(found.lines) <= lines
    assert all(ruler.inches(line, found.size) <= 2.0 for line in found.lines)
    is_cut = found.lines[-1].endswith("…")
    assert is_cut == (len(text) > 1)


# Curves as figures


def test_curves_come_back_to_the_last_bit(tmp_path: Any) -> None:
    hz = np.geomspace(20, 20_000, 7)
    a, b = np.sin(hz), np.cos(hz) * 30
    a[3] = -np.inf
    (tmp_path / "x.csv").write_bytes(pair_csv(MatchedCurves(hz, a, b)))
    found = read_pair_csv(tmp_path / "x.csv")
    assert np.array_equal([found.frequency_hz, found.a_db, found.b_db], [hz, a, b])
    rows = (tmp_path / "x.csv").read_text().split("\n")  # RFC 4180: CR LF, read as LF
    assert rows[0] == "frequency_hz,a_db,b_db,b_minus_a_db"
    assert rows[4].split(",")[1::2] == ["", ""]


@pytest.mark.parametrize(
    "text", ["", "a,b\n1,2\n", "frequency_hz,a_db,b_db,b_minus_a_db\n"]
)
def test_another_table_is_refused(tmp_path: Any, text: str) -> None:
    (tmp_path / "x.csv").write_text(text)
    with pytest.raises(InputError, match="holds no curves of a comparison"):
        read_pair_csv(tmp_path / "x.csv")
