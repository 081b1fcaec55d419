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
from tonebench.audio.take import open_strings_hz
from tonebench.compare.matching import level_words
from tonebench.compare.verdict import MatchedCurves
from tonebench.report.client_blind import (
    blind_data,
    blind_html,
    blind_script,
    blind_style,
)
from tonebench.report.client_curve import curve_svg, curve_table, curve_words
from tonebench.report.client_parts import (
    LETTERS,
    Values,
    choice_html,
    client_html,
    files_html,
    footer_html,
    level_hint,
    levels_html,
    notices_html,
    sentence,
    settings_html,
    take_of,
)
from tonebench.report.client_sound import carried

PAGE = "index.html"
#: The voices of a pairing that can be played, in the order of the buttons.
_VOICES = ("a", "b", "dry")
_TEMPLATES = resources.files("tonebench.report") / "templates"


def write_page(
    folder: Path,
    manifest: Mapping[str, Any],
    curves: Sequence[MatchedCurves],
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
    curves : sequence of MatchedCurves
        Those of each pairing, in the manifest's order.
    packed : Path, optional
        Where the clips are as FLAC too; else they are read and packed.

    Raises
    ------
    AudioError
        If a clip is missing or can't be read.
    OutputError
        If a file of that name is there already, or can't be written.
    """
    files = list(
        dict.fromkeys(
            clip["file"] for p in manifest["pairings"] for clip in _voices(p).values()
        )
    )
    style, script = _text("page.css") + blind_style(), _script()
    inside, is_carried = carried(folder, files, packed)
    values = {
        "policy": _policy(style, script, is_carried),
        "title": escape(manifest["title"]),
        "style": style,
        "differs": sentence(manifest["differs"]),
        "client": client_html(manifest.get("client", {})),
        "choice": choice_html([_name(p, manifest) for p in manifest["pairings"]]),
        "pairings": "\n".join(
            _pairing(manifest, pairing, its)
            for pairing, its in zip(manifest["pairings"], curves, strict=True)
        ),
        "blind": blind_html(),
        "footer": footer_html(manifest, _takes(manifest)),
        "data": _json(_data(manifest, files, is_carried)),
        "script": script,
        "clips": inside,
    }
    page = Template(_text("page.html")).substitute(values)
    write_whole(folder / PAGE, page.encode("utf-8"))


def _text(name: str) -> str:
    return (_TEMPLATES / name).read_text(encoding="utf-8")


def _script() -> str:
    blind = f"{{\n{blind_script()}}}\n"  # a block: its names are its own
    return f"(() => {{\n{_text('sound.js')}\n{_text('page.js')}\n{blind}}})();\n"


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


def _name(pairing: Values, manifest: Values) -> str:
    if len(_takes(manifest)) == 1:
        return str(pairing["name"])
    return f"{pairing['name']}, {Path(take_of(manifest, pairing)['file']).stem}"


def _data(manifest: Values, files: Sequence[str], is_carried: bool) -> Values:
    """Return what the script needs to know."""
    takes = _takes(manifest)
    pairings = []
    for pairing in manifest["pairings"]:
        take, voices = take_of(manifest, pairing), _voices(pairing)
        as_is_db = _as_is_db(pairing)
        pairings.append(
            {
                "take": takes.index(take),
                "rate_hz": take["sample_rate_hz"],
                "duration_s": take["frames"] / take["sample_rate_hz"],
                "is_matched": pairing["is_matched"],
                "level_hint": level_hint(pairing, as_is_db),
                "voices": {
                    key: {"clip": 1 + files.index(c["file"]), "as_is_db": as_is_db[key]}
                    for key, c in voices.items()
                },
            }
        )
    blind = blind_data(manifest)
    return {"carried": is_carried, "pairings": pairings, "blind": blind}


def _as_is_db(pairing: Values) -> dict[str, float]:
    """Return the gains that take the match back: no voice is turned up, one stays."""
    gains_db = {key: float(clip["gain_db"]) for key, clip in _voices(pairing).items()}
    lowest = min(gains_db.values())
    return {key: lowest - gain_db for key, gain_db in gains_db.items()}


def _pairing(manifest: Values, pairing: Values, curves: MatchedCurves) -> str:
    """Return a pairing: what it comes to, the curve, settings, chains and levels."""
    clips, told = pairing["clips"], pairing["verdict"]
    take = take_of(manifest, pairing)
    sides = "".join(
        f'<div class="side {key}"><h3>{letter}</h3>'
        f'<p class="chain">{escape(clips[key]["chain"])}</p>'
        f"{settings_html(clips[key], key)}</div>"
        for key, letter in LETTERS.items()
    )
    differs = (
        "" if sentence(told[0]) == sentence(manifest["differs"]) else sentence(told[0])
    )
    mode = pairing.get("matched_by", "")
    level = level_words(pairing["is_matched"], mode, manifest["match"]["match_hz"])
    names = (_side_name(clips["a"], "A"), _side_name(clips["b"], "B"))
    tuning = str(take.get("tuning", ""))
    strings = [
        (note.rstrip("-0123456789"), hz)
        for note, hz in zip(tuning.split(), open_strings_hz(tuning), strict=True)
    ]
    told_strings = " The marks on top are the open strings." if strings else ""
    title = f"Curves of A and B, {level}. {told[2]} {curve_words(curves)}"
    return f"""<article class="pairing">
<h2>{escape(_name(pairing, manifest))}</h2>
{f'<p class="differs">{differs}</p>' if differs else ""}
<p class="verdict">{sentence(told[2])}</p>
{notices_html(pairing["notices"])}
<figure>
{curve_svg(curves, names, title, strings)}
<figcaption>Level over frequency, {level}: A solid, B dashed, what is left between \
them (B − A) dotted.{told_strings}</figcaption>
<details><summary>The curve as numbers</summary>
<div class="scroll" tabindex="0" role="region" aria-label="The curve as numbers">
<table class="numbers"><thead><tr><th scope="col">Hz</th><th scope="col">A, dB</th>\
<th scope="col">B, dB</th><th scope="col">B − A, dB</th></tr></thead>
<tbody>
{curve_table(curves)}
</tbody></table></div></details>
</figure>
<div class="sides">{sides}</div>
<p class="jump">{sentence(told[1])}</p>
{levels_html(pairing, manifest["match"]["match_hz"])}
<details><summary>Files of this pairing</summary>{files_html(pairing)}</details>
</article>"""


def _side_name(clip: Values, letter: str) -> str:
    name = clip.get("name") or clip.get("circuit")
    return f"{letter} {name}" if name else letter
