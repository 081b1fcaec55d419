# SPDX-License-Identifier: GPL-3.0-or-later
"""Nothing appears half, and nothing that stands there is lost."""

import errno
import os
import resource
import subprocess
import sys
from pathlib import Path

import pytest
from clip_helpers import names_in

from tonebench.audio.clip_files import ClipWriter
from tonebench.audio.outputs import (
    check_new_file,
    is_same_file,
    sha256_of,
    whole_file,
    write_whole,
)
from tonebench.errors import InputError, OutputError


def test_a_folder_that_is_missing_is_told(tmp_path):
    with pytest.raises(OutputError, match=r"its folder '.*none' doesn't exist; make"):
        check_new_file(tmp_path / "none" / "x.json")
    (tmp_path / "file").touch()
    with pytest.raises(OutputError, match="doesn't exist"):
        check_new_file(tmp_path / "file" / "x.json")


def test_a_folder_that_cannot_be_written_is_told(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "access", lambda *_: False)  # an administrator may always
    with pytest.raises(OutputError, match=r"its folder '.*' can't be written; choose"):
        check_new_file(tmp_path / "x.json")


@pytest.mark.parametrize("force", [False, True])
def test_folders_and_devices_are_never_replaced(tmp_path, force):
    with pytest.raises(OutputError, match="is a folder"):
        check_new_file(tmp_path, force)
    (tmp_path / "null.wav").symlink_to(os.devnull)
    with pytest.raises(OutputError, match="is not an ordinary file"):
        check_new_file(tmp_path / "null.wav", force)


def test_a_new_place_and_a_forced_one_are_fine(tmp_path):
    check_new_file(tmp_path / "x.json")
    (tmp_path / "x.json").touch()
    check_new_file(tmp_path / "x.json", force=True)
    with pytest.raises(OutputError, match="exists already"):
        check_new_file(tmp_path / "x.json")


def test_a_small_file_is_written_whole(tmp_path):
    write_whole(tmp_path / "x.json", b"one")
    with pytest.raises(OutputError, match="exists already"):
        write_whole(tmp_path / "x.json", b"two")
    assert (tmp_path / "x.json").read_bytes() == b"one"
    write_whole(tmp_path / "x.json", b"three", force=True)
    assert (tmp_path / "x.json").read_bytes() == b"three"
    assert names_in(tmp_path) == ["x.json"]


def test_a_file_has_its_name_only_once_it_is_whole(tmp_path):
    with whole_file(tmp_path / "x.svg") as part:
        assert names_in(tmp_path) == [f".x.svg.part-{os.getpid()}"] == [part.name]
        part.write_bytes(b"<svg/>")
    assert names_in(tmp_path) == ["x.svg"]
    assert (tmp_path / "x.svg").read_bytes() == b"<svg/>"


@pytest.mark.parametrize("error", [KeyboardInterrupt, SystemExit, FileNotFoundError])
def test_a_file_that_is_broken_off_leaves_the_one_it_would_replace(tmp_path, error):
    def break_off() -> None:
        with whole_file(tmp_path / "x.svg", force=True) as part:
            part.write_bytes(b"new")
            raise error("mine")

    (tmp_path / "x.svg").write_bytes(b"old")
    with pytest.raises(error, match=r"^mine$"):
        break_off()
    assert names_in(tmp_path) == ["x.svg"]
    assert (tmp_path / "x.svg").read_bytes() == b"old"


@pytest.mark.parametrize(
    ("number", "told"),
    [(errno.ENOSPC, "the disk is full"), (errno.EROFS, "Read-only file system")],
)
def test_what_the_system_says_becomes_one_sentence(tmp_path, monkeypatch, number, told):
    def refuse(path: Path, data: bytes) -> None:
        path.touch()
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(Path, "write_bytes", refuse)
    with pytest.raises(OutputError, match=f"can't be written .{told}.; choose another"):
        write_whole(tmp_path / "x.json", b"text")
    with (
        pytest.raises(OutputError, match=f"can't be written .{told}.; choose another"),
        ClipWriter(tmp_path / "x.wav", 48000, 1),
    ):
        pass
    assert names_in(tmp_path) == []


def test_a_disk_that_fills_up_is_told(tmp_path):
    # a limit on the size of files stands in for the full disk
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100, limits[1]))
    try:
        with pytest.raises(OutputError, match=r"can't be written \(File too large\)"):
            write_whole(tmp_path / "x.json", bytes(1000))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert names_in(tmp_path) == []


