# SPDX-License-Identifier: GPL-3.0-or-later
"""Finds the files that come with tonebench, by name: circuits, pickups, takes.

Knows where they lie, in a wheel as in a checkout; nothing of what is in them.
"""

from difflib import get_close_matches
from pathlib import Path
from typing import Literal

from tonebench.errors import InputError

Kind = Literal["circuit", "pickup", "comparison", "take"]

_PACKAGE = Path(__file__).resolve().parent
#: Where each kind lies, and the suffixes it may have; shipped files have the first.
_SHELVES: dict[Kind, tuple[str, tuple[str, ...]]] = {
    "circuit": ("presets/circuits", (".toml",)),
    "pickup": ("presets/pickups", (".toml",)),
    "comparison": ("presets/comparisons", (".toml",)),
    "take": ("demo_audio", (".flac", ".wav")),
}


def shipped_folder(folder: Literal["presets", "demo_audio"]) -> Path:
    """Return a folder of shipped files.

    In a wheel it lies inside the package, in a checkout beside it.
    """
    in_wheel = _PACKAGE / folder
    return in_wheel if in_wheel.is_dir() else _PACKAGE.parent / folder


def names(kind: Kind) -> tuple[str, ...]:
    """Return the names of the shipped files of a kind, in order of the alphabet."""
    folder, suffixes = _shelf(kind)
    return tuple(sorted(path.stem for path in folder.glob(f"*{suffixes[0]}")))


def find(name_or_path: str | Path, kind: Kind) -> Path:
    """Return the path that is meant by a name or a path.

    Parameters
    ----------
    name_or_path : str or Path
        A `Path`, and a text with a folder or a suffix in it, is a path already,
        whether a file is there or not. Any other text is the name of a shipped file,
        or else of a file in the current folder, with or without its suffix.
    kind : {"circuit", "pickup", "comparison", "take"}
        What is looked for.

    Raises
    ------
    InputError
        For a name that is neither; the message offers the nearest one, or all.
    """
    if isinstance(name_or_path, Path):
        return name_or_path
    if any(sign in name_or_path for sign in "/\\") or Path(name_or_path).suffix:
        return Path(name_or_path)
    shipped = names(kind)
    folder, suffixes = _shelf(kind)
    if name_or_path in shipped:
        return folder / f"{name_or_path}{suffixes[0]}"
    for suffix in ("", *suffixes):
        path = Path(f"{name_or_path}{suffix}")
        if _is_file(path):
            return path
    raise InputError(_unknown(kind, name_or_path, shipped))


def _shelf(kind: Kind) -> tuple[Path, tuple[str, ...]]:
    place, suffixes = _SHELVES[kind]
    top, _, inside = place.partition("/")
    folder = shipped_folder("presets" if top == "presets" else "demo_audio")
    return folder / inside, suffixes


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:  # a name too long for the file system names no file
        return False


def _unknown(kind: Kind, name: str, shipped: tuple[str, ...]) -> str:
    listed = f"shipped: {', '.join(shipped)}" if shipped else "none are shipped"
    near = get_close_matches(name.casefold(), shipped, n=1)
    offer = f"did you mean '{near[0]}'? " if near else ""
    return (
        f"there is no {kind} '{name}' here or among the shipped ones; {offer}{listed}"
    )
