# SPDX-License-Identifier: GPL-3.0-or-later
"""Pictures of bands, maps, notes and takes: the same bytes, on any paper or none."""

import io
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from matplotlib.image import imread

from tonebench.circuit.files import read_circuit
from tonebench.circuit.hookup import Chain, Hookup, join
from tonebench.errors import OutputError, RequestError
from tonebench.plan.take_files import read_take_file
from tonebench.report.canvas import Line, Look, curve_picture
from tonebench.report.notes_files import draw_notes
from tonebench.report.plots import draw_curves
from tonebench.report.plots_map import draw_feature_map
from tonebench.report.plots_spread import draw_spread
from tonebench.report.themes import DARK, LIGHT
from tonebench.study.bands import band_levels
from tonebench.study.curves import curves, family
from tonebench.study.feature_map import feature_map
from tonebench.study.harmonics import note_levels
from tonebench.study.spread import spread
from tonebench.study.tolerance import tolerances

Draw = Callable[[Path, Look], None]
LOOKS = {"light": Look(LIGHT), "dark": Look(DARK), "none": Look(DARK, True)}


@pytest.fixture(scope="module")
def drawers() -> dict[str, Draw]:
    """Return what draws each kind of picture, its figures reckoned once."""
    plover = join(read_circuit("plover"), Hookup(source_ohm=6e3, load_ohm=10e3))
    tern = join(read_circuit("tern"), Hookup(source_ohm=6e3))
    band = spread(plover, {}, tolerances(plover.circuit), builds=200)
    bell = feature_map(plover, "bell", {})
    sides: list[tuple[Chain, dict[str, float]]] = [(tern, {}), (plover, {})]
    notes = note_levels(["B0"], sides)
    take = band_levels(read_take_file("harbour-low"), sides)
    chains = [chain for chain, _ in sides]
    tilts = curves(tern, family(tern, ["tilt"], {}))
    return {
        "band": lambda p, k: draw_spread(plover, band, p, "how far apart", look=k),
        "map": lambda p, k: draw_feature_map(plover, bell, p, look=k),
        "note": lambda p, k: draw_notes(chains, notes, None, "", p, k),
        "take": lambda p, k: draw_notes(chains, (), take, "A low line", p, k),
        "family": lambda p, k: draw_curves(tern, tilts, p, ["tilt"], look=k),
    }


KINDS = ["band", "map", "note", "take", "family"]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("ending", [".svg", ".png"])
def test_a_picture_is_the_same_bytes_twice(
    tmp_path: Path, drawers: dict[str, Draw], kind: str, ending: str
) -> None:
    one, two = (tmp_path / f"{name}{ending}" for name in ("one", "two"))
    for path in (one, two):
        drawers[kind](path, Look(DARK, ending == ".png"))
    assert one.read_bytes() == two.read_bytes()
    if ending == ".svg":
        text = one.read_text(encoding="utf-8")
        ET.fromstring(text)
        assert "dc:date" not in text


@pytest.mark.parametrize("look", LOOKS.values(), ids=LOOKS)
@pytest.mark.parametrize("kind", KINDS)
def test_paper_is_light_dark_or_not_there(
    tmp_path: Path, drawers: dict[str, Draw], kind: str, look: Look
) -> None:
    path = tmp_path / "picture.png"
    drawers[kind](path, look)
    pixels = imread(io.BytesIO(path.read_bytes()))
    corner = pixels[0, 0]
    if look.is_transparent:
        assert pixels.shape == (1080, 1920, 4)  # a frame of full HD video
        assert corner[3] == 0
        assert pixels[..., 3].max() == 1
        assert 0.03 < np.mean(pixels[..., 3] > 0.5) < 0.9
    else:
        paper = [int(look.theme.paper[k : k + 2], 16) / 255 for k in (1, 3, 5)]
        assert corner[:3] == pytest.approx(paper, abs=0.01)


def test_words_can_be_read_over_light_and_over_dark_footage(
    tmp_path: Path, drawers: dict[str, Draw]
) -> None:
    """A rim of the other lightness goes round what is drawn without paper."""
    for theme in (LIGHT, DARK):
        path = tmp_path / f"{theme.paper[1:]}.png"
        drawers["band"](path, Look(theme, True))
        pixels = imread(io.BytesIO(path.read_bytes()))
        solid = pixels[pixels[..., 3] > 0.9][:, :3].mean(axis=1)
        assert solid.min() < 0.25
        assert solid.max() > 0.85


@pytest.mark.parametrize("kind", KINDS)
def test_other_endings_and_files_that_exist_are_refused(
    tmp_path: Path, drawers: dict[str, Draw], kind: str
) -> None:
    with pytest.raises(RequestError, match=r"must end in \.svg, \.png or \.pdf"):
        drawers[kind](tmp_path / "picture.gif", Look())
    path = tmp_path / "picture.svg"
    path.write_text("an older one", encoding="utf-8")
    with pytest.raises(OutputError, match="exists already"):
        drawers[kind](path, Look())
    assert path.read_text(encoding="utf-8") == "an older one"


def test_a_and_b_are_told_apart_without_colour(
    tmp_path: Path, drawers: dict[str, Draw]
) -> None:
    """A note's A is solid with discs, B dashed with squares."""
    path = tmp_path / "note.svg"
    drawers["note"](path, Look())
    text = path.read_text(encoding="utf-8").lower()
    styles = re.findall(r'style="([^"]*stroke-width: 0\.9[^"]*)"', text)
    a = [style for style in styles if "stroke: #0072b2" in style]
    b = [style for style in styles if "stroke: #d55e00" in style]
    assert a
    assert not any("dasharray" in style for style in a)
    assert b
    assert all("dasharray" in style for style in b)


def test_a_picture_of_two_things_is_refused(tmp_path: Path) -> None:
    chain = join(read_circuit("tern"), Hookup(source_ohm=1e3))
    notes = note_levels(["B0", "E1"], [(chain, {})])
    with pytest.raises(RequestError, match="one note, or one take"):
        draw_notes([chain], notes, None, "", tmp_path / "notes.svg", Look())


def test_names_stand_apart_on_axes_that_are_low(
    tmp_path: Path, drawers: dict[str, Draw]
) -> None:
    path = tmp_path / "band.svg"
    drawers["band"](path, Look())
    words = " ".join(re.findall(r"<!-- (.*?) -->", path.read_text(encoding="utf-8")))
    for name in ("very worst", "nine of ten", "as drawn"):
        assert words.count(name) == 2  # on both axes


def test_silence_and_no_line_at_all_are_drawn_as_nothing() -> None:
    hz = np.geomspace(20, 20_000, 20)
    silent: Line = (hz, np.full(20, -np.inf), "silent", LIGHT.a, "-")
    assert curve_picture([silent], "x", (), "dB", ".svg").startswith(b"<?xml")
