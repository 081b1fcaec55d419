# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison as one page: opened from a disk, to see and to play A against B.

It holds its sound and asks no network for anything: a policy in its head names
the hashes of the one script and the one style sheet that may act. Renders nothing.
"""

import base64
import hashlib
import json
from collections.abc import Mapping, Sequence
from html import escape
from importlib import resources
from pathlib import Path
from string import Template
from typing import Any

from tonebench.audio.outputs import write_whole
from tonebench.compare.written import can_be_played
from tonebench.report.client_blind import (
    blind_data,
    blind_html,
    blind_script,
    blind_style,
)
from tonebench.report.client_curve import levels_shown
from tonebench.report.client_pairing import (
    Shown,
    curve_values,
    names_of,
    pairing_html,
)
from tonebench.report.client_parts import (
    Values,
    choice_html,
    client_html,
    footer_html,
    level_hint,
    sentence,
    take_of,
)
from tonebench.report.client_sound import carried

PAGE = "index.html"
#: The voices of a pairing that can be played, in the order of the buttons.
_VOICES = ("a", "b", "dry")
#: In the order in which they stand in the page: each knows those before it.
_SCRIPTS = (
    "sound.js",
    "clips.js",
    "deck.js",
    "page.js",
    "strip.js",
    "curve.js",
    "start.js",
)
_STYLES = ("page.css", "player.css", "paper.css")
_TEMPLATES = resources.files("tonebench.report") / "templates"


def write_page(
    folder: Path,
    manifest: Mapping[str, Any],
    shown: Sequence[Shown],
    packed: Path | None = None,
) -> None:
    """Write ``index.html`` into a folder that holds a comparison's clips.

    The same manifest and clips give the same bytes. When the page would pass
    25 MB, each clip becomes a file ``clip-N.js`` beside it.

    Parameters
    ----------
    folder : Path
        Where the clips are, and where the page goes.
    manifest : mapping
        The values of ``manifest.json``.
    shown : sequence of Shown
        Curves, outline and words of each pairing, in the manifest's order.
    packed : Path, optional
        Where the clips are as FLAC too; else they are read and packed.

    Raises
    ------
    AudioError
        If a clip is missing or can't be read.
    OutputError
        If a file of that name is there already, or can't be written.
    """
    files = _played_files(manifest)
    style, script = "".join(map(_text, _STYLES)) + blind_style(), _script()
    names = names_of(manifest, _takes(manifest))
    inside, is_carried = carried(folder, files, packed)
    values = {
        "policy": _policy(style, script, is_carried),
        "title": escape(manifest["title"]),
        "style": style,
        "differs": sentence(manifest["differs"]),
        "client": client_html(manifest.get("client", {})),
        "choice": choice_html(names),
        "pairings": "\n".join(
            pairing_html(manifest, number, *each)
            for number, each in enumerate(zip(names, shown, strict=True))
        ),
        "blind": blind_html(),
        "footer": footer_html(manifest, _takes(manifest)),
        "data": _json(_data(manifest, files, shown, is_carried)),
        "script": script,
        "clips": inside,
    }
    page = Template(_text("page.html")).substitute(values)
    write_whole(folder / PAGE, page.encode("utf-8"))


def _played_files(manifest: Values) -> list[str]:
    """Return the clips that the page plays, each once."""
    found: dict[str, None] = {}
    for pairing in manifest["pairings"]:
        take = take_of(manifest, pairing)
        if can_be_played(take["frames"], take["channels"]):
            found |= dict.fromkeys(clip["file"] for clip in _voices(pairing).values())
    return list(found)


def _text(name: str) -> str:
    return (_TEMPLATES / name).read_text(encoding="utf-8")


def _script() -> str:
    *before, start = map(_text, _SCRIPTS)
    blind = f"{{\n{blind_script()}}}"  # a block: its names are its own
    texts = "\n".join([*before, blind, start])
    return f"(() => {{\n{texts}}})();\n"


def _policy(style: str, script: str, is_carried: bool) -> str:
    """Return what the page may do: run its script, use its style, and nothing else.

    A script that is trusted by its hash may add those that carry the clips, and no text
    in the page can.
    """

    def pinned(text: str) -> str:
        digest = hashlib.sha256(text.encode("utf-8")).digest()
        return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"

    carried = " 'strict-dynamic'" if is_carried else ""
    return (
        f"default-src 'none'; script-src {pinned(script)}{carried}; "
        f"style-src {pinned(style)}; base-uri 'none'; form-action 'none'"
    )


def _json(values: object) -> str:
    """Return values as JSON that can't end the element it stands in."""
    text = json.dumps(values, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e")


def _voices(pairing: Values) -> dict[str, Values]:
    return {key: pairing["clips"][key] for key in _VOICES if key in pairing["clips"]}


def _takes(manifest: Values) -> list[Values]:
    """Return the takes that are played, each once."""
    found: list[Values] = []
    for pairing in manifest["pairings"]:
        take = take_of(manifest, pairing)
        found += [] if take in found else [take]
    return found


def _data(
    manifest: Values, files: Sequence[str], shown: Sequence[Shown], is_carried: bool
) -> Values:
    """Return what the script needs to know."""
    takes = _takes(manifest)
    numbers = {file: number for number, file in enumerate(files, start=1)}
    pairings = []
    for number, (pairing, its) in enumerate(
        zip(manifest["pairings"], shown, strict=True), start=1
    ):
        take, voices = take_of(manifest, pairing), _voices(pairing)
        file = pairing.get("curves", {}).get("csv", f"curves-{number}.csv")
        as_is_db = _as_is_db(pairing)
        pairings.append(
            {
                "take": takes.index(take),
                "rate_hz": take["sample_rate_hz"],
                "duration_s": take["frames"] / take["sample_rate_hz"],
                "is_matched": pairing["is_matched"],
                "level_hint": level_hint(pairing, as_is_db),
                "voices": {
                    key: {"clip": numbers.get(c["file"]), "as_is_db": as_is_db[key]}
                    for key, c in voices.items()
                },
                "curve": curve_values(its.curves, file, *levels_shown(its.curves)),
            }
        )
    blind = blind_data(manifest)
    return {"carried": is_carried, "pairings": pairings, "blind": blind}


def _as_is_db(pairing: Values) -> dict[str, float]:
    """Return the gains that take the match back: no voice is turned up, one stays."""
    gains_db = {key: float(clip["gain_db"]) for key, clip in _voices(pairing).items()}
    lowest = min(gains_db.values())
    return {key: lowest - gain_db for key, gain_db in gains_db.items()}
