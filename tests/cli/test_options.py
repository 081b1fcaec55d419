# SPDX-License-Identifier: GPL-3.0-or-later
"""Options that several commands share, as texts and as what they mean."""

import sys

import click
import pytest
from commands import tonebench

from tonebench.cli import cli
from tonebench.cli.options import assignments, hookup_keys, read_chain
from tonebench.cli.progress import shown_progress
from tonebench.errors import RequestError


def test_assignments_are_names_and_values() -> None:
    given = ["bass=7.5", " range = high ", "x=a=b"]
    found = assignments(given, "--set bass=7.5")
    assert found == {"bass": "7.5", "range": "high", "x": "a=b"}
    assert assignments([], "") == {}


@pytest.mark.parametrize("text", ["bass", "=5", "bass=", " = ", ""])
def test_half_an_assignment_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(RequestError, match="write it like --set bass=7"):
        assignments([text], "--set bass=7.5")


def test_hookup_options_that_were_not_given_ask_for_nothing() -> None:
    nothing: dict[str, object] = {"pickup": (), "cable": None, "before": (), "x": 1}
    assert hookup_keys(nothing) == {}


@pytest.mark.parametrize(
    ("texts", "meant"),
    [
        (("sedge",), "sedge"),
        (("neck=sedge",), {"neck": "sedge"}),
        (("neck=sedge", "bridge=marram"), {"neck": "sedge", "bridge": "marram"}),
    ],
)
def test_a_pickup_is_one_name_or_one_per_input(
    texts: tuple[str, ...], meant: object
) -> None:
    assert hookup_keys({"pickup": texts}) == {"pickup": meant}


def test_two_pickups_without_their_inputs_are_refused() -> None:
    with pytest.raises(RequestError, match="--pickup neck=sedge"):
        hookup_keys({"pickup": ("sedge", "marram")})


def test_a_chain_is_said_in_the_order_of_the_signal() -> None:
    options = {
        "pickup": ("sedge",), "cable": "700p", "load": "1M",
        "before": ("whimbrel",), "into": ("plover", "straight"),
    }  # fmt: skip
    assert read_chain("tern", options).line == (
        "sedge → whimbrel → 700 pF lead → tern → plover → straight → 1 MΩ"
    )


@pytest.mark.parametrize("name", sorted(cli.commands))
def test_every_command_explains_itself_and_each_of_its_options(
    capsys: pytest.CaptureFixture[str], name: str
) -> None:
    assert tonebench(name, "--help") == 0
    text = capsys.readouterr().out
    assert f"Usage: tonebench {name}" in text
    for parameter in cli.commands[name].params:
        if isinstance(parameter, click.Option):
            assert parameter.help
            assert parameter.opts[-1] in text


def test_help_and_version_end_with_0(capsys: pytest.CaptureFixture[str]) -> None:
    assert tonebench("--help") == 0
    out = capsys.readouterr().out
    for code in ("0 done", "1 ran", "2 usage", "6 output", "130 interrupted"):
        assert code in out
    assert tonebench("--version") == 0
    assert capsys.readouterr().out.startswith("tonebench ")


# Progress


def counted(capsys: pytest.CaptureFixture[str], *, quiet: bool = False) -> str:
    """Return what stands on stderr after a thousand steps."""
    with shown_progress("rendering", quiet=quiet) as tell:
        for k in range(1001):
            tell(k / 1000)
    out, err = capsys.readouterr()
    assert out == ""
    return err


def test_progress_counts_up_for_people_and_cleans_up(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    shown = counted(capsys)
    steps = shown.split("\r")
    assert steps[1] == "rendering   0 %"
    assert steps[101] == "rendering 100 %"  # each percent once
    assert steps[102].strip() == ""
    assert shown.endswith("\r")


@pytest.mark.parametrize("is_terminal", [True, False])
def test_progress_says_nothing_to_programs(
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    is_terminal: bool,
) -> None:
    monkeypatch.setattr(sys.stderr, "isatty", lambda: is_terminal)
    assert counted(capsys, quiet=is_terminal) == ""
