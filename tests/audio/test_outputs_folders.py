# SPDX-License-Identifier: GPL-3.0-or-later
"""A folder appears whole, or everything stays as it was."""

import errno
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from clip_helpers import names_in

from tonebench.audio.clip_files import ClipWriter
from tonebench.audio.outputs import whole_folder, write_whole
from tonebench.errors import OutputError

PART = f".out.part-{os.getpid()}"
NEW = {"a.txt": "new a", "sub/b.txt": "new b", "sub/deep/c.txt": "new c"}


def fill(folder: Path, texts: dict[str, str]) -> None:
    for name, text in texts.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text)


def texts_in(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): path.read_text()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def write_folder(path: Path, force: bool = False) -> None:
    with whole_folder(path, force) as part:
        fill(part, NEW)


def break_off(path: Path, error: type[BaseException], force: bool = False) -> None:
    with whole_folder(path, force) as part:
        fill(part, NEW)
        raise error("mine")


def test_a_folder_has_its_name_only_once_it_is_whole(tmp_path):
    with whole_folder(tmp_path / "out") as part:
        assert names_in(tmp_path) == [PART]
        assert part == tmp_path / PART
        fill(part, NEW)
        assert names_in(tmp_path) == [PART]
    assert names_in(tmp_path) == ["out"]
    assert texts_in(tmp_path / "out") == NEW


def test_files_of_our_own_kind_appear_in_it(tmp_path):
    with whole_folder(tmp_path / "out") as part:
        write_whole(part / "manifest.json", b"{}")
        with ClipWriter(part / "a.wav", 48000, 1) as clip:
            clip.write([[0.5]])
    assert names_in(tmp_path / "out") == ["a.wav", "manifest.json"]


@pytest.mark.parametrize("force", [False, True])
def test_an_empty_folder_is_swapped_for_the_whole_one(tmp_path, force):
    (tmp_path / "out").mkdir()
    (tmp_path / "out").chmod(0o750)
    with whole_folder(tmp_path / "out", force) as part:
        fill(part, NEW)
        assert names_in(tmp_path / "out") == []
    assert names_in(tmp_path) == ["out"]
    assert texts_in(tmp_path / "out") == NEW
    assert stat.S_IMODE((tmp_path / "out").stat().st_mode) == 0o750


def test_a_folder_with_files_is_refused_before_any_work(tmp_path):
    fill(tmp_path / "out", {"old.txt": "old"})
    told = "out: exists already; give another name or --force$"
    with pytest.raises(OutputError, match=told):
        whole_folder(tmp_path / "out").__enter__()
    assert names_in(tmp_path) == ["out"]
    assert texts_in(tmp_path / "out") == {"old.txt": "old"}


def test_force_replaces_namesakes_and_leaves_the_other_files_alone(tmp_path):
    old = {"a.txt": "old a", "sub/b.txt": "old b", "sub/mine.txt": "x", "mine": "y"}
    fill(tmp_path / "out", old)
    with whole_folder(tmp_path / "out", force=True) as part:
        assert list(part.iterdir()) == []
        fill(part, NEW)
        assert texts_in(tmp_path / "out") == old
    assert texts_in(tmp_path / "out") == old | NEW
    assert names_in(tmp_path) == ["out"]


@pytest.mark.parametrize("force", [False, True])
@pytest.mark.parametrize("error", [KeyboardInterrupt, SystemExit, FileNotFoundError])
@pytest.mark.parametrize("before", ["nothing", "an empty folder", "files"])
def test_an_exception_leaves_everything_as_it_was(tmp_path, error, before, force):
    if before != "nothing":
        (tmp_path / "out").mkdir()
    if before == "files":
        fill(tmp_path / "out", {"a.txt": "old"})
    names = names_in(tmp_path)
    refused = before == "files" and not force
    with pytest.raises(OutputError if refused else error, match=r"already|^mine$"):
        break_off(tmp_path / "out", error, force)
    assert names_in(tmp_path) == names
    assert texts_in(tmp_path) == ({"out/a.txt": "old"} if before == "files" else {})


