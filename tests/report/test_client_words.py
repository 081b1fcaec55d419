# SPDX-License-Identifier: GPL-3.0-or-later
"""The words of a pairing: the same as the commands say, found once, or why not."""

from pathlib import Path
from typing import Any

import pytest
from client_pages import Page, comparison, page_of
from commands import asked, tonebench

from tonebench.circuit.circuit import STRAIGHT
from tonebench.circuit.files import read_circuit, read_pickup
from tonebench.circuit.hookup import Hookup
from tonebench.plan.comparison import Side
from tonebench.report import client_words
from tonebench.report.client_words import AskedWords, pair_words
from tonebench.report.drawing import SecondHand

HOOKUP = Hookup({"": read_pickup("sedge")}, cable_farad=700e-12, load_ohm=10e3)
CHAIN = ("--pickup", "sedge", "--cable", "700p", "--load", "10k")
TERN, PLOVER, WHIMBREL = (
    Side(read_circuit(name), HOOKUP) for name in ("tern", "plover", "whimbrel")
)


def test_differences_are_those_that_explain_tells(
    capsys: pytest.CaptureFixture[str],
) -> None:
    (words,) = pair_words([AskedWords(TERN, PLOVER, {"tilt": 7.0}, {})])
    against = ("--set", "tilt=7", "--against", "plover")
    told = asked(capsys, "explain", "tern", *against, *CHAIN)
    assert list(words.differences) == [each["sentence"] for each in told["differences"]]
    assert len(words.differences) >= 2
    assert words.opening.startswith("before matching B is")


def test_the_knobs_are_those_that_traits_tells(
    capsys: pytest.CaptureFixture[str],
) -> None:
    (words,) = pair_words([AskedWords(TERN, WHIMBREL, {}, {})])
    for name, side in (("tern", words.a), ("whimbrel", words.b)):
        assert tonebench("traits", name, *CHAIN) == 0
        told = " ".join(capsys.readouterr().out.split())
        assert side.controls
        for control in side.controls:
            assert " ".join(control) in told
        assert side.title in told


def test_a_side_that_comes_again_is_looked_at_once(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    looked = []
    whole = client_words._side_words

    def counted(side: Side) -> client_words.SideWords:
        looked.append(side)
        return whole(side)

    monkeypatch.setattr(client_words, "_side_words", counted)
    again = Side(read_circuit("tern"), HOOKUP)
    straight = Side(STRAIGHT, HOOKUP)
    first, second = pair_words(
        [AskedWords(TERN, straight, {}, {}), AskedWords(again, again, {}, {"tilt": 9})]
    )
    assert looked == [TERN, straight]
    assert first.b.controls == ()
    assert not first.is_one
    assert second.is_one


def test_sides_that_are_the_same_differ_in_nothing() -> None:
    (words,) = pair_words([AskedWords(TERN, TERN, {}, {})])
    assert words.differences == ()
    assert words.opening == "nothing differs by 1 dB anywhere from 20 Hz to 20 kHz"


def test_a_side_that_is_silent_is_told_and_no_error() -> None:
    (words,) = pair_words([AskedWords(TERN, PLOVER, {}, {"level": 0.0})])
    assert words.differences == ()
    assert words.opening.startswith("why B differs can't be told: ")
    assert "silent" in words.opening
    assert words.b.controls


def test_a_second_process_finds_the_same_words() -> None:
    wanted = [AskedWords(TERN, PLOVER, {}, {})]
    with SecondHand() as hand:
        hand.ask([], wanted)
        assert hand.words() == pair_words(wanted)
        assert hand.pictures() == []


def test_words_stand_in_the_page_as_sentences(tmp_path: Path) -> None:
    manifest: dict[str, Any] = comparison(tmp_path, 480)
    page = Page(page_of(tmp_path, manifest))
    assert page.told("h3").count("What the knobs do") == 2
    assert page.told("h4")[:2] == ["A: Tilt (tern)", "B: Shelf (plover)"]
    lines = page.told("li")
    assert "Treble: B is 10.8\N{NO-BREAK SPACE}dB quieter." in lines
    assert "Tilt: a tilt, against 5." in lines
    assert "B is quieter:" in page.told("p")
    assert "Tilt: a tilt, against 5. At 0: +6.0\N{NO-BREAK SPACE}dB." in page.told("p")
