# SPDX-License-Identifier: GPL-3.0-or-later
"""A delivery as one step, with or without its ZIP file, and what is printed of it."""

from collections import Counter
from pathlib import Path
from typing import Any

from tonebench.audio.outputs import check_new_file
from tonebench.render.offline import Progress
from tonebench.report.delivery import Wanted, write_delivery
from tonebench.report.zipped import write_zip

_KINDS = {
    "clip": ("clip", "clips"),
    "preview": ("preview, not for A/B", "previews, not for A/B"),
    "sheet": ("sheet", "sheets"),
}


def deliver_and_zip(
    source: Path,
    folder: Path,
    wanted: Wanted,
    *,
    is_zipped: bool = False,
    force: bool = False,
    progress: Progress = lambda share: None,
) -> dict[str, Any]:
    """Write a client's folder, and the same as a ZIP file beside it if asked for.

    Returns what ``delivery.json`` holds, and under "zip" the name of the ZIP file.

    Raises
    ------
    InputError, RequestError, OutputError
        As `write_delivery`; also if the ZIP file exists and `force` is off, before
        anything is written.
    """
    packed = folder.with_name(f"{folder.resolve().name}.zip")
    if is_zipped:
        check_new_file(packed, force)
    done = write_delivery(source, folder, wanted, force=force, progress=progress)
    if not is_zipped:
        return done
    write_zip(folder, packed, str(done.get("made_on", "")), force)
    return {**done, "zip": str(packed)}


def delivery_words(done: dict[str, Any], folder: Path) -> str:
    """Return the lines that ``deliver`` prints."""
    counted = Counter(entry["kind"] for entry in done["files"])
    told = [
        f"{counted[kind]} {one if counted[kind] == 1 else many}"
        for kind, (one, many) in _KINDS.items()
        if counted[kind]
    ]
    lines = [f"{done['title']}: {', '.join(told)}"]
    lines += [f"  {entry['file']}" for entry in done["files"]]
    lines.append(f"wrote {folder}")
    if "zip" in done:
        lines.append(f"wrote {done['zip']}")
    return "\n".join(lines)
