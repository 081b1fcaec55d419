# SPDX-License-Identifier: GPL-3.0-or-later
"""A pairing of a comparison's page: the sentence, curves, take, and reasons.

All texts are escaped here. Computes nothing, and knows no sound.
"""

from collections.abc import Sequence
from html import escape
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.take import open_strings_hz
from tonebench.compare.matching import level_words
from tonebench.compare.verdict import MatchedCurves
from tonebench.report.client_curve import (
    best_place,
    curve_svg,
    curve_table,
    curve_words,
)
from tonebench.report.client_levels import heard_html
from tonebench.report.client_parts import (
    LETTERS,
    Values,
    files_html,
    levels_html,
    notices_html,
    sentence,
    settings_html,
    take_of,
)
from tonebench.report.client_strip import strip_html
from tonebench.report.client_words import PairWords, SideWords


class Shown(NamedTuple):
    """What a page shows of a pairing besides its entry in the manifest.

    `outline` holds the take's peaks in even pieces.
    """

    curves: MatchedCurves
    outline: NDArray[np.float64] | None = None
    words: PairWords | None = None


def pairing_html(manifest: Values, number: int, name: str, shown: Shown) -> str:
    """Return a pairing: what it comes to, curves, take, settings, reasons, levels."""
    pairing = manifest["pairings"][number]
    clips, told = pairing["clips"], pairing["verdict"]
    take = take_of(manifest, pairing)
    opening = sentence(told[0])
    differs = "" if opening == sentence(manifest["differs"]) else opening
    sides = "".join(
        f'<div class="side {key}"><h3>{letter}</h3>'
        f'<p class="chain">{escape(clips[key]["chain"])}</p>'
        f"{settings_html(clips[key], key)}</div>"
        for key, letter in LETTERS.items()
    )
    return f"""<article class="pairing">
<h2>{escape(name)}</h2>
{f'<p class="differs">{differs}</p>' if differs else ""}
<p class="verdict">{sentence(told[2])}</p>
{notices_html(pairing["notices"])}
{_figure(manifest, number, shown.curves)}
{strip_html(pairing, take["frames"] / take["sample_rate_hz"], shown.outline)}
{_why(shown.words)}
<div class="sides">{sides}</div>
{_knobs(shown.words)}
<p class="jump">{sentence(told[1])}</p>
{levels_html(pairing, manifest["match"]["match_hz"])}
{heard_html(pairing)}
<details><summary>Files of this pairing</summary>{files_html(pairing)}</details>
</article>"""


def _figure(manifest: Values, number: int, curves: MatchedCurves) -> str:
    """Return the curves with what reads them, and as numbers."""
    pairing = manifest["pairings"][number]
    take = take_of(manifest, pairing)
    mode = pairing.get("matched_by", "")
    level = level_words(pairing["is_matched"], mode, manifest["match"]["match_hz"])
    clips = pairing["clips"]
    names = (_side_name(clips["a"], "A"), _side_name(clips["b"], "B"))
    tuning = str(take.get("tuning", ""))
    strings = [
        (note.rstrip("-0123456789"), hz)
        for note, hz in zip(tuning.split(), open_strings_hz(tuning), strict=True)
    ]
    told_strings = " The marks on top are the open strings." if strings else ""
    title = f"Curves of A and B, {level}. {pairing['verdict'][2]} {curve_words(curves)}"
    last, place = len(curves.frequency_hz) - 1, best_place(curves)
    return f"""<figure>
{curve_svg(curves, names, title, strings)}
<div class="reading" hidden><label for="read-{number}">Read the curves at</label>
<p class="read"></p>
<input type="range" class="read-at" id="read-{number}" autocomplete="off" min="0" \
max="{last}" step="1" value="{place}"></div>
<figcaption>Level over frequency, {level}: A solid, B dashed, what is left between \
them (B − A) dotted.{told_strings}</figcaption>
<details class="on-paper"><summary>The curve as numbers</summary>
<div class="scroll" tabindex="0" role="region" aria-label="The curve as numbers">
<table class="numbers"><thead><tr><th scope="col">Hz</th><th scope="col">A, dB</th>\
<th scope="col">B, dB</th><th scope="col">B − A, dB</th></tr></thead>
<tbody>
{curve_table(curves)}
</tbody></table></div>
<button type="button" class="save" hidden>Save all points as CSV</button></details>
</figure>"""


def _why(words: PairWords | None) -> str:
    """Return where B differs and what is behind it."""
    if words is None:
        return ""
    opening = f"<p>{_opening(words.opening)}</p>" if words.opening else ""
    told = "".join(f"<li>{sentence(each)}</li>" for each in words.differences)
    listed = f"<ol>{told}</ol>" if told else ""
    return (
        f'<section class="why"><h3>Why B differs from A</h3>{opening}{listed}</section>'
    )


def _opening(words: str) -> str:
    """Return words as a sentence; one that ends in a colon stays open."""
    return sentence(f"{words}.")[:-1] if words.endswith(":") else sentence(words)


def _knobs(words: PairWords | None) -> str:
    """Return what the knobs do: the gist, and all of it folded away."""
    if words is None:
        return ""
    told = {"A and B": words.a} if words.is_one else {"A": words.a, "B": words.b}
    gist = "".join(_side_knobs(letter, side) for letter, side in told.items())
    full = "".join(
        f"<h4>{letter}: {escape(side.title)}</h4>"
        + "".join(f"<p>{' '.join(map(sentence, each))}</p>" for each in side.controls)
        for letter, side in told.items()
        if any(len(each) > 1 for each in side.controls)
    )
    if full:
        summary = "<summary>The knobs position by position</summary>"
        full = f"<details>{summary}{full}</details>"
    return (
        '<section class="knobs"><h3>What the knobs do</h3>'
        f'<div class="{"" if words.is_one else "sides"}">{gist}</div>{full}</section>'
    )


def _side_knobs(letter: str, side: SideWords) -> str:
    rows = "".join(f"<li>{sentence(each[0])}</li>" for each in side.controls)
    told = f"<ul>{rows}</ul>" if rows else "<p>There is nothing to turn or switch.</p>"
    key = letter.lower() if letter in ("A", "B") else "both"
    return (
        f'<div class="side {key}"><h4>{letter}: {escape(side.title)}</h4>{told}</div>'
    )


def curve_values(
    curves: MatchedCurves, file: str, top_db: float, low_db: float
) -> Values:
    """Return the curves as the script reads them; silence is null."""

    def rounded(values: NDArray[np.float64]) -> list[float | None]:
        return [round(float(v), 2) if np.isfinite(v) else None for v in values]

    return {
        "low_hz": float(curves.frequency_hz[0]),
        "high_hz": float(curves.frequency_hz[-1]),
        "top_db": round(top_db, 3),
        "bottom_db": round(low_db, 3),
        "a_db": rounded(curves.a_db),
        "b_db": rounded(curves.b_db),
        "file": file,
    }


def _side_name(clip: Values, letter: str) -> str:
    name = clip.get("name") or clip.get("circuit")
    return f"{letter} {name}" if name else letter


def names_of(manifest: Values, takes: Sequence[Values]) -> list[str]:
    """Return what the pairings are called, with the take where there are several."""
    names = []
    for pairing in manifest["pairings"]:
        stem = take_of(manifest, pairing)["file"].rpartition(".")[0]
        more = f", {stem}" if len(takes) > 1 else ""
        names.append(f"{pairing['name']}{more}")
    return names
