# SPDX-License-Identifier: GPL-3.0-or-later
"""Pictures: the same bytes for the same curves, and names that stand apart."""

import io
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
from tonebench.report.themes import LIGHT, Theme
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
