# SPDX-License-Identifier: GPL-3.0-or-later
"""Files and folders that appear whole, and what may stand where they go.

What is written grows under a temporary name beside its place, and gets its name once
it is done; after any exception the temporary is gone and nothing else was touched.
What a killed run left of the same name is cleared away by the next one. Knows nothing
of what the files hold.
"""

import contextlib
import errno
import hashlib
import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

from tonebench.errors import InputError, OutputError

_EXISTS = "exists already; give another name or --force"


def check_new_file(path: str | Path, force: bool = False) -> None:
    """Refuse a place where no new file can be made.

    Parameters
    ----------
    path : str or Path
        The file to come.
    force : bool
        Whether an ordinary file of that name may be replaced.

    Raises
    ------
    OutputError
        If it exists (and `force` is not given, or it is a folder or a device), or its
        folder is missing or can't be written.
    """
    path = Path(path)
    if path.is_dir():
        fault = "is a folder; give the name of a file in it"
    elif os.path.lexists(path) and not path.is_file():
        fault = "is not an ordinary file; give another name"
    else:
        fault = _parent_fault(path)
        if not fault and path.exists() and not force:
            fault = _EXISTS
    if fault:
        raise OutputError(f"{path}: {fault}")


@contextlib.contextmanager
def whole_file(path: str | Path, force: bool = False) -> Iterator[Path]:
    """Yield a temporary file, empty at first, that appears at `path` once it is whole.

    Parameters
    ----------
    path : str or Path
        Where to.
    force : bool
        Whether an ordinary file of that name may be replaced.

    Yields
    ------
    Path
        ``.NAME.part-PID`` in the same folder. It is renamed at a clean end of the
        `with` block, and removed after any exception, KeyboardInterrupt included.

    Raises
    ------
    OutputError
        As `check_new_file`, at the start and again at the end, or if the system
        refuses. An error of the `with` block passes through as it is.
    """
    path = Path(path)
    check_new_file(path, force)
    part = path.with_name(_part_name(path))
    try:
        with reported(path):
            _clear_leftovers(part)
            part.write_bytes(b"")
        yield part
        with reported(path):
            check_new_file(path, force)  # another program may have made it
            part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def write_whole(path: str | Path, data: bytes, force: bool = False) -> None:
    """Write a small file in one piece, as `whole_file` does.

    Parameters
    ----------
    path : str or Path
        Where to.
    data : bytes
        The whole content.
    force : bool
        Whether an ordinary file of that name may be replaced.

    Raises
    ------
    OutputError
        As `check_new_file`, or if the disk is full; nothing is left behind then.
    """
    with whole_file(path, force) as part, reported(Path(path)):
        part.write_bytes(data)


@contextlib.contextmanager
def whole_folder(path: str | Path, force: bool = False) -> Iterator[Path]:
    """Yield a temporary folder, empty at first, that appears at `path` once it is done.

    Parameters
    ----------
    path : str or Path
        Where to: a name that is free, or an empty folder.
    force : bool
        Whether a folder with files in it may be used too. Each finished file then
        replaces its namesake, one after the other, and the others are left alone.

    Yields
    ------
    Path
        ``.NAME.part-PID``, an absolute path beside the folder. It is renamed at a clean
        end of the `with` block, and removed after any exception, KeyboardInterrupt
        included. A folder that can't be swapped (a disk's root, the one the program
        stands in, one whose parent can't be written) has it inside, and is filled file
        by file.

    Raises
    ------
    OutputError
        If `path` is no folder, has files in it (and `force` is not given), can't be
        written, or its own folder is missing: at the start and again at the end. With
        `force`, also if something in the folder is in a finished file's way: nothing
        is replaced then. An error of the `with` block passes through as it is.
    """
    path = Path(path)
    with reported(path):
        folder = Path(os.path.realpath(path))  # what a link leads to: one disk
        is_kept = folder.is_dir() and not _can_be_swapped(folder)
        part = (folder if is_kept else folder.parent) / _part_name(folder)
        _clear_leftovers(part)
        _check_new_folder(path, folder, part, force)
    try:
        with reported(path):
            part.mkdir()
        yield part
        with reported(path):
            _check_new_folder(path, folder, part, force)
            if is_kept or _is_used(folder, part):
                _move_in(part, folder)
            else:
                if folder.is_dir():
                    shutil.copymode(folder, part)
                part.replace(folder)
    finally:
        shutil.rmtree(part, ignore_errors=True)


