# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison's folder read back: its manifest, and clips that are still what it says.

Writes nothing.
"""

import json
from pathlib import Path
from typing import Any

from tonebench.audio.files import TakeInfo, TakeReader
from tonebench.audio.outputs import sha256_of
from tonebench.errors import InputError
from tonebench.report.comparison import MANIFEST

_SCHEMA = 1
_OF_A_PAIRING = ("name", "take", "is_matched", "notices", "verdict", "clips")


def read_manifest(folder: Path) -> dict[str, Any]:
    """Return the manifest of a comparison's folder.

    Raises
    ------
    InputError
        If the folder holds none, or one that this program can't deliver.
    """
    try:
        manifest = json.loads((folder / MANIFEST).read_bytes())
        is_known = manifest["schema"] == _SCHEMA and manifest["takes"]
        for pairing in manifest["pairings"]:
            is_known = is_known and all(key in pairing for key in _OF_A_PAIRING)
            names = [clip["file"] for clip in pairing["clips"].values()]
            names += [clip.get("cues", "") for clip in pairing["clips"].values()]
            names += pairing.get("curves", {}).values()
            is_known = is_known and all(n == Path(n).name for n in names)
            is_known = is_known and {"a", "b"} <= set(pairing["clips"])
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise InputError(
            f"{folder}: holds no comparison that was run ({MANIFEST} is missing or "
            "broken); name the folder that compare wrote"
        ) from error
    pairings = manifest["pairings"]
    if is_known and not all("curves" in pairing for pairing in pairings):
        raise InputError(
            f"{folder}: holds clips only, and a delivery has curves and a page too; "
            "run compare without --clips-only"
        )
    if not is_known or not all("csv" in pairing["curves"] for pairing in pairings):
        raise InputError(
            f"{folder}: was made with tonebench {manifest.get('tonebench', '')}, which "
            "leaves out what a delivery needs; run compare again"
        )
    return dict(manifest)


def checked_clip(folder: Path, clip: dict[str, Any]) -> TakeInfo:
    """Return what a clip's header says, once its sum is the one in the manifest.

    Raises
    ------
    InputError, AudioError
        If it is missing, or isn't the one that was written.
    """
    path = folder / clip["file"]
    with TakeReader(path) as reader:
        info = reader.info
    if sha256_of(path) != clip["sha256"]:
        raise InputError(
            f"{path}: was changed since {MANIFEST} was written; run compare again"
        )
    return info