def test_an_interrupt_while_the_temporary_is_made_leaves_nothing(tmp_path, monkeypatch):
    make = Path.mkdir

    def interrupted(path: Path) -> None:
        make(path)
        raise KeyboardInterrupt

    monkeypatch.setattr(Path, "mkdir", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_folder(tmp_path / "out")
    assert names_in(tmp_path) == []


@pytest.mark.parametrize(
    ("old", "told"),
    [
        ({"sub": "a file"}, "sub: is in the way of a folder of that name; move it"),
        ({"a.txt/x": "a folder"}, "a.txt: is in the way of a file of that name; move"),
    ],
)
def test_nothing_is_replaced_if_something_is_in_the_way(tmp_path, old, told):
    # "sub" and "a.txt" come last and first: neither may be found out halfway
    fill(tmp_path / "out", {"sub/b.txt": "old b"} if "sub" not in old else {})
    fill(tmp_path / "out", old)
    before = texts_in(tmp_path)
    with pytest.raises(OutputError, match=told):
        write_folder(tmp_path / "out", force=True)
    assert texts_in(tmp_path) == before
    assert names_in(tmp_path) == ["out"]


def test_a_pipe_in_the_way_is_not_replaced(tmp_path):
    (tmp_path / "out").mkdir()
    os.mkfifo(tmp_path / "out" / "a.txt")
    with pytest.raises(OutputError, match="is in the way of a file"):
        write_folder(tmp_path / "out", force=True)
    assert names_in(tmp_path / "out") == ["a.txt"]


@pytest.mark.parametrize("force", [False, True])
def test_a_missing_parent_is_told(tmp_path, force):
    told = r"its folder '.*none' doesn't exist; make it first$"
    with pytest.raises(OutputError, match=told):
        write_folder(tmp_path / "none" / "out", force)
    (tmp_path / "file").touch()
    with pytest.raises(OutputError, match=r"its folder '.*file' doesn't exist"):
        write_folder(tmp_path / "file" / "out", force)
    assert names_in(tmp_path) == ["file"]


@pytest.mark.parametrize("force", [False, True])
def test_what_is_no_folder_is_never_replaced(tmp_path, force):
    (tmp_path / "out").write_text("a file")
    (tmp_path / "loop").symlink_to("loop")
    for name in ("out", "loop"):
        with pytest.raises(OutputError, match=f"{name}: is not a folder; give another"):
            write_folder(tmp_path / name, force)
    assert (tmp_path / "out").read_text() == "a file"
    assert names_in(tmp_path) == ["loop", "out"]


def test_a_folder_that_cannot_be_written_is_told(tmp_path, monkeypatch):
    (tmp_path / "out").mkdir()
    monkeypatch.setattr(os, "access", lambda *_: False)  # an administrator may always
    with pytest.raises(OutputError, match="out: can't be written; choose another fold"):
        write_folder(tmp_path / "out")
    with pytest.raises(OutputError, match=r"its folder '.*' can't be written; choose"):
        write_folder(tmp_path / "new")
    assert names_in(tmp_path) == ["out"]


@pytest.mark.parametrize("meanwhile", ["a folder with files", "a file"])
def test_what_appears_meanwhile_is_not_replaced(tmp_path, meanwhile):
    out = tmp_path / "out"
    told = "exists already" if meanwhile != "a file" else "is not a folder"
    writing = whole_folder(out)
    fill(writing.__enter__(), NEW)
    fill(tmp_path, {"out" if meanwhile == "a file" else "out/a.txt": "theirs"})
    with pytest.raises(OutputError, match=told):
        writing.__exit__(None, None, None)
    assert set(texts_in(tmp_path).values()) == {"theirs"}
    assert names_in(tmp_path) == ["out"]


def test_a_temporary_that_a_killed_run_left_behind_does_no_harm(tmp_path):
    fill(tmp_path / PART, {"half.txt": "half"})
    write_folder(tmp_path / "out")
    assert texts_in(tmp_path / "out") == NEW
    assert names_in(tmp_path) == ["out"]


@pytest.mark.parametrize("force", [False, True])
def test_a_link_to_a_folder_stays_a_link(tmp_path, force):
    (tmp_path / "disk" / "real").mkdir(parents=True)
    (tmp_path / "out").symlink_to(tmp_path / "disk" / "real")
    write_folder(tmp_path / "out", force)
    assert (tmp_path / "out").is_symlink()
    assert texts_in(tmp_path / "disk" / "real") == NEW
    assert names_in(tmp_path / "disk") == ["real"]


def stands_in_it(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)


def is_a_disks_root(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os.path, "ismount", lambda path: Path(path) == folder)


def has_a_locked_parent(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "access", lambda path, _: Path(path) != folder.parent)


@pytest.mark.parametrize(
    "case",
    [stands_in_it, is_a_disks_root, has_a_locked_parent],
    ids=lambda f: f.__name__,
)
@pytest.mark.parametrize("old", [{}, {"a.txt": "old a", "mine": "x"}])
def test_a_folder_that_cannot_be_swapped_is_kept_and_filled(
    tmp_path, monkeypatch, case, old
):
    folder = tmp_path / "out"
    folder.mkdir()
    fill(folder, old)
    case(folder, monkeypatch)
    inode = folder.stat().st_ino
    with pytest.raises(KeyboardInterrupt):
        break_off(folder, KeyboardInterrupt, force=bool(old))
    assert texts_in(folder) == old
    write_folder(folder, force=bool(old))
    assert texts_in(folder) == old | NEW
    assert names_in(tmp_path) == ["out"]
    assert PART not in names_in(folder)
    assert folder.stat().st_ino == inode


def test_a_dot_means_the_folder_that_the_program_stands_in(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    write_folder(Path())
    assert texts_in(tmp_path) == NEW
    with pytest.raises(OutputError, match=r"^\.: exists already"):
        write_folder(Path())


def test_what_the_system_says_becomes_one_sentence(tmp_path, monkeypatch):
    def refuse(*_: object) -> None:
        raise OSError(errno.EBUSY, os.strerror(errno.EBUSY))

    monkeypatch.setattr(Path, "replace", refuse)
    told = r"out: can't be written \(Device or resource busy\); choose another place$"
    with pytest.raises(OutputError, match=told):
        write_folder(tmp_path / "out")
    assert names_in(tmp_path) == []


@pytest.fixture
def left() -> str:
    """Return what a killed run leaves of a folder named out."""
    process = subprocess.Popen([sys.executable, "-c", ""])
    process.wait()
    return f".out.part-{process.pid}"


@pytest.mark.parametrize("force", [False, True])
def test_what_a_dead_run_left_of_a_folder_is_cleared_away(tmp_path, left, force):
    fill(tmp_path / left, {"half.wav": "half", "sub/half.txt": "half"})
    write_folder(tmp_path / "out", force)
    assert names_in(tmp_path) == ["out"]
    assert texts_in(tmp_path / "out") == NEW


def test_what_a_live_run_is_about_stays(tmp_path):
    fill(tmp_path / f".out.part-{os.getppid()}", {"half.wav": "half"})
    fill(tmp_path / ".out.part-mine", {"half.wav": "half"})
    write_folder(tmp_path / "out")
    assert names_in(tmp_path) == [f".out.part-{os.getppid()}", ".out.part-mine", "out"]


def test_a_folder_that_holds_leftovers_alone_is_an_empty_one(
    tmp_path, left, monkeypatch
):
    """The program stands in it, so that a dead run had its temporary inside."""
    out = tmp_path / "out"
    fill(out, {f"{left}/half.wav": "half"})
    monkeypatch.chdir(out)
    write_folder(Path())
    assert texts_in(out) == NEW


def test_a_folder_of_a_dead_run_is_cleared_away_and_a_used_one_kept(tmp_path, left):
    fill(tmp_path, {"out/old.txt": "old", f"{left}/half.wav": "half"})
    with pytest.raises(OutputError, match="exists already"):
        write_folder(tmp_path / "out")
    assert names_in(tmp_path) == ["out"]
    assert texts_in(tmp_path / "out") == {"old.txt": "old"}
