# SPDX-License-Identifier: GPL-3.0-or-later
"""Pictures: the same bytes for the same curves, and names that stand apart."""

import io
import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from commands import names_in
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.image import imread

from tonebench.audio.take import open_strings_hz
from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Chain, Hookup, join
from tonebench.compare.verdict import MatchedCurves
from tonebench.errors import OutputError, RequestError
from tonebench.report.canvas import spread_apart
from tonebench.report.plots import PairPicture, draw_curves, draw_pair
from tonebench.report.themes import DARK, LIGHT, Theme
from tonebench.study.curves import Curve, curves, family

ENDINGS = (".svg", ".png", ".pdf")
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def tilt() -> tuple[Chain, tuple[Curve, ...]]:
    chain = join(read_circuit("tern"))
    hz = np.geomspace(20, 20_000, 50)
    return chain, curves(chain, family(chain, ["tilt"], {}), hz)


def pair(
    ending: str, headline: str = "B is duller", theme: Theme = LIGHT, tuning: str = ""
) -> bytes:
    hz = np.geomspace(20, 20_000, 50)
    picture = PairPicture(
        MatchedCurves(hz, np.zeros(50), -hz / 2000),
        ("A tern", "B plover"),
        headline,
        ("as they start", "A  sedge → tern", "B  sedge → plover"),
        "dB, at one level",
        tuple(zip(tuning.split(), open_strings_hz(tuning), strict=True)),
    )
    return draw_pair(picture, ending, theme)


def words_in(svg: bytes) -> str:
    """Return what an SVG's comments say: each text stands beside its outlines."""
    return " ".join(re.findall(r"<!-- (.*?) -->", svg.decode("utf-8")))


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_picture_is_the_same_bytes_twice(ending: str) -> None:
    once = pair(ending)
    assert once == pair(ending)
    assert once != pair(ending, headline="B is brighter")


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_family_is_drawn_to_the_same_bytes_twice(
    tmp_path: Path, tilt: tuple[Chain, tuple[Curve, ...]], ending: str
) -> None:
    paths = [tmp_path / f"{name}{ending}" for name in ("one", "two")]
    for path in paths:
        draw_curves(*tilt, path, ["tilt"])
    assert paths[0].read_bytes() == paths[1].read_bytes()
    signs = {".svg": b"<?xml", ".png": b"\x89PNG", ".pdf": b"%PDF"}
    assert paths[0].read_bytes().startswith(signs[ending])


def test_a_picture_says_its_sentence_its_chains_and_both_names() -> None:
    words = words_in(pair(".svg"))
    told = ("B is duller", "as they start", "A  sedge → tern", "A tern", "B plover")
    for text in (*told, "B − A", "frequency, Hz", "dB, at one level"):
        assert text in words


def test_an_svg_is_sound_xml_and_has_no_date() -> None:
    data = pair(".svg")
    tree = ET.fromstring(data)
    assert tree.tag == f"{SVG}svg"
    text = data.decode("utf-8")
    assert "dc:date" not in text
    assert not re.search(r"20[0-9]{2}-[0-9]{2}", text)
    assert "<script" not in text
    outside = {"www.w3.org", "purl.org", "creativecommons.org", "web.resource.org"}
    assert {*re.findall(r"https?://([^/\"]+)", text)} <= outside


@pytest.mark.parametrize("ending", [".png", ".pdf"])
def test_a_picture_holds_no_date_and_no_path(ending: str) -> None:
    data = pair(ending)
    for word in (b"CreationDate", b"ModDate", b"tIME", b"/home", b"/tmp"):
        assert word not in data


