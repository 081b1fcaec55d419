# SPDX-License-Identifier: GPL-3.0-or-later
"""Shipped files are found by name, in a wheel as in a checkout."""

from pathlib import Path

import pytest

from tonebench import shipped
from tonebench.errors import InputError


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A checkout with two circuits and a take, and an empty current folder."""
    for name in ("circuits/tern.toml", "circuits/plover.toml", "pickups/sedge.toml"):
        file = tmp_path / "checkout/presets" / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.touch()
    (tmp_path / "checkout/demo_audio").mkdir()
    (tmp_path / "checkout/demo_audio/harbour-walk.flac").touch()
    (tmp_path / "here").mkdir()
    monkeypatch.setattr(shipped, "_PACKAGE", tmp_path / "checkout/tonebench")
    monkeypatch.chdir(tmp_path / "here")
    return tmp_path / "checkout"


def test_in_a_checkout_shipped_folders_lie_beside_the_package(house: Path) -> None:
    assert shipped.shipped_folder("presets") == house / "presets"


def test_in_a_wheel_shipped_folders_lie_inside_the_package(house: Path) -> None:
    (house / "tonebench/presets").mkdir(parents=True)
    assert shipped.shipped_folder("presets") == house / "tonebench/presets"


def test_names_are_listed_in_order_by_kind(house: Path) -> None:
    assert shipped.names("circuit") == ("plover", "tern")
    assert shipped.names("pickup") == ("sedge",)
    assert shipped.names("comparison") == ()
    assert shipped.names("take") == ("harbour-walk",)


def test_a_bare_name_is_a_shipped_file(house: Path) -> None:
    assert shipped.find("tern", "circuit") == house / "presets/circuits/tern.toml"
    take = house / "demo_audio/harbour-walk.flac"
    assert shipped.find("harbour-walk", "take") == take


def test_a_shipped_file_goes_before_one_of_that_name_here(house: Path) -> None:
    Path("tern.toml").touch()
    assert shipped.find("tern", "circuit") == house / "presets/circuits/tern.toml"
    assert shipped.find("tern.toml", "circuit") == Path("tern.toml")


@pytest.mark.parametrize("file", ["mine", "mine.toml"])
def test_a_bare_name_that_is_not_shipped_is_a_file_here(house: Path, file: str) -> None:
    Path(file).touch()
    assert shipped.find("mine", "circuit") == Path(file)


def test_a_folder_here_is_not_the_file_that_is_meant(house: Path) -> None:
    Path("mine").mkdir()
    Path("mine.toml").touch()
    assert shipped.find("mine", "circuit") == Path("mine.toml")


@pytest.mark.parametrize("text", ["old/tern", "old\\tern", "tern.toml", "./tern"])
def test_a_text_with_a_folder_or_suffix_is_a_path(house: Path, text: str) -> None:
    assert shipped.find(text, "circuit") == Path(text)


def test_a_path_is_never_looked_up(house: Path) -> None:
    assert shipped.find(Path("tern"), "circuit") == Path("tern")


def test_an_unknown_name_offers_the_nearest_and_lists_all(house: Path) -> None:
    with pytest.raises(InputError) as caught:
        shipped.find("Tren", "circuit")
    assert str(caught.value) == (
        "there is no circuit 'Tren' here or among the shipped ones; "
        "did you mean 'tern'? shipped: plover, tern"
    )


def test_an_unknown_name_is_told_even_if_nothing_is_shipped(house: Path) -> None:
    with pytest.raises(InputError, match=r"'stage' here .*; none are shipped"):
        shipped.find("stage", "comparison")


@pytest.mark.parametrize("text", ["", "x" * 1000, "a\0b"])
def test_a_name_that_no_file_can_have_is_an_input_error(house: Path, text: str) -> None:
    with pytest.raises(InputError):
        shipped.find(text, "circuit")
