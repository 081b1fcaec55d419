# SPDX-License-Identifier: GPL-3.0-or-later
"""Files that appear whole, and what may stand where they go.

What is written grows under a temporary name beside its place, and gets its name once
it is done; after any exception the temporary is gone and nothing else was touched.
Knows nothing of what the files hold.
"""

import contextlib
import errno
import hashlib
import os
from collections.abc import Iterator
from pathlib import Path

from tonebench.errors import InputError, OutputError


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
    folder = path.parent
    if path.is_dir():
        fault = "is a folder; give the name of a file in it"
    elif os.path.lexists(path) and not path.is_file():
        fault = "is not an ordinary file; give another name"
    elif not folder.is_dir():
        fault = f"its folder '{folder}' doesn't exist; make it first"
    elif not os.access(folder, os.W_OK):
        fault = f"its folder '{folder}' can't be written; choose another one"
    elif path.exists() and not force:
        fault = "exists already; give another name or --force"
    else:
        return
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
        with _reported(path):
            part.write_bytes(b"")
        yield part
        with _reported(path):
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
    with whole_file(path, force) as part, _reported(Path(path)):
        part.write_bytes(data)


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


@contextlib.contextmanager
def _reported(path: Path) -> Iterator[None]:
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
