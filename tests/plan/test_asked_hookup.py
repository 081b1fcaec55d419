# SPDX-License-Identifier: GPL-3.0-or-later
"""Hook-up keys as people write them, read into plain values."""

from pathlib import Path

import pytest
from commands import DIVIDER, VOLUME, drawn

from tonebench.circuit.hookup import Hookup, Pickup
from tonebench.errors import FileFaults, InputError, RequestError
from tonebench.plan.asked_hookup import HOOKUP_KEYS, hookup_from, located

COIL = """
schema = 1
[pickup]
resistance = "5k"
inductance = "3H"
capacitance = "100p"
"""


def test_values_are_read_in_their_units() -> None:
    hookup = hookup_from(
        {
            "source": "4k7",
            "cable": "700p",
            "inner": "30p",
            "load": "1M",
            "load_capacitance": "1n",
            "place": "onboard",
        }
    )
    assert hookup == Hookup(
        source_ohm=4700,
        cable_farad=700e-12,
        inner_farad=30e-12,
        load_ohm=1e6,
        load_farad=1e-9,
        place="onboard",
    )


def test_no_key_asks_for_nothing() -> None:
    assert hookup_from({}) == Hookup()


def test_one_pickup_stands_for_every_input_and_several_for_their_own() -> None:
    one = hookup_from({"pickup": "sedge"}).pickups
    assert [*one] == [""]
    coil = one[""]
    assert isinstance(coil, Pickup)
    assert coil.inductance_henry == 2.2
    each = hookup_from({"pickup": {"neck": "sedge", "bridge": "marram"}}).pickups
    assert {name: pickup.name for name, pickup in each.items()} == {
        "neck": "sedge",
        "bridge": "marram",
    }


def test_neighbours_are_named_with_or_without_settings() -> None:
    plain = hookup_from({"before": "whimbrel"}).before
    assert [n.circuit.name for n in plain] == ["whimbrel"]
    asked = [{"circuit": "tern", "settings": {"tilt": 2}}, "straight"]
    several = hookup_from({"into": asked}).into
    assert [n.circuit.name for n in several] == ["tern", "straight"]
    assert [dict(n.settings) for n in several] == [{"tilt": 2}, {}]


def test_a_file_beside_the_writing_one_is_meant_before_a_shipped_one(
    tmp_path: Path,
) -> None:
    mine = drawn(tmp_path, "tern", DIVIDER)
    (tmp_path / "sedge.toml").write_text(COIL, encoding="utf-8")
    assert located("tern", tmp_path) == mine
    assert located("tern.toml", tmp_path) == mine
    assert located("tern", None) == "tern"
    assert located("plover", tmp_path) == "plover"
    hookup = hookup_from({"before": "tern", "pickup": "sedge"}, tmp_path)
    assert len(hookup.before[0].circuit.parts) == 2
    coil = hookup.pickups[""]
    assert isinstance(coil, Pickup)
    assert coil.inductance_henry == 3


@pytest.mark.parametrize(
    ("key", "value", "told"),
    [
        ("cabel", "700p", "'cabel' is no hook-up key; there are pickup, source"),
        ("cable", "700q", "cable: cannot read '700q' as a component value"),
        ("cable", "4k7Ω", "cable: '4k7Ω' is in Ω, but this value is in F"),
        ("cable", "-1p", "cable must be 0 or more"),
        ("cable", True, "cable: cannot read True"),
        ("source", "-5", "source must be 0 or more"),
        ("inner", "-5p", "inner must be 0 or more"),
        ("load", "0", "load must be above 0 ohm, got 0"),
        ("load", "-1M", "load must be above 0 ohm"),
        ("load_capacitance", "-1n", "load must be 0 or more"),
        ("place", "ceiling", "place must be floor or onboard, got 'ceiling'"),
        ("pickup", 3, "pickup must be a name, a file, or one per input, got 3"),
        ("pickup", {"neck": 3}, "pickup must be a name, a file, or one per input"),
        ("before", {"name": "tern"}, "a neighbour is written { circuit = …"),
        ("before", {"circuit": "tern", "knobs": {}}, "a neighbour is written"),
        ("before", {"circuit": "tern", "settings": 3}, "settings must be a table"),
        ("before", 7, "circuit must be a name or a file, got 7"),
        (
            "into",
            {"circuit": "tern", "settings": {"tillt": 3}},
            "there is no knob or switch 'tillt'; did you mean 'tilt'?",
        ),
        (
            "into",
            {"circuit": "tern", "settings": {"tilt": 11}},
            "tilt: position must be from 0 to 10, got 11",
        ),
    ],
)
def test_what_no_hookup_can_have_is_refused_by_name(
    key: str, value: object, told: str
) -> None:
    with pytest.raises(RequestError) as refused:
        hookup_from({key: value})
    assert told in str(refused.value)
    assert key in str(refused.value)


@pytest.mark.parametrize(
    ("key", "value", "told"),
    [
        ("pickup", "segde", "did you mean 'sedge'?"),
        ("before", "turn", "did you mean 'tern'?"),
        ("pickup", "nowhere.toml", "there is no file 'nowhere.toml'"),
    ],
)
def test_names_of_nothing_are_missing_inputs(key: str, value: str, told: str) -> None:
    with pytest.raises(InputError, match=told.replace("?", r"\?")):
        hookup_from({key: value})


def test_a_neighbours_own_faults_are_told_with_their_lines(tmp_path: Path) -> None:
    drawn(tmp_path, "broken", VOLUME.replace('"90k"', '"-90k"'))
    with pytest.raises(FileFaults) as refused:
        hookup_from({"into": "broken"}, tmp_path)
    (fault,) = refused.value.faults
    assert fault.line == VOLUME[: VOLUME.index("[parts.P1]")].count("\n") + 1
    assert fault.part == "P1"


def test_every_key_is_an_option_of_the_command_line() -> None:
    from tonebench.cli.curves import curves

    options = {parameter.name for parameter in curves.params}
    assert options >= {*HOOKUP_KEYS}
