# SPDX-License-Identifier: GPL-3.0-or-later
"""A folder as one ZIP file: the same bytes for the same files, whole or not at all.

Files are stored as they are: sound hardly shrinks, and what another version of a
compressor makes of them could differ. Knows nothing of what they hold.
"""

import shutil
import zipfile
from pathlib import Path

from tonebench.audio.outputs import reported, whole_file

#: The first day that the format knows; it has no time that isn't told.
_NO_DAY = (1980, 1, 1, 0, 0, 0)
_MODE = 0o100644 << 16  # an ordinary file that its owner may write
_UNIX = 3
_LONG_BYTES = (1 << 31) - 1


def write_zip(folder: Path, path: Path, date: str = "", force: bool = False) -> None:
    """Write the files of a folder into a ZIP file, inside a folder of its name.

    Parameters
    ----------
    folder : Path
        What to pack; folders in it are left out.
    path : Path
        Where to.
    date : str
        The day that every file gets, "yyyy-mm-dd"; none is told without it.
    force : bool
        Whether a file of that name may be replaced.

    Raises
    ------
    OutputError
        If it exists and `force` is off, or the disk is full; nothing is left then.
    """
    day = max(_day(date), _NO_DAY) if date else _NO_DAY
    inside = folder.resolve().name
    with (
        whole_file(path, force) as part,
        reported(path),
        zipfile.ZipFile(part, "w", zipfile.ZIP_STORED) as packed,
    ):
        for file in sorted(entry for entry in folder.iterdir() if entry.is_file()):
            about = zipfile.ZipInfo(f"{inside}/{file.name}", day)
            about.external_attr, about.create_system = _MODE, _UNIX
            is_long = file.stat().st_size > _LONG_BYTES
            with (
                file.open("rb") as read,
                packed.open(about, "w", force_zip64=is_long) as written,
            ):
                shutil.copyfileobj(read, written, 1 << 20)


def _day(date: str) -> tuple[int, int, int, int, int, int]:
    year, month, day = map(int, date.split("-"))
    return year, month, day, 0, 0, 0
