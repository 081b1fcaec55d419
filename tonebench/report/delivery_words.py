# SPDX-License-Identifier: GPL-3.0-or-later
"""What a client's folder says in words: tags, descriptions, a text to read first.

All of it comes from the manifest of a comparison. Writes nothing.
"""

import datetime
import os
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePath

from tonebench import __version__
from tonebench.audio.broadcast import (
    Broadcast,
    LevelsTold,
    broadcast_chunk,
    coding_history,
    info_chunk,
)
from tonebench.audio.tags import Tags
from tonebench.errors import RequestError
from tonebench.report.client_parts import Values, take_of
from tonebench.report.sheet import rows_of
from tonebench.study.exposure import exposure_words
from tonebench.units import format_db, format_level, format_value

READ_ME = "README.txt"
SUMS = "SHA256SUMS"
MADE_BY = f"tonebench {__version__}"
PREVIEW_WORDS = "preview, not for A/B"
_BITS = 24
_WIDTH = 78
_VOICES = {
    "a": "A",
    "b": "B",
    "dry": "dry, no circuit",
    "switch": "A and B by turns",
}
_CAUTION = (
    "Turn headphones and speakers down before you play a clip for the first time. "
    f"{exposure_words()}"
)


@dataclass(frozen=True, slots=True)
class ClipTold:
    """A clip of a manifest with what it belongs to."""

    manifest: Values
    pairing: Values
    letter: str

    @property
    def clip(self) -> Values:
        """The clip's own values."""
        values: Values = self.pairing["clips"][self.letter]
        return values

    @property
    def title(self) -> str:
        """What a player shows: the side, the pairing, the take if there are several."""
        words = [self.voice_words, str(self.pairing["name"])]
        if len(self.manifest["takes"]) > 1:
            words.append(str(take_of(self.manifest, self.pairing)["title"]))
        return ", ".join(words)

    @property
    def voice_words(self) -> str:
        """Which side it is, with its circuit."""
        word = _VOICES.get(self.letter, self.letter)
        if self.letter not in ("a", "b"):
            return word
        return f"{word} {self.clip.get('name') or self.clip.get('circuit')}"

    @property
    def settings_words(self) -> str:
        """Where every control stands."""
        rows = rows_of(self.clip.get("settings", {}))
        return ", ".join(f"{row.name} {row.words}" for row in rows)

    @property
    def level_words(self) -> str:
        """How loud it is, and how it was turned."""
        loudness = self.clip.get("loudness_lufs")
        told = [] if loudness is None else [format_level(loudness, "LUFS")]
        told.append(f"turned by {format_db(self.clip['gain_db'])}")
        if not self.pairing["is_matched"]:
            told.append("not matched")
        return ", ".join(told)

    @property
    def comment(self) -> str:
        """What it is made of, in one line."""
        return "; ".join(
            part
            for part in (
                str(self.clip.get("chain", "")),
                self.settings_words,
                self.level_words,
            )
            if part
        )

    def tags(self, is_preview: bool) -> Tags:
        """Return what players show of it."""
        is_told = f"{PREVIEW_WORDS}; " if is_preview else ""
        title = f"{self.title} ({PREVIEW_WORDS})" if is_preview else self.title
        return Tags(
            title=title,
            artist=str(self.manifest["client"].get("by", "")),
            album=str(self.manifest["title"]),
            comment=f"{is_told}{self.comment}",
            software=MADE_BY,
        )

    def chunks(self, channels: int, date: str) -> tuple[bytes, bytes]:
        """Return the broadcast extension and the titles of its WAV."""
        rate = take_of(self.manifest, self.pairing)["sample_rate_hz"]
        told = Broadcast(
            description=f"{self.title}; {self.comment}; {self.manifest['title']}",
            originator=MADE_BY,
            reference=str(self.clip["sha256"])[:32],
            history=coding_history(rate, _BITS, channels, MADE_BY),
            date=date,
            levels=_levels(self.clip),
        )
        tags = self.tags(is_preview=False)
        titles = {
            "INAM": tags.title,
            "IART": tags.artist,
            "IPRD": tags.album,
            "ICMT": tags.comment,
            "ISFT": tags.software,
            "ICRD": date,
        }
        return broadcast_chunk(told), info_chunk(titles)


def _levels(clip: Values) -> LevelsTold:
    """Return the levels that a manifest tells of a clip; silence tells none."""
    return LevelsTold(
        loudness_lufs=clip.get("loudness_lufs"),
        range_lu=clip.get("loudness_range_lu"),
        true_peak_dbtp=clip.get("true_peak_dbtp"),
        momentary_lufs=clip.get("momentary_max_lufs"),
        short_term_lufs=clip.get("short_term_max_lufs"),
    )


