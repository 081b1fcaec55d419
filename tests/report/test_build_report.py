# SPDX-License-Identifier: GPL-3.0-or-later
"""The check sheet: words, table, page and values tell the same build."""

import csv
import io
import json
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from tonebench.circuit.circuit import Supply
from tonebench.circuit.controls import Knob
from tonebench.circuit.files import inspect_text, read_circuit
from tonebench.circuit.hookup import Chain, Hookup, join
from tonebench.plan.take_files import read_take_file
from tonebench.report.build_files import build_json, parts_csv
from tonebench.report.build_page import build_page
from tonebench.report.build_words import build_words
from tonebench.report.power_words import reading_sentence
from tonebench.study.battery import KnobLimit, Reading
from tonebench.study.build import Build, build
from tonebench.study.headroom import Headroom


@pytest.fixture(scope="module")
def house() -> Chain:
    from tonebench.circuit.files import read_pickup

    around = Hookup({"": read_pickup("sedge")}, cable_farad=700e-12, load_ohm=10e3)
    return join(read_circuit("plover"), around)


@pytest.fixture(scope="module")
def plover(house: Chain) -> Build:
    take = read_take_file("harbour-low")
    return build(house, {}, builds=200, take=take, battery_v=7.4)


def drawn(text: str) -> Build:
    circuit = inspect_text(text, name="mine").circuit
    assert circuit
    return build(join(circuit), {}, builds=200)


def test_the_sheet_says_what_a_builder_asks(plover: Build) -> None:
    words = build_words(plover)
    heads = ["Parts", "Tolerance", "Noise", "Headroom", "Battery", "Cautions"]
    assert [line for line in words.splitlines() if line in heads] == heads
    assert "plover" in words.splitlines()[0]
    assert words.splitlines()[1] == "sedge → 700 pF lead → plover → 10 kΩ"
    for told in (
        "4 op-amps: 2 duals, or 1 quad.",
        "200 builds with bass 5, bell 5, centre 5, level 10",
        "Worth buying tighter: C6 at 5 %",
        "High-pass at 49 Hz",
        "A-weighted at the output",
        "Harbour low, fingers on a low B comes out at",
        "before an op-amp clips; at 7.2 V 2.1 V",
        "it doesn't clip.",
        "A fresh battery lasts some 110 to 170 hours at 3.6 mA",
        "Soldering:",
        "Mains: never.",
    ):
        assert told in words


def test_figures_are_written_for_people(plover: Build) -> None:
    words = build_words(plover)
    assert not re.search(r"\d[eE][+-]?\d", words)
    assert "nan" not in words
    assert "inf" not in words
    assert "750 mV" in words  # rather than 7.5e+02 mV


def test_the_page_is_one_sound_file_that_needs_nothing_from_outside(
    plover: Build,
) -> None:
    page = build_page(plover)
    opened: list[str] = []
    void = {"meta", "br", "link", "img", "input"}

    class Reader(HTMLParser):
        def handle_starttag(self, tag: str, attrs: object) -> None:
            if tag not in void:
                opened.append(tag)

        def handle_endtag(self, tag: str) -> None:
            assert opened.pop() == tag

    Reader().feed(page)
    assert opened == []
    assert "default-src 'none'" in page
    assert not re.search(r"(https?:|src=|href=|<script|url\()", page)
    assert page == build_page(plover)
    for told in ("prefers-color-scheme: dark", "@media print", "<td>C6</td>", "Mains:"):
        assert told in page


def test_names_from_a_file_can_not_break_the_page() -> None:
    found = drawn(
        'schema = 1\ntitle = "<b>&\\"x\\""\ninput = "in"\noutput = "out"\n[parts]\n'
        'R1 = { resistor = "1k", across = ["in", "out"] }\n'
        'R2 = { resistor = "1k", across = ["out", "gnd"] }\n'
    )
    page = build_page(found)
    assert "<b>" not in page
    assert "&lt;b&gt;&amp;&quot;x&quot;" in page


def test_the_csv_has_a_row_for_every_part(plover: Build) -> None:
    rows = list(csv.DictReader(io.StringIO(parts_csv(plover), newline="")))
    assert [row["designator"] for row in rows] == [line.ref for line in plover.parts]
    c6 = next(row for row in rows if row["designator"] == "C6")
    assert c6["code"] == "470n"
    assert float(c6["value"]) == 470e-9
    assert (c6["unit"], c6["tolerance_percent"], c6["series"]) == ("F", "10.0", "E3")
    assert c6["nearest_sold"] == ""


