# SPDX-License-Identifier: GPL-3.0-or-later
"""Every key of a TOML text has its line; a text that is none has a fault and a hint."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tonebench.circuit.toml_lines import Key, parse_toml, read_toml
from tonebench.errors import FileFaults, InputError

NUMBERED = Path(__file__).with_name("numbered_lines.toml")


def keys_of(value: object, key: Key = ()) -> Iterator[Key]:
    match value:
        case dict():
            for word, inner in value.items():
                yield (*key, word)
                yield from keys_of(inner, (*key, word))
        case list():
            for place, inner in enumerate(value):
                yield (*key, place)
                yield from keys_of(inner, (*key, place))


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_every_key_has_the_line_it_stands_on(line_end: str) -> None:
    text = parse_toml(NUMBERED.read_text(encoding="utf-8").replace("\n", line_end))
    assert set(text.lines) == set(keys_of(text.data))
    for key, line in text.lines.items():
        if isinstance(key[-1], str):  # the file's keys carry their numbers
            number = re.match(r"k(\d+)", key[-1])
            assert number
            assert line == int(number[1]), key


def test_the_entries_of_a_list_have_lines_too() -> None:
    text = parse_toml(NUMBERED.read_text(encoding="utf-8"))
    assert [text.lines["k6", place] for place in range(4)] == [7, 9, 10, 12]
    assert [text.lines["k24", place] for place in range(2)] == [24, 28]


def test_a_key_that_is_not_there_has_the_line_of_what_is_around_it() -> None:
    text = parse_toml("schema = 1\n[parts]\nR1 = { resistor = 1 }\n")
    assert text.line("parts", "R1", "across") == 3
    assert text.line("parts", "R2") == 2
    assert text.line("knobs") is None


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("a = 4k7", 1, 'values with letters need quotes: "4k7"'),
        ("a = 4.7k # ohm", 1, 'values with letters need quotes: "4.7k"'),
        ("a = { b = 1, c = 22n }", 1, 'values with letters need quotes: "22n"'),
        ("a = { b = true, c = µ1 }", 1, 'values with letters need quotes: "µ1"'),
        ("a = 4,7", 1, "use a decimal point: 4.7"),
        ("a = 4,7k", 1, 'use a decimal point, and quotes: "4.7k"'),
        ("a = .047", 1, "a number starts with a digit: 0.047"),
        ("a = True", 1, "write true or false in small letters"),
        ("a = “4k7”", 1, 'use straight quotes: "4k7"'),
        ("\n\na: 5", 3, "write = between a key and its value"),
        ("R1' = 5", 1, "needs quotes"),
        ("Rµ = 5", 1, "needs quotes"),
        ('a = "b\nc = 1', 1, "is a quote still open?"),
        ("[parts\na = 1", 1, "is the closing ] missing?"),
        ('a = { b = ["in", out] }', 1, 'names of nodes need quotes: "out"'),
        ("a = { b = 1, }", 1, "no comma before the closing brace"),
        ("a = { b = 1,\nc = 2 }", 1, "everything from { to } belongs on one line"),
        ('a = ["in" "out"]', 1, "is a comma missing?"),
        ("a = [1,\n2\nb = 3", 3, "a comma or a closing ] is missing"),
        ("a = 1\n= 2", 2, "a line starts with a key or a [table]"),
        ("a = \nb = 1", 1, "a value is missing or can't be read"),
        ("a b = 1", 1, "a key and = must stand here"),
        ("a = 1;", 1, "something more stands behind the value"),
        ("b = 1\na = [\n1,\n\n", 3, "is a bracket or a quote still open?"),
        ('a = """\nb', 2, "is a bracket or a quote still open?"),
        ("a = 1\nb = 2\na = 3", 3, "'a' is there twice; it is first on line 1"),
        ("[a.b]\n[c]\n[a.b] # again", 3, "'a.b' is there twice; it is first on line 1"),
        ("a = { b = 1, b = 2 }", 1, "'b' is there twice in 'a'"),
        ("[a]\nb = 1\n[a.b]", 3, "'a.b' is there twice"),
        ("a = " + "[" * 5000, 1, "brackets are nested too deeply"),
        ("a = " + "9" * 5000, None, "a whole number is too large"),
        ("a = [{ b = 9223372036854775808 }]", None, "a whole number is too large"),
        ("a = 1\n\x1c", 2, "a line starts with a key"),
        ("a = 1\x00", 1, "something more stands behind the value"),
    ],
)
def test_a_text_that_is_no_toml_has_a_fault_with_its_line_and_a_hint(
    text: str, line: int | None, words: str
) -> None:
    with pytest.raises(FileFaults) as caught:
        parse_toml(text, "mine.toml")
    (fault,) = caught.value.faults
    assert words in f"{fault.message}; {fault.hint}"
    assert fault.line in (line, None) if "nested" in words else fault.line == line
    assert fault.file == "mine.toml"
    assert str(fault).startswith("mine.toml")


def test_a_long_line_is_shown_in_part() -> None:
    with pytest.raises(FileFaults) as caught:
        parse_toml("a = { " + "b = 4k7, " * 100 + "}")
    (fault,) = caught.value.faults
    assert fault.message.endswith(" …'")
    assert len(fault.message) < 100


# -- files -----------------------------------------------------------------------------


def test_a_byte_order_mark_is_no_part_of_the_text(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes(b"\xef\xbb\xbfschema = 1\n")
    assert read_toml(path).data == {"schema": 1}


def test_a_text_that_is_not_utf8_is_told_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes("schema = 1\ntitle = 'Höhen'\n".encode("latin-1"))
    with pytest.raises(FileFaults) as caught:
        read_toml(path)
    said = f"{path}:2: this is not UTF-8 text; save the file as UTF-8"
    assert str(caught.value) == said


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"there is no file '.*mine\.toml'"):
        read_toml(tmp_path / "mine.toml")


@pytest.mark.parametrize("content", ["", " \n\t\n", "\r\n"])
def test_an_empty_file_is_told(tmp_path: Path, content: str) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(content, newline="")
    with pytest.raises(InputError, match="is empty"):
        read_toml(path)


def test_a_folder_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is a folder, not a file"):
        read_toml(tmp_path)


def test_a_file_that_is_no_text_file_is_not_read_whole(tmp_path: Path) -> None:
    path = tmp_path / "take.wav"
    path.write_bytes(b" " * 1_000_001)
    with pytest.raises(InputError, match="is too large for a text file"):
        read_toml(path)


@pytest.mark.parametrize("name", ["a\0b", "x" * 1000])
def test_a_name_that_no_file_can_have_is_an_input_error(
    tmp_path: Path, name: str
) -> None:
    with pytest.raises(InputError, match="cannot read"):
        read_toml(tmp_path / name)