def test_a_and_b_are_told_apart_by_colour_and_dash() -> None:
    """Blue and solid, vermilion and dashed: the house's choice, safe for the eye."""
    text = pair(".svg").decode("utf-8").lower()
    a, b = (
        [style for style in re.findall(r'style="([^"]*)"', text) if colour in style]
        for colour in ("stroke: #0072b2", "stroke: #d55e00")
    )
    curve_a = [style for style in a if "stroke-width: 1.8" in style]
    curve_b = [style for style in b if "stroke-width: 1.8" in style]
    assert curve_a
    assert not any("dasharray" in style for style in curve_a)
    assert curve_b
    assert all("dasharray" in style for style in curve_b)


def test_a_png_has_ink_and_paper() -> None:
    pixels = imread(io.BytesIO(pair(".png")))
    assert pixels.shape[:2] == (750, 1290)
    grey = pixels[..., :3].mean(axis=2)
    assert grey[0, 0] == 1
    assert grey.min() < 0.2


@pytest.mark.parametrize("ending", ENDINGS)
def test_silence_is_drawn_as_nothing_rather_than_failing(ending: str) -> None:
    hz = np.geomspace(20, 20_000, 50)
    silent = np.full(50, -np.inf)
    for both in (
        MatchedCurves(hz, silent, np.zeros(50)),
        MatchedCurves(hz, silent, silent),
    ):
        made = draw_pair(PairPicture(both, ("A", "B"), "x", (), "dB"), ending)
        assert len(made) > 1000


@pytest.mark.parametrize("ending", ENDINGS)
@pytest.mark.parametrize("name", ["$\\frac$", "5 $ or 6 $?", "<&>", "音色", "a_b^c"])
def test_names_are_drawn_as_they_are_written(ending: str, name: str) -> None:
    made = pair(ending, headline=name)
    assert made == pair(ending, headline=name)
    if ending == ".svg":
        ET.fromstring(made)
        assert name.replace("<&>", "&lt;&amp;&gt;") in words_in(made)


def test_long_names_and_many_curves_find_their_place(tmp_path: Path) -> None:
    chain = join(read_circuit("dunlin"), Hookup(source_ohm=5e3))
    names = ["neck", "tone", "mode"]
    found = curves(chain, family(chain, names, {}), [20, 1000, 20_000])
    path = tmp_path / "many.svg"
    draw_curves(chain, found, path, names)
    words = words_in(path.read_bytes())
    assert words.count("from neck") == 18 - 3  # turned down, three are silent
    assert words.count("from bridge") == 18


@pytest.mark.parametrize("name", ["picture.gif", "picture", "picture.svgz"])
def test_other_endings_are_refused_and_nothing_is_written(
    tmp_path: Path, tilt: tuple[Chain, tuple[Curve, ...]], name: str
) -> None:
    with pytest.raises(RequestError, match=r"must end in \.svg, \.png or \.pdf"):
        draw_curves(*tilt, tmp_path / name)
    assert names_in(tmp_path) == set()


def test_a_picture_is_replaced_only_when_forced(
    tmp_path: Path, tilt: tuple[Chain, tuple[Curve, ...]]
) -> None:
    path = tmp_path / "picture.SVG"
    path.write_text("an older one", encoding="utf-8")
    with pytest.raises(OutputError, match="exists already"):
        draw_curves(*tilt, path)
    assert path.read_text(encoding="utf-8") == "an older one"
    draw_curves(*tilt, path, force=True)
    assert path.read_bytes().startswith(b"<?xml")


# Names at the ends

rising = st.lists(st.floats(-60, 60), max_size=12).map(sorted)
room = st.floats(0.01, 20)


@settings(deadline=None)
@given(rising, room)
def test_names_are_kept_in_order_and_apart(values: Sequence[float], gap: float) -> None:
    places = spread_apart(values, gap)
    assert len(places) == len(values)
    assert all(b - a >= gap * (1 - 1e-6) - 1e-9 for a, b in pairwise(places))