def is_same_file(a: str | Path, b: str | Path) -> bool:
    """Return whether two names lead to one file, links resolved.

    To refuse what would be written over its own input. False if one doesn't exist.
    """
    try:
        return Path(a).samefile(b)
    except (OSError, ValueError):  # ValueError: NUL byte
        return False


def sha256_of(path: str | Path) -> str:
    """Return the SHA-256 of a file as 64 hexadecimal digits; InputError if unreadable.

    The file is read in blocks.
    """
    try:
        with Path(path).open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise InputError(f"{path}: can't be read ({error.strerror})") from error


def _part_name(path: Path) -> str:
    return f".{path.name}.part-{os.getpid()}"


def _clear_leftovers(part: Path) -> None:
    """Remove what dead processes left beside `part`, for the same file or folder.

    Of this process' own number too: another one had it before.
    """
    stem = part.name.removesuffix(str(os.getpid()))
    with contextlib.suppress(OSError):  # what can't be seen or removed stays
        for entry in list(part.parent.iterdir()):
            number = entry.name.removeprefix(stem)
            if entry.name == number or not re.fullmatch("[1-9][0-9]{0,9}", number):
                continue
            if entry == part or not _is_alive(int(number)):
                if entry.is_dir() and not entry.is_symlink():
                    shutil.rmtree(entry, ignore_errors=True)
                else:
                    entry.unlink()


def _is_alive(number: int) -> bool:
    if os.name == "nt":  # to ask there is to end it
        return True
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    except (PermissionError, OverflowError):
        pass
    return True


def _parent_fault(path: Path) -> str:
    """Return why nothing new can be made beside `path`; "" if it can."""
    if not path.parent.is_dir():
        return f"its folder '{path.parent}' doesn't exist; make it first"
    if not os.access(path.parent, os.W_OK):
        return f"its folder '{path.parent}' can't be written; choose another one"
    return ""


def _check_new_folder(path: Path, folder: Path, part: Path, force: bool) -> None:
    """Refuse a place where no new folder can be made; `folder` is `path` resolved."""
    if not os.path.lexists(folder):
        fault = _parent_fault(folder)
    elif not folder.is_dir():
        fault = "is not a folder; give another name"
    elif not os.access(folder, os.W_OK):
        fault = "can't be written; choose another folder"
    else:
        fault = _EXISTS if _is_used(folder, part) and not force else ""
    if fault:
        raise OutputError(f"{path}: {fault}")


def _is_used(folder: Path, part: Path) -> bool:
    """Return whether a folder exists and holds anything but `part`."""
    return folder.is_dir() and any(entry != part for entry in folder.iterdir())


def _can_be_swapped(folder: Path) -> bool:
    """Return whether another folder can take this one's place and name."""
    return not (
        os.name == "nt"  # renames onto no folder, even an empty one
        or os.path.ismount(folder)
        or is_same_file(folder, ".")  # whoever stands in it would lose sight of it
        or not os.access(folder.parent, os.W_OK)
    )


def _move_in(part: Path, folder: Path) -> None:
    """Move every file of `part` to its place in `folder`, once all places are free."""
    found = sorted(part.rglob("*"))  # a folder comes before what is in it
    places = [folder / entry.relative_to(part) for entry in found]
    for entry, place in zip(found, places, strict=True):
        is_fit = place.is_dir() if entry.is_dir() else place.is_file()
        if os.path.lexists(place) and not is_fit:
            kind = "folder" if entry.is_dir() else "file"
            raise OutputError(
                f"{place}: is in the way of a {kind} of that name; "
                "move it away or give another name"
            )
    for entry, place in zip(found, places, strict=True):
        if entry.is_dir():
            place.mkdir(exist_ok=True)
        else:
            entry.replace(place)


@contextlib.contextmanager
def reported(path: Path) -> Iterator[None]:
    """Turn what the system says about a file to be written into one sentence."""
    try:
        yield
    except OutputError:
        raise
    except OSError as error:
        is_full = error.errno in (errno.ENOSPC, errno.EDQUOT)
        reason = "the disk is full" if is_full else f"{error.strerror}"
        raise OutputError(
            f"{path}: can't be written ({reason}); choose another place"
        ) from error
