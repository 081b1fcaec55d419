# SPDX-License-Identifier: GPL-3.0-or-later
"""The two clips of a comparison's folder that a blind test is about, and their levels.

They must be those that the manifest tells of, of one shape, and at one level within
0.1 dB, measured on the files themselves: a louder clip is preferred, and known again.
"""

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tonebench.audio.files import TakeInfo, TakeReader
from tonebench.audio.meters import Meters
from tonebench.audio.outputs import sha256_of
from tonebench.compare.blind_session import read_values
from tonebench.errors import AudioError, CheckFailed, InputError, RequestError
from tonebench.units import format_level

#: Commonly asked for in blind listening tests (common practice, no source).
ALLOWED_GAP_DB = 0.1
#: Below it, a loudness rests on too little; RMS is gone by.
SHORT_S = 3.0


@dataclass(frozen=True, slots=True)
class LevelGap:
    """How loud A and B are, in LUFS by "loudness" or in dBFS by "RMS"."""

    by: str
    a_db: float
    b_db: float

    @property
    def gap_db(self) -> float:
        """How far apart they are, never below 0; infinite if one is silent."""
        gap_db = abs(self.b_db - self.a_db)
        return gap_db if math.isfinite(gap_db) else math.inf

    def words(self) -> str:
        """Return the levels in a sentence."""
        unit = "LUFS" if self.by == "loudness" else "dBFS"
        a, b = (format_level(level, unit) for level in (self.a_db, self.b_db))
        return (
            f"{self.by}: A {a}, B {b}; {self.gap_db:.2f} dB apart, "
            f"{ALLOWED_GAP_DB:g} dB allowed"
        )

    def as_json(self) -> dict[str, Any]:
        """Return the levels as plain values."""
        return {"by": self.by, "a_db": self.a_db, "b_db": self.b_db}

    def refuse_if_apart(self) -> None:
        """Refuse a test between clips of different level, by CheckFailed."""
        silent = [
            letter
            for letter, level in (("A", self.a_db), ("B", self.b_db))
            if not math.isfinite(level)
        ]
        if silent:
            raise CheckFailed(
                f"{' and '.join(silent)} {'are' if silent[1:] else 'is'} silent, so "
                "there is nothing to compare; run tonebench compare on another take"
            )
        if self.gap_db > ALLOWED_GAP_DB:
            louder, softer = ("A", "B") if self.a_db > self.b_db else ("B", "A")
            raise CheckFailed(
                f"{louder} is {self.gap_db:.2f} dB above {softer} by {self.by}, "
                f"and a blind test allows {ALLOWED_GAP_DB:g} dB; run tonebench compare "
                f"again with --match {self.by.lower()}"
            )


@dataclass(frozen=True, slots=True)
class BlindPair:
    """A pairing's clips: what they are of, their files, hashes and shape."""

    comparison: str
    name: str
    take: str
    files: tuple[Path, Path]
    sha256: tuple[str, str]
    info: TakeInfo


def find_pair(folder: Path, name: str | None) -> BlindPair:
    """Return a pairing of a folder that ``tonebench compare`` wrote.

    Parameters
    ----------
    folder : Path
        The folder.
    name : str or None
        The pairing's name, or its name, a comma and its take's; None: the first.

    Raises
    ------
    InputError
        If there is no manifest, or a clip isn't the one that it tells of.
    RequestError
        If none has that name, or several have it.
    """
    if not (folder / "manifest.json").is_file():
        raise InputError(
            f"{folder}: holds no manifest.json; give a folder that tonebench compare "
            "wrote"
        )
    values = read_values(folder / "manifest.json")
    try:
        pairing = _chosen(folder, values["pairings"], name)
        clips = [pairing["clips"][letter] for letter in ("a", "b")]
        files = (folder / clips[0]["file"], folder / clips[1]["file"])
        told = (str(clips[0]["sha256"]), str(clips[1]["sha256"]))
        words = str(values["title"]), str(pairing["name"]), str(pairing["take"])
    except (KeyError, TypeError, IndexError) as error:
        raise InputError(
            f"{folder / 'manifest.json'}: is not a comparison's manifest"
        ) from error
    for file, sha256 in zip(files, told, strict=True):
        if sha256_of(file) != sha256:
            raise InputError(
                f"{file}: is not the clip that the manifest tells of; run tonebench "
                "compare again"
            )
    return BlindPair(*words, files, told, _shape(files))


def _chosen(folder: Path, pairings: list[dict[str, Any]], name: str | None) -> Any:
    """Return the pairing of a name; the first if there is no name."""
    if name is None:
        return pairings[0]
    long = [f"{p['name']}, {Path(p['take']).stem}" for p in pairings]
    short = [str(p["name"]) for p in pairings]
    for known in (short, long):
        if known.count(name) == 1:
            return pairings[known.index(name)]
    names = short if len(set(short)) == len(short) else long
    listed = "; ".join(f"'{known}'" for known in names)
    raise RequestError(
        f"{folder}: no one pairing is called '{name}'; there are {listed}"
    )


def _shape(files: tuple[Path, Path]) -> TakeInfo:
    infos = []
    for file in files:
        with TakeReader(file) as clip:
            infos.append(clip.info)
    a, b = ((i.sample_rate_hz, i.channels, i.frames) for i in infos)
    if a != b:
        raise AudioError(
            f"{files[1]}: differs from {files[0].name} in rate, channels or length; "
            "run tonebench compare again"
        )
    return infos[0]


def measure_gap(pair: BlindPair) -> LevelGap:
    """Measure both clips: by loudness, or by RMS if they are short or too soft for it.

    Raises
    ------
    AudioError
        If a clip can't be read to its end.
    """
    readings = []
    for file in pair.files:
        meters = Meters(pair.info.sample_rate_hz, pair.info.channels)
        with TakeReader(file) as clip:
            for block in clip.blocks():
                meters.feed(block)
        readings.append((meters.loudness.integrated_lufs(), meters.level.rms_dbfs))
    by_loudness, by_rms = zip(*readings, strict=True)
    if pair.info.duration_s >= SHORT_S and all(map(math.isfinite, by_loudness)):
        return LevelGap("loudness", *by_loudness)
    return LevelGap("RMS", *by_rms)