@settings(deadline=None)
@given(rising, room)
def test_names_are_moved_as_little_as_needed(
    values: Sequence[float], gap: float
) -> None:
    """Least squares: the mean stays, and what stands apart already isn't moved."""
    places = spread_apart(values, gap)
    if values:
        assert np.mean(places) == pytest.approx(np.mean(values), abs=1e-6)
    if all(b - a >= gap for a, b in pairwise(values)):
        assert places == pytest.approx(values, abs=1e-9)


@settings(deadline=None)
@given(rising, room, st.floats(-50, 50))
def test_moving_all_ends_moves_all_names(
    values: Sequence[float], gap: float, shift: float
) -> None:
    moved = spread_apart([value + shift for value in values], gap)
    wanted = [place + shift for place in spread_apart(values, gap)]
    assert moved == pytest.approx(wanted, abs=1e-6)


# Light and dark

BLUE, VERMILION = "#0072b2", "#d55e00"
#: The house's dark colours: paper, A and B.
NIGHT, SKY, ORANGE = "#1c1b19", "#56b4e9", "#e69f00"


def paths_in(svg: bytes) -> list[tuple[list[tuple[float, float]], str]]:
    """Return the points and the style of every line and area that is no letter."""
    found = []
    tree = ET.fromstring(svg)
    outlines = {path for defs in tree.iter(f"{SVG}defs") for path in defs.iter()}
    for path in tree.iter(f"{SVG}path"):
        if path not in outlines:
            places = re.findall(r"[ML] (\S+) (\S+)", path.get("d", ""))
            points = [(float(x), float(y)) for x, y in places]
            found.append((points, path.get("style", "").lower()))
    return found


@pytest.mark.parametrize(
    ("theme", "paper", "a", "b"),
    [(LIGHT, "#ffffff", BLUE, VERMILION), (DARK, NIGHT, SKY, ORANGE)],
    ids=["light", "dark"],
)
def test_curves_and_paper_have_the_colours_of_the_house(
    theme: Theme, paper: str, a: str, b: str
) -> None:
    svg = pair(".svg", theme=theme)
    (sheet, *_) = [style for _, style in paths_in(svg) if style.startswith("fill: #")]
    assert sheet == f"fill: {paper}"
    curves = [(p, style) for p, style in paths_in(svg) if "stroke-width: 1.8" in style]
    colours = [style.partition("stroke: ")[2][:7] for _, style in curves]
    assert colours[1:] == [a, b]
    assert ["dasharray" in style for _, style in curves[1:]] == [False, True]
    pixels = imread(io.BytesIO(pair(".png", theme=theme)))
    wanted = [int(paper[k : k + 2], 16) for k in (1, 3, 5)]
    for corner in pixels[[0, 0, -1, -1], [0, -1, 0, -1], :3]:
        assert np.round(255 * corner).tolist() == wanted


def luminance(colour: str) -> float:
    """Return the relative luminance of WCAG 2.2, where contrast is defined."""
    parts = np.array([int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)])
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
def test_everything_stands_out_from_the_paper(theme: Theme) -> None:
    """WCAG 2.2: 4.5 to 1 for text (1.4.3), 3 to 1 for the curves (1.4.11)."""
    paper = luminance(theme.paper)
    for colour, least in (
        (theme.ink, 4.5),
        (theme.difference, 4.5),
        (theme.a, 3.0),
        (theme.b, 3.0),
    ):
        low, high = sorted([luminance(colour), paper])
        assert (high + 0.05) / (low + 0.05) >= least, colour


@pytest.mark.parametrize("ending", ENDINGS)
@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
def test_a_picture_of_either_theme_is_the_same_bytes_twice(
    ending: str, theme: Theme
) -> None:
    once = pair(ending, theme=theme, tuning="E1 A1 D2 G2")
    assert once == pair(ending, theme=theme, tuning="E1 A1 D2 G2")
    other = DARK if theme is LIGHT else LIGHT
    assert once != pair(ending, theme=other, tuning="E1 A1 D2 G2")


# Where things stand