def test_a_hash_is_the_one_of_the_standard(tmp_path):
    # FIPS 180-4, the example "abc"
    (tmp_path / "abc").write_bytes(b"abc")
    assert sha256_of(tmp_path / "abc") == (
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )


def test_a_hash_of_a_missing_file_is_refused(tmp_path):
    with pytest.raises(InputError, match="can't be read"):
        sha256_of(tmp_path / "none")


def test_one_file_under_several_names_is_the_same(tmp_path, monkeypatch):
    file = tmp_path / "take.wav"
    file.write_bytes(b"sound")
    (tmp_path / "folder").mkdir()
    (tmp_path / "link.wav").symlink_to(file)
    (tmp_path / "chain.wav").symlink_to("link.wav")
    (tmp_path / "hard.wav").hardlink_to(file)
    monkeypatch.chdir(tmp_path)
    for name in ("take.wav", "link.wav", "chain.wav", "hard.wav", "folder/../take.wav"):
        assert is_same_file(file, name)
        assert is_same_file(name, str(file))


def test_two_files_are_not_the_same_even_if_their_bytes_are(tmp_path):
    (tmp_path / "a.wav").write_bytes(b"sound")
    (tmp_path / "b.wav").write_bytes(b"sound")
    assert not is_same_file(tmp_path / "a.wav", tmp_path / "b.wav")


def test_a_file_that_does_not_exist_is_the_same_as_none(tmp_path):
    (tmp_path / "a.wav").touch()
    (tmp_path / "dangling.wav").symlink_to("none.wav")
    for name in ("none.wav", "none/none.wav", "dangling.wav", "a.wav/x", "a\0b.wav"):
        assert not is_same_file(tmp_path / "a.wav", tmp_path / name)
        assert not is_same_file(tmp_path / name, tmp_path / "a.wav")
        assert not is_same_file(tmp_path / name, tmp_path / name)


# What a killed run left behind


@pytest.fixture
def dead() -> int:
    """Return the number of a process that has ended."""
    process = subprocess.Popen([sys.executable, "-c", ""])
    process.wait()
    return process.pid


def test_what_a_dead_run_left_of_a_file_is_cleared_away(tmp_path, dead):
    (tmp_path / f".x.svg.part-{dead}").write_bytes(b"half")
    (tmp_path / f".x.svg.part-{os.getpid()}").mkdir()  # this number was another's
    write_whole(tmp_path / "x.svg", b"whole")
    assert names_in(tmp_path) == ["x.svg"]


def test_nothing_else_is_cleared_away(tmp_path, dead):
    """Of a run that goes on, of another file, and names that only look alike."""
    others = [
        f".x.svg.part-{os.getppid()}",
        f".y.svg.part-{dead}",
        f"x.svg.part-{dead}",
        f".x.svg.part-{dead}.bak",
        f".x.svg.part-0{dead}",
        f".x.svg.part--{dead}",
        ".x.svg.part-0",
        ".x.svg.part-",
        ".x.svg.part-99999999999999999999",
        f"{dead}",
        f".x_svg.part-{dead}",
    ]
    for name in others:
        (tmp_path / name).write_bytes(b"mine")
    write_whole(tmp_path / "x.svg", b"whole")
    assert names_in(tmp_path) == sorted([*others, "x.svg"])
    for name in others:
        assert (tmp_path / name).read_bytes() == b"mine"


def test_a_link_of_such_a_name_goes_and_what_it_leads_to_stays(tmp_path, dead):
    inner = tmp_path / "inner"
    inner.mkdir()
    (inner / "keep.txt").write_bytes(b"mine")
    (tmp_path / f".x.svg.part-{dead}").symlink_to(inner)
    write_whole(tmp_path / "x.svg", b"whole")
    assert names_in(tmp_path) == ["inner", "x.svg"]
    assert (inner / "keep.txt").read_bytes() == b"mine"


def test_a_folder_that_can_not_be_listed_can_still_be_written(tmp_path, monkeypatch):
    def refuse(folder: Path) -> None:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    monkeypatch.setattr(Path, "iterdir", refuse)
    write_whole(tmp_path / "x.svg", b"whole")
    assert (tmp_path / "x.svg").read_bytes() == b"whole"
