# SPDX-License-Identifier: GPL-3.0-or-later
"""What is shipped, as it is listed."""

from tonebench.plan.shelf import shelf, shelf_words
from tonebench.shipped import names


def test_all_that_is_shipped_is_on_the_shelf_with_a_title() -> None:
    found = shelf()
    assert set(found) == {"circuit", "pickup", "take", "comparison"}
    assert [e["name"] for e in found["circuit"]] == [*names("circuit")]
    assert [e["name"] for e in found["pickup"]] == [*names("pickup")]
    assert [e["name"] for e in found["take"]] == [*names("take")]
    assert [e["name"] for e in found["comparison"]] == [*names("comparison")]
    for entries in found.values():
        assert entries
        assert all(entry["title"].strip() for entry in entries)


def test_the_list_has_a_line_for_everything() -> None:
    found = shelf()
    lines = shelf_words(found).splitlines()
    for entries in found.values():
        for entry in entries:
            told = [x for x in lines if x.split()[:1] == [entry["name"]]]
            assert len(told) == 1
            assert told[0].endswith(entry["title"])
    assert lines[-1].startswith("straight ")
