# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison run again, and held against a folder that an earlier run wrote.

Every file is compared byte by byte. The folder is only read.
"""

import json
import tempfile
from dataclasses import dataclass
from pathlib import Path

from tonebench import __version__
from tonebench.audio.outputs import sha256_of
from tonebench.errors import InputError
from tonebench.plan.comparison import Comparison
from tonebench.render.offline import Progress
from tonebench.report.comparison import MANIFEST, write_comparison

_SOUND = ".wav"


@dataclass(frozen=True, slots=True)
class Rechecked:
    """Which files of a folder are the same, which changed, and which are gone.

    `made_with` is the version of the program that the folder was written by.
    """

    folder: Path
    same: tuple[str, ...]
    changed: tuple[str, ...]
    missing: tuple[str, ...]
    made_with: str

    @property
    def is_same(self) -> bool:
        """Whether every file is there and the same to the last bit."""
        return not (self.changed or self.missing)

    @property
    def is_sound_same(self) -> bool:
        """Whether every clip is."""
        return not any(name.endswith(_SOUND) for name in (*self.changed, *self.missing))

    def words(self) -> str:
        """Return the lines that ``compare --recheck`` prints."""
        lines = [f"  {name}: changed" for name in self.changed]
        lines += [f"  {name}: missing" for name in self.missing]
        lines.append(f"{len(self.same)} files are the same to the last bit")
        if not self.is_same and self.is_sound_same:
            lines.append("all clips are among them")
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
            "changed": list(self.changed),
            "missing": list(self.missing),
            "made_with": self.made_with,
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
        manifest = json.loads((folder / MANIFEST).read_bytes())
        made_with = str(manifest["tonebench"])
        clips_only = not any("curves" in pairing for pairing in manifest["pairings"])
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise InputError(
            f"{folder}: holds no comparison that was run ({MANIFEST} is missing or "
            "broken); name the folder that compare wrote"
        ) from error
    same, changed, missing = [], [], []
    with tempfile.TemporaryDirectory() as scratch:
        again = Path(scratch) / "again"
        write_comparison(comparison, again, clips_only=clips_only, progress=progress)
        for path in sorted(again.iterdir()):
            earlier = folder / path.name
            if not earlier.is_file():
                missing.append(path.name)
            elif sha256_of(earlier) == sha256_of(path):
                same.append(path.name)
            else:
                changed.append(path.name)
    return Rechecked(folder, tuple(same), tuple(changed), tuple(missing), made_with)
