# SPDX-License-Identifier: GPL-3.0-or-later
"""A table is taken key by key; what is wrong is noted where it stands, and once."""

import math

import pytest

from tonebench.circuit.tables import Findings, Table, in_order
from tonebench.circuit.toml_lines import parse_toml
from tonebench.errors import CircuitError, Fault


def table_of(text: str) -> tuple[Table, list[Fault]]:
    findings = Findings(parse_toml(text, "mine.toml"))
    return Table(findings), findings.faults


def test_keys_of_the_right_type_are_read_without_a_fault() -> None:
    table, faults = table_of(
        'text = "a"\nwords = ["a", "b"]\nflag = true\nnumber = 5\nvalue = "4k7"\n'
        'share = "5%"\nnode = "a"\npair = ["a", "b"]\nkind = "x"\n'
    )
    assert table.text("text") == "a"
    assert table.words("words") == ("a", "b")
    assert table.flag("flag") is True
    assert table.number("number") == 5.0
    assert table.quantity("value", "Ω") == table.maybe("value", "Ω") == 4700
    assert table.share("share") == 0.05
    assert table.node("node") == "a"
    assert table.pair("pair") == ("a", "b")
    assert table.one_of("kind", ["x", "y"]) == "x"
    assert faults == []


def test_keys_that_may_be_left_out_have_defaults() -> None:
    table, faults = table_of("")
    assert table.text("text", "none") == "none"
    assert table.flag("flag") is False
    assert table.number("number") is table.maybe("value", "Ω") is None
    assert table.quantity("value", "Ω", default="1k") == 1000
    assert table.share("share") == 0
    assert table.node("node", "gnd") == "gnd"
    assert table.one_of("kind", ["x", "y"], "y") == "y"
    assert table.inside("inner") is None
    assert list(table.entries("pairings", "pairing")) == []
    assert faults == []


@pytest.mark.parametrize("value", ["5.5", "true", '"a"', "[1]", "{ a = 1 }", "nan"])
def test_a_key_of_the_wrong_type_is_told_and_read_as_a_stand_in(value: str) -> None:
    table, faults = table_of(f"# first\nkey = {value}\n")
    for read in (table.text, table.words, table.flag, table.pair, table.node):
        read("key")
    assert math.isnan(table.quantity("key", "Ω")) or value == "5.5"
    assert {fault.line for fault in faults} == {2}
    assert len(faults) >= 4
    assert all("got" in fault.message for fault in faults[:3])


def test_what_is_made_of_a_table_with_a_fault_is_thrown_away() -> None:
    table, faults = table_of('ohm = "k"\n')
    assert table.build(lambda table: table.quantity("ohm", "Ω")) is None
    assert len(faults) == 1


def test_what_a_value_refuses_is_noted_without_its_name() -> None:
    def refuse(table: Table) -> None:
        raise CircuitError("R1: resistance must be 0 ohm or more")

    table, faults = table_of("[R1]\n")
    inner = table.inside("R1")
    assert inner
    assert inner.build(refuse) is None
    assert [str(fault) for fault in faults] == [
        "mine.toml:1: R1: resistance must be 0 ohm or more"
    ]


def test_a_fault_in_a_table_is_one_in_every_table_around_it() -> None:
    table, _ = table_of("[a.b]\nc = 1\n[a.d]\n")
    outer = table.inside("a")
    assert outer
    inner, sibling = outer.inside("b"), outer.inside("d")
    assert inner
    assert sibling
    inner.fault("wrong", key="c")
    assert [inner.is_sound, outer.is_sound, table.is_sound] == [False] * 3
    assert sibling.is_sound


def test_entries_of_an_array_of_tables_are_told_by_number_and_line() -> None:
    table, faults = table_of('[[pairings]]\nname = "a"\n\n[[pairings]]\nname = 5\n')
    first, second = table.entries("pairings", "pairing")
    assert first.text("name") == "a"
    second.text("name")
    assert [str(fault) for fault in faults] == [
        "mine.toml:5: pairing 2: name must be a text in quotes, got 5"
    ]


def test_faults_of_another_file_keep_their_place() -> None:
    table, faults = table_of("a = 1\n")
    other = Fault("wrong", line=7, file="other.toml")
    table.adopt([other])
    assert faults == [other]
    assert not table.is_sound


def test_faults_are_put_in_the_order_of_their_lines() -> None:
    faults = [Fault("c", line=9), Fault("a"), Fault("b", line=2)]
    assert [fault.message for fault in in_order(faults)] == ["a", "b", "c"]
