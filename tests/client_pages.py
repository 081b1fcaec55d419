# SPDX-License-Identifier: GPL-3.0-or-later
"""Small comparisons as folders and manifests, for tests of the page made of them.

The clips are seeded 24-bit noise, so that no frame of one is like any other.
"""

import json
import re
from collections.abc import Sequence
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sounds import RATE, write_24

from tonebench.compare.verdict import MatchedCurves
from tonebench.report.client import write_page
from tonebench.report.client_pairing import Shown
from tonebench.report.client_words import PairWords, SideWords

#: Frequencies whose third octaves are all among them: 20 Hz to 20 kHz.
HZ = np.geomspace(20, 20_000, 481)
EDGES = [-(2**23), -(2**23) + 1, -1, 0, 1, 2**23 - 2, 2**23 - 1]


def integers(seed: int, frames: int = RATE, channels: int = 1) -> NDArray[np.int64]:
    """Return noise of 24-bit integers with the edges of their range in front."""
    values = np.random.default_rng(seed).integers(-(2**20), 2**20, (frames, channels))
    values[: len(EDGES), 0] = EDGES
    return values


def clip(file: str, gain_db: float, **settings: Any) -> dict[str, Any]:
    """Return a clip's entry of a manifest."""
    return {
        "file": file,
        "chain": "sedge → 700 pF lead → tern → 10 kΩ",
        "settings": settings,
        "gain_db": gain_db,
        "loudness_lufs": -23.0,
        "before": {
            "loudness_lufs": -23.0 - gain_db,
            "rms_dbfs": -21.0 - gain_db,
            "peak_dbfs": None,
            "gain_at_match_hz_db": 1.5,
        },
    }


def pairing(name: str, clips: dict[str, Any], **more: Any) -> dict[str, Any]:
    """Return a pairing's entry of a manifest."""
    return {
        "name": name,
        "differs": "only the circuit differs: tern against plover",
        "verdict": [
            "Only the circuit differs: tern against plover.",
            "Without matching, switching to B: −1.8 dB by loudness; A is turned down.",
            "At one level B has, against A: treble −10.8 dB at 3.79 kHz.",
        ],
        "notices": [],
        "jump_db": {"loudness": -1.8, "rms": None, "frequency": -1.2},
        "is_matched": True,
        "clips": clips,
        **more,
    }


def manifest_of(
    pairings: Sequence[dict[str, Any]],
    frames: int = RATE,
    channels: int = 1,
    rate: int = RATE,
    **more: Any,
) -> dict[str, Any]:
    """Return a manifest of some pairings, all on one take."""
    return {
        "schema": 1,
        "tonebench": "0.1.0",
        "title": "Both boxes at flat",
        "differs": "only the circuit differs: tern against plover",
        "take": {
            "file": "harbour-walk.flac",
            "sample_rate_hz": rate,
            "channels": channels,
            "frames": frames,
        },
        "match": {"mode": "loudness", "match_hz": 500.0},
        "trim_db": 0.0,
        "client": {"by": "a workshop", "for": "a player", "note": "Why is it dull?"},
        "pairings": list(pairings),
        **more,
    }


def curves_of(manifest: dict[str, Any]) -> list[MatchedCurves]:
    """Return curves for each pairing: A level, B falling by 3 dB an octave."""
    falling = -3 * np.log2(HZ / 1000)
    return [MatchedCurves(HZ, np.zeros(len(HZ)), falling) for _ in manifest["pairings"]]


def shown_of(manifest: dict[str, Any]) -> list[Shown]:
    """Return what is shown of each pairing: curves, a growing outline, and words."""
    side = SideWords("Tilt (tern)", (("Tilt: a tilt, against 5", "At 0: +6.0 dB"),))
    other = SideWords("Shelf (plover)", (("Bass: a shelf, against 5",),))
    words = PairWords(side, other, ("treble: B is 10.8 dB quieter",), "B is quieter:")
    outline = np.linspace(0.1, 1, 50)
    return [Shown(curves, outline, words) for curves in curves_of(manifest)]


def comparison(folder: Path, frames: int = RATE, rate: int = RATE) -> dict[str, Any]:
    """Write clips of two pairings into a folder, the first with a dry take; a manifest.

    In the first, A was turned down by 2 dB and the dry take by 6; in the other, B by 3.
    """
    for seed, name in enumerate(["a", "b", "dry", "b2"], start=1):
        write_24(folder / f"{name}.wav", integers(seed, frames), rate)
    return manifest_of(
        [
            pairing(
                "both flat",
                {
                    "a": clip("a.wav", -2.0, tilt=5.0, level=10.0),
                    "b": clip("b.wav", 0.0, bass=7.5, range="high"),
                    "dry": clip("dry.wav", -6.0),
                },
            ),
            pairing(
                "turned up",
                {
                    "a": clip("a.wav", 0.0, tilt=5.0),
                    "b": clip("b2.wav", -3.0, bass=0.0),
                },
            ),
        ],
        frames,
        rate=rate,
    )


def page_of(folder: Path, manifest: dict[str, Any]) -> str:
    """Write the page of a manifest, and return its text."""
    write_page(folder, manifest, shown_of(manifest))
    return (folder / "index.html").read_text(encoding="utf-8")


class Page(HTMLParser):
    """A page as the standard library reads it: its elements, and the text of some."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[tuple[str, dict[str, str | None], str]] = []
        self._open: list[tuple[str, dict[str, str | None], list[str]]] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in ("meta", "input"):
            self._open.append((tag, dict(attrs), []))

    def handle_endtag(self, tag: str) -> None:
        opened, attributes, words = self._open.pop()
        assert opened == tag, f"</{tag}> ends <{opened}>"
        self.texts.append((tag, attributes, "".join(words)))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        for _, _, words in self._open:
            words.append(data)

    def told(self, tag: str, **attributes: str) -> list[str]:
        """Return the texts of the elements of a kind, with these attributes."""
        return [
            text
            for found, given, text in self.texts
            if found == tag and attributes.items() <= given.items()
        ]

    def all(self, tag: str) -> list[dict[str, str | None]]:
        """Return the attributes of all elements of a kind."""
        return [attributes for found, attributes in self.elements if found == tag]

    @property
    def data(self) -> dict[str, Any]:
        """What the page tells its script."""
        (text,) = self.told("script", id="data")
        values = json.loads(text)
        assert isinstance(values, dict)
        return values

    @property
    def policy(self) -> dict[str, list[str]]:
        """The content security policy, by directive."""
        (content,) = [
            meta["content"]
            for meta in self.all("meta")
            if meta.get("http-equiv") == "Content-Security-Policy"
        ]
        assert content is not None
        parts = [part.split() for part in content.split(";")]
        return {part[0]: part[1:] for part in parts}


def carried_by(text: str) -> tuple[int, str]:
    """Return the number and the base64 text that a carrier hands over."""
    match = re.fullmatch(r'tonebenchClip\((\d+),"([A-Za-z0-9+/=]+)"\);\n', text)
    assert match is not None
    return int(match[1]), match[2]