def place_of(hz: float, svg: bytes) -> float:
    """Return where a frequency lies, by the upright grid lines of 20 Hz and 20 kHz."""
    upright = sorted(
        points[0][0]
        for points, style in paths_in(svg)
        if "stroke-width: 0.6; stroke-linecap: square" in style
        and points[0][0] == points[-1][0]
    )
    share = math.log10(hz / 20) / 3  # three decades
    return upright[0] + share * (upright[-1] - upright[0])


def texts_in(svg: bytes) -> dict[str, tuple[float, float]]:
    """Return where each text begins; its words stand in the comment before it."""
    found = re.findall(
        r"<!-- (.*?) -->\s*<g [^>]*translate\((\S+) (\S+)\)", svg.decode("utf-8")
    )
    return {words: (float(x), float(y)) for words, x, y in found}


@pytest.mark.parametrize(
    ("tuning", "wanted_hz"),
    [
        # equal temperament, A4 at 440 Hz (ISO 16), rounded to 0.01 Hz
        ("E1 A1 D2 G2", [41.20, 55.00, 73.42, 98.00]),
        ("B0 E1 A1 D2 G2", [30.87, 41.20, 55.00, 73.42, 98.00]),
        ("E2 A2 D3 G3 B3 E4", [82.41, 110.00, 146.83, 196.00, 246.94, 329.63]),
    ],
)
@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
def test_the_open_strings_are_marked_where_they_sound(
    tuning: str, wanted_hz: list[float], theme: Theme
) -> None:
    svg = pair(".svg", theme=theme, tuning=tuning)
    (_, frame) = [p for p, style in paths_in(svg) if style.startswith("fill: #")][:2]
    top = min(y for _, y in frame)
    marks = [
        points
        for points, style in paths_in(svg)
        if len(points) == 2
        and points[0][0] == points[1][0]
        and abs(points[0][1] - points[1][1]) < 10
    ]
    places = [points[0][0] for points in marks]
    wanted = [place_of(hz, svg) for hz in wanted_hz]
    # a hundredth of a hertz at 31 Hz is a hundredth of a point of the picture
    assert places == pytest.approx(wanted, abs=0.03)
    for points in marks:
        assert min(y for _, y in points) == pytest.approx(top)
    assert f"stroke: {theme.ink}" in svg.decode("utf-8")


def test_each_string_is_named_over_its_mark() -> None:
    svg = pair(".svg", tuning="E1 A1 D2 G2")
    texts = texts_in(svg)
    for name, hz in (("E1", 41.20), ("A1", 55.00), ("D2", 73.42), ("G2", 98.00)):
        x, y = texts[name]
        assert -8 < x - place_of(hz, svg) < -3  # it begins a letter to the left
        assert texts["as they start"][1] < y < texts["0"][1]


def test_without_a_tuning_nothing_is_marked() -> None:
    assert {"E1", "A1", "D2", "G2"}.isdisjoint(texts_in(pair(".svg")))


@pytest.mark.parametrize("tuning", ["", "E1 A1 D2 G2"])
def test_the_sentence_stands_over_the_curves_and_over_all_other_words(
    tuning: str,
) -> None:
    svg = pair(".svg", tuning=tuning)
    texts = texts_in(svg)
    sentence = texts.pop("B is duller")
    assert sentence[1] < min(y for _, y in texts.values())
    curves = [p for p, style in paths_in(svg) if "stroke-width: 1.8" in style]
    assert sentence[1] < min(y for points in curves for _, y in points)


def test_a_long_sentence_is_broken_and_stays_over_the_curves() -> None:
    svg = pair(".svg", headline="B is duller " * 20)
    texts = texts_in(svg)
    lines = [place for words, place in texts.items() if words.startswith("B is")]
    lines += [place for words, place in texts.items() if words.startswith("duller")]
    curves = [p for p, style in paths_in(svg) if "stroke-width: 1.8" in style]
    assert max(y for _, y in lines) < min(y for points in curves for _, y in points)