def made_on(environment: Mapping[str, str] = os.environ) -> str:
    """Return the day that ``SOURCE_DATE_EPOCH`` tells, "yyyy-mm-dd"; "" without it.

    Nothing else of a delivery knows a time, so that the same folder gives the same
    bytes.

    Raises
    ------
    RequestError
        If it isn't a whole number of seconds since 1970 within four-digit years.
    """
    text = environment.get("SOURCE_DATE_EPOCH", "")
    if not text:
        return ""
    try:
        moment = datetime.datetime.fromtimestamp(int(text), datetime.UTC)
    except (ValueError, OverflowError, OSError) as error:
        raise RequestError(
            "SOURCE_DATE_EPOCH must be a whole number of seconds since 1970, "
            f"got '{text}'; set it right, or unset it"
        ) from error
    return moment.date().isoformat()


def read_me(
    manifest: Values,
    files: Sequence[tuple[Values, ClipTold]],
    date: str,
    has_sheets: bool,
) -> str:
    """Return the text that a client reads first.

    Parameters
    ----------
    manifest : mapping
        The comparison's.
    files : sequence of (mapping, ClipTold)
        Every delivered clip, as `delivery.json` has it, with what it is.
    date : str
        From `made_on`.
    has_sheets : bool
        Whether there are sheets.
    """
    client = manifest["client"]
    lines = [str(manifest["title"]), "=" * min(_WIDTH, len(str(manifest["title"])))]
    for word in ("for", "by"):
        if client.get(word):
            lines.append(f"{'For' if word == 'for' else 'From'} {client[word]}")
    if date:
        lines.append(date)
    if client.get("note"):
        lines += ["", *_wrapped(str(client["note"]))]
    lines += ["", *_wrapped(_capital(manifest["differs"]) + ".")]
    lines += ["", *_wrapped(_CAUTION), "", *_wrapped(_how(files, has_sheets))]
    for pairing in manifest["pairings"]:
        mine = [(entry, told) for entry, told in files if told.pairing is pairing]
        take = take_of(manifest, pairing)
        name = f"{pairing['name']} ({take['title']})"
        lines += ["", name, "-" * min(_WIDTH, len(name))]
        for told in (*pairing["verdict"], *map(_capital, pairing["notices"])):
            lines += _wrapped(told if told[-1:] == "." else f"{told}.")
        lines.append("")
        letters = dict.fromkeys(told.letter for _, told in mine)
        for letter in letters:
            its = [(e, told) for e, told in mine if told.letter == letter]
            told = its[0][1]
            lines += _wrapped(f"{told.voice_words}: {told.comment}")
            for entry, _ in its:
                is_lossy = entry["kind"] == "preview"
                lines.append(f"    {entry['file']}")
                if is_lossy:
                    lines.append(f"      {PREVIEW_WORDS}")
        lines.append(f"    take: {_take_words(take)}")
    lines += [
        "",
        *_wrapped(
            f"{SUMS} holds the SHA-256 sum of every other file: "
            f"'sha256sum -c {SUMS}' in this folder says whether all are as they were "
            "made. delivery.json says the same to programs."
        ),
        "",
        f"Made with {MADE_BY}.",
    ]
    return "\n".join(lines) + "\n"


def _how(files: Sequence[tuple[Values, ClipTold]], has_sheets: bool) -> str:
    endings = {PurePath(str(entry["file"])).suffix for entry, _ in files}
    told = [
        "Open index.html to see the curves and to switch between A and B while they "
        "play. All clips of a pairing start on one sample."
    ]
    if ".wav" in endings:
        told.append("WAV: 24 bits, with broadcast extension (BWF), for work.")
    if ".flac" in endings:
        told.append("FLAC: the same samples, smaller, for sending.")
    if endings & {".mp3", ".ogg"}:
        kinds = " and ".join(sorted(e[1:].upper() for e in endings & {".mp3", ".ogg"}))
        told.append(
            f"{kinds}: {PREVIEW_WORDS}, since lossy coding changes each clip in "
            "another way."
        )
    told.append("CSV: the curves as figures.")
    if has_sheets:
        told.append("PNG: a sheet per pairing of 1920 × 1080, to be shown in a video.")
    return " ".join(told)


def _take_words(take: Values) -> str:
    rate = format_value(take["sample_rate_hz"], "Hz", digits=6)
    return f"{take['file']}, {take['frames'] / take['sample_rate_hz']:.1f} s, {rate}"


def _capital(text: object) -> str:
    words = str(text)
    return words[:1].upper() + words[1:]


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, break_long_words=False, break_on_hyphens=False)
