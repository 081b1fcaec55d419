# SPDX-License-Identifier: GPL-3.0-or-later
"""What is shipped, with its titles."""

import tomllib
from pathlib import Path

from tonebench.shipped import Kind, find, names

_HEADS: dict[Kind, str] = {
    "circuit": "Circuits",
    "pickup": "Pickups",
    "take": "Takes",
    "comparison": "Comparisons",
}


def shelf() -> dict[str, list[dict[str, str]]]:
    """Return name and title of everything shipped, by kind."""
    return {
        kind: [
            {"name": name, "title": _title(find(name, kind))} for name in names(kind)
        ]
        for kind in _HEADS
    }


def _title(path: Path) -> str:
    if path.suffix == ".toml":
        return str(tomllib.loads(path.read_text(encoding="utf-8")).get("title", ""))
    from tonebench.audio.files import TakeReader

    with TakeReader(path) as reader:
        info = reader.info
    channels = "1 channel" if info.channels == 1 else f"{info.channels} channels"
    return f"{info.duration_s:.1f} s, {info.sample_rate_hz} Hz, {channels}"


def shelf_words(found: dict[str, list[dict[str, str]]]) -> str:
    """Return the shelf as the lines that ``list`` prints."""
    lines = []
    for kind, head in _HEADS.items():
        lines.append(head)
        for entry in found[kind]:
            lines.append(f"  {entry['name']:<16} {entry['title']}")
    lines += ["", "straight is the circuit that is none: input and output joined"]
    return "\n".join(lines)
