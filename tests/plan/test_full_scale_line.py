# SPDX-License-Identifier: GPL-3.0-or-later
"""A full scale put into take files: nothing else of them changes."""

import tomllib
from pathlib import Path

import pytest
from sounds import sine, write_float

from tonebench.errors import FileFaults, InputError, OutputError, RequestError
from tonebench.plan.full_scale_line import write_full_scale
from tonebench.plan.take_files import read_take_file

OLD = """# what I know
schema = 1
audio = "mine.wav"   # the long one
title = "Mine, \\"fingers\\""

tuning = "E1 A1"

[recorded]   # the desk
pickup = "sedge"
cable = "700p"
"""


@pytest.fixture
def take(tmp_path: Path) -> Path:
    return write_float(tmp_path / "mine.wav", sine(100, 0.1))


def file_of(take: Path, text: str) -> Path:
    path = take.with_name("mine.take.toml")
    path.write_bytes(text.encode())
    return path


def test_a_take_without_a_file_gets_one(take: Path) -> None:
    path = take.with_name("mine.take.toml")
    assert write_full_scale("2.75V", [str(take)]) == (path,)
    assert path.read_text() == 'schema = 1\naudio = "mine.wav"\nfull_scale = "2.75V"\n'
    assert read_take_file(take).full_scale_v == 2.75


def test_any_name_of_a_recording_can_stand_in_its_file(tmp_path: Path) -> None:
    take = write_float(tmp_path / 'mine "two" – ö.wav', sine(100, 0.1))
    write_full_scale("2.75V", [str(take)])
    assert read_take_file(take).full_scale_v == 2.75


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_a_file_that_says_nothing_of_it_gets_one_line_more(
    take: Path, end: str
) -> None:
    path = file_of(take, OLD.replace("\n", end))
    assert write_full_scale("2.75V", [str(take)]) == (path,)
    lines = OLD.splitlines()
    lines.insert(3, 'full_scale = "2.75V"')
    assert path.read_bytes().decode() == end.join([*lines, ""])


def test_another_value_is_replaced_by_force_alone(take: Path) -> None:
    said = OLD.replace("title", "full_scale = '+8dBu' # last year\ntitle")
    path = file_of(take, said)
    with pytest.raises(OutputError, match=r"says full_scale = 2\.7516 V already"):
        write_full_scale("4V", [str(take)])
    assert path.read_text() == said
    assert write_full_scale("4V", [str(take)], force=True) == (path,)
    assert path.read_text() == said.replace("'+8dBu'", '"4V"')


def test_the_same_value_is_left_as_it_stands(take: Path) -> None:
    said = OLD.replace("title", 'full_scale = "+8dBu"\ntitle')
    path = file_of(take, said)
    assert write_full_scale("2.7516V", [str(take)]) == ()
    assert path.read_text() == said


def test_a_file_may_be_named_itself(take: Path) -> None:
    path = take.with_name("other.take.toml")
    path.write_text(OLD)
    assert write_full_scale("2V", [str(path)]) == (path,)
    assert tomllib.loads(path.read_text())["full_scale"] == "2V"
    assert not take.with_name("mine.take.toml").exists()


def test_nothing_is_written_where_one_of_several_is_refused(
    tmp_path: Path, take: Path
) -> None:
    other = write_float(tmp_path / "other.wav", sine(100, 0.1))
    file_of(take, OLD.replace("title", 'full_scale = "1V"\ntitle'))
    with pytest.raises(OutputError):
        write_full_scale("4V", [str(other), str(take)])
    assert not (tmp_path / "other.take.toml").exists()


@pytest.mark.parametrize(
    "text",
    [
        OLD.replace("title =", 'full_scale = """\n1V"""\ntitle ='),
        OLD.replace("title =", 'note = """\nfull_scale = "1V"\n"""\ntitle ='),
    ],
)
def test_a_text_that_cannot_be_changed_safely_is_left_alone(
    take: Path, text: str
) -> None:
    path = file_of(take, text)
    with pytest.raises((OutputError, FileFaults)):
        write_full_scale("4V", [str(take)], force=True)
    assert path.read_text() == text


def test_a_shipped_take_a_missing_one_and_a_faulty_file_are_refused(
    take: Path,
) -> None:
    with pytest.raises(RequestError, match="harbour-walk comes with tonebench"):
        write_full_scale("4V", ["harbour-walk"])
    with pytest.raises(InputError, match="no such file"):
        write_full_scale("4V", [str(take.with_name("none.wav"))])
    file_of(take, "schema = 1\n")
    with pytest.raises(FileFaults, match="audio is missing"):
        write_full_scale("4V", [str(take)])