def test_the_values_are_json_without_nan(plover: Build) -> None:
    values = json.loads(json.dumps(build_json(plover), allow_nan=False))
    assert values["schema"] == 1
    assert values["circuit"] == "plover"
    assert len(values["tolerance"]["drawn_db"]) == 500
    assert values["tolerance"]["parts"][0]["refs"] == ["C6"]
    assert values["noise"]["as_set"]["a_weighted_v"] > 0
    assert values["headroom"]["as_set"]["swing_v"] == pytest.approx(3.0)
    assert values["battery"]["reading"]["state"] in ("fine", "loudest", "change")
    assert values["take"]["name"] == "harbour-low"
    assert len(values["cautions"]) == 4


def test_a_passive_circuit_has_no_battery_and_fewer_cautions(
    with_pickup: Hookup,
) -> None:
    found = build(join(read_circuit("dunlin"), with_pickup), {}, builds=200)
    words = build_words(found)
    assert "Nothing in it clips: there is no op-amp." in words
    assert "Battery" not in words
    assert "Mains" not in words
    assert build_json(found)["headroom"] is None


def test_op_amps_without_a_supply_are_said_to_be_unknown() -> None:
    found = drawn(
        'schema = 1\ninput = "in"\noutput = "out"\n[parts]\n'
        'R1 = { resistor = "5k", across = ["in", "a"] }\n'
        'R2 = { resistor = "9k1", across = ["a", "gnd"] }\n'
        'U1 = { opamp = "generic", plus = "a", minus = "out", out = "out" }\n'
    )
    words = build_words(found)
    assert "The file has no [supply], so where its op-amps clip isn't known." in words
    assert "R1: 5 kΩ isn't sold; the nearest is 5.1 kΩ, which makes −0.1 dB at" in words
    assert "Mains: never." in words


# What a reading of the battery is told as

GAIN, BASS = Knob("gain", "Gain"), Knob("bass")
HERE = Headroom({}, 1.5, "U1", 100.0, 2.0)


def reading(
    state: str,
    now: tuple[KnobLimit, ...] = (),
    fresh: tuple[KnobLimit, ...] = (),
    **more: object,
) -> str:
    found = Reading(7.4, state, HERE, 1.0, now, fresh, False)  # type: ignore[arg-type]
    return reading_sentence(replace(found, **more))


def test_a_reading_is_told_in_one_sentence() -> None:
    loud = "the loudest notes (1 V at the jack)"
    above_7 = KnobLimit(GAIN, 7.2, True)
    assert reading("fine") == f"7.4 V: fine, no knob makes {loud} clip."
    assert reading("loudest", (above_7,)) == (
        f"7.4 V: clips only on {loud}, with Gain above 7; a fresh battery wouldn't."
    )
    both = above_7, KnobLimit(BASS, 2.3, False)
    assert reading("loudest", both, (KnobLimit(GAIN, 9.6, True),)) == (
        f"7.4 V: clips only on {loud}, with Gain above 7 or bass below 2½; with a "
        "fresh battery Gain above 9½."
    )
    assert reading("loudest", both, both).endswith(", as with a fresh battery.")
    assert reading("change", is_flat=True) == "7.4 V: change it, it is flat."
    clips = reading("change", headroom=replace(HERE, jack_v=0.41))
    assert clips == (
        "7.4 V: change it, it clips from 410 mV at the jack with the knobs as they "
        f"are, and {loud} do that."
    )
    of_take = reading("fine", is_of_take=True)
    assert of_take == (
        "7.4 V: fine, no knob makes the loudest notes of this take clip."
    )
    dead = reading("change", headroom=replace(HERE, jack_v=0.0))
    assert dead == "7.4 V: change it, U1 has no room left at all."


def test_a_tired_battery_is_told_beside_the_fresh_one() -> None:
    circuit = read_circuit("tern")
    half = replace(circuit, supply=Supply(18.0, 9.0))
    words = build_words(build(join(half), {}, builds=200))
    assert "at 14.4 V" in words  # 80 % of 18 V
