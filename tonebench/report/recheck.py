# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison or a delivery made again, and held against what an earlier run wrote.

Every file is compared byte by byte, and sound whose bytes differ sample by sample. The
folder is only read.
"""

import json
import tempfile
from dataclasses import dataclass, replace
from itertools import zip_longest
from pathlib import Path
from typing import Any

import numpy as np

from tonebench import __version__
from tonebench.audio.files import TakeReader
from tonebench.audio.outputs import sha256_of
from tonebench.errors import AudioError, InputError
from tonebench.plan.comparison import Comparison
from tonebench.render.offline import Progress
from tonebench.report.comparison import MANIFEST, write_comparison
from tonebench.report.delivery import DELIVERY, Wanted, write_delivery

_SOUND = (".wav", ".flac", ".mp3", ".ogg")
#: What tells a take, an impulse response or a plug-in from another one of its name.
_HASHES = ("sha256", "state_sha256", "version")


@dataclass(frozen=True, slots=True)
class Rechecked:
    """Which files of a folder are the same, which changed, and which are gone.

    `alike` are clips that hold the same samples in other bytes, such as one that was
    tagged. `made_with` is the version of the program that the folder was written by;
    `other` tells which takes, and what of that which comes after, are not what they
    were.
    """

    folder: Path
    same: tuple[str, ...]
    changed: tuple[str, ...]
    missing: tuple[str, ...]
    made_with: str
    alike: tuple[str, ...] = ()
    other: tuple[str, ...] = ()

    @property
    def is_same(self) -> bool:
        """Whether every file is there and the same to the last bit."""
        return self.is_agreed and not self.alike

    @property
    def is_agreed(self) -> bool:
        """Whether every file is there, and every byte or every sample agrees."""
        return not (self.changed or self.missing)

    @property
    def is_sound_same(self) -> bool:
        """Whether every clip is."""
        return not any(name.endswith(_SOUND) for name in (*self.changed, *self.missing))

    def words(self) -> str:
        """Return the lines that ``compare --recheck`` prints."""
        lines = [f"  {name}: changed" for name in self.changed]
        lines += [f"  {name}: missing" for name in self.missing]
        lines += [f"  {name}: the same samples, in other bytes" for name in self.alike]
        lines.append(f"{len(self.same)} files are the same to the last bit")
        if not self.is_same and self.is_sound_same and not self.alike:
            lines.append("all clips are among them")
        lines += [f"{words} now" for words in self.other]
        if not self.is_same and self.made_with != __version__:
            lines.append(
                f"{self.folder} was made with tonebench {self.made_with}, this is "
                f"{__version__}"
            )
        return "\n".join(lines)

    def fault(self) -> str:
        """Return in one sentence what is not the same."""
        told = [
            f"{len(names)} {word}"
            for names, word in ((self.changed, "changed"), (self.missing, "missing"))
            if names
        ]
        return f"{self.folder} is not what this comparison gives: {', '.join(told)}"

    def as_json(self) -> dict[str, object]:
        """Return the values that ``compare --recheck --json`` prints."""
        return {
            "schema": 1,
            "is_same": self.is_same,
            "is_sound_same": self.is_sound_same,
            "same": list(self.same),
            "alike": list(self.alike),
            "changed": list(self.changed),
            "missing": list(self.missing),
            "made_with": self.made_with,
            "other": list(self.other),
        }


def recheck_comparison(
    comparison: Comparison,
    folder: Path,
    *,
    progress: Progress = lambda share: None,
) -> Rechecked:
    """Run a comparison again and compare what comes out with a folder.

    Raises
    ------
    InputError
        If the folder holds no comparison, or a file of it can't be read.
    """
    try:
        before = json.loads((folder / MANIFEST).read_bytes())
        made_with = str(before["tonebench"])
        clips_only = not any("curves" in pairing for pairing in before["pairings"])
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise InputError(
            f"{folder}: holds no comparison that was run ({MANIFEST} is missing or "
            "broken); name the folder that compare wrote"
        ) from error
    with tempfile.TemporaryDirectory() as scratch:
        again = Path(scratch) / "again"
        write_comparison(comparison, again, clips_only=clips_only, progress=progress)
        now = json.loads((again / MANIFEST).read_bytes())
        found = _held_against(folder, again, made_with)
        return replace(found, other=_other_than(before, now))


def recheck_delivery(
    source: Path, folder: Path, *, progress: Progress = lambda share: None
) -> Rechecked:
    """Make a delivery again, as it was asked for, and compare it with a folder.

    Raises
    ------
    InputError
        If `source` holds no comparison, or `folder` no delivery.
    """
    try:
        listed = json.loads((folder / DELIVERY).read_bytes())
        wanted = Wanted(tuple(listed["formats"]), tuple(listed["sheets"]))
        made_with = str(listed["delivered_by"]).removeprefix("tonebench ")
        date = str(listed.get("made_on", ""))
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise InputError(
            f"{folder}: holds no delivery ({DELIVERY} is missing or broken); name the "
            "folder that deliver wrote"
        ) from error
    with tempfile.TemporaryDirectory() as scratch:
        again = Path(scratch) / "again"
        write_delivery(source, again, wanted, date=date, progress=progress)
        return _held_against(folder, again, made_with)


def _held_against(folder: Path, again: Path, made_with: str) -> Rechecked:
    """Compare every file of a fresh folder with its namesake of an earlier one."""
    same, alike, changed, missing = [], [], [], []
    for path in sorted(again.iterdir()):
        earlier = folder / path.name
        if not earlier.is_file():
            missing.append(path.name)
        elif sha256_of(earlier) == sha256_of(path):
            same.append(path.name)
        elif path.suffix in _SOUND and _is_sound_alike(earlier, path):
            alike.append(path.name)
        else:
            changed.append(path.name)
    found = tuple(same), tuple(changed), tuple(missing)
    return Rechecked(folder, *found, made_with, tuple(alike))


def _is_sound_alike(a: Path, b: Path) -> bool:
    """Return whether two clips hold the same samples at the same rate."""
    try:
        with TakeReader(a) as first, TakeReader(b) as second:
            if any(
                getattr(first.info, key) != getattr(second.info, key)
                for key in ("sample_rate_hz", "channels", "frames", "subtype")
            ):
                return False
            blocks = zip(first.blocks(), second.blocks(), strict=True)
            return all(np.array_equal(*pair) for pair in blocks)
    except AudioError:
        return False


def _other_than(before: dict[str, Any], now: dict[str, Any]) -> tuple[str, ...]:
    """Return which takes and steps after the circuits are other ones in a manifest."""
    told = []
    for key in ("takes", "after"):
        pairs = zip_longest(before.get(key) or [], now.get(key) or [])
        for number, (old, new) in enumerate(pairs, start=1):
            place = f"take {number}" if key == "takes" else f"step {number} after"
            if not (isinstance(old, dict) and isinstance(new, dict)):
                told.append(f"{place} {'is not there' if old else 'is there too'}")
            elif old.get("file") != new.get("file"):
                told.append(f"{place} is {new.get('file')}, and was {old.get('file')},")
            elif any(old.get(hash_) != new.get(hash_) for hash_ in _HASHES):
                told.append(f"{new.get('file')} is another one, or set otherwise,")
    return tuple(told)
