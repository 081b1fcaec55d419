# SPDX-License-Identifier: GPL-3.0-or-later
"""What a client gets of a comparison: clips with names and tags, sheets, page, sums.

Made from the folder that a comparison was written to, which is only read: nothing is
rendered again, so that what is delivered is what was judged. Whole, or not at all.
"""

import contextlib
import json
import re
import shutil
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tonebench.audio.clip_files import ClipWriter
from tonebench.audio.files import TakeInfo, TakeReader
from tonebench.audio.outputs import (
    is_same_file,
    reported,
    sha256_of,
    whole_folder,
    write_whole,
)
from tonebench.audio.previews import can_preview, write_preview
from tonebench.audio.wav_copy import copy_wav
from tonebench.errors import OutputError, RequestError
from tonebench.render.offline import Progress
from tonebench.report.client import PAGE
from tonebench.report.client_parts import take_of
from tonebench.report.comparison import MANIFEST
from tonebench.report.curve_files import read_pair_csv
from tonebench.report.delivery_names import (
    PREVIEW,
    clip_part,
    level_part,
    pairing_part,
    rate_part,
)
from tonebench.report.delivery_source import checked_clip, read_manifest
from tonebench.report.delivery_words import (
    MADE_BY,
    READ_ME,
    SUMS,
    ClipTold,
    made_on,
    read_me,
)
from tonebench.report.sheet import SHEETS, draw_sheet

DELIVERY = "delivery.json"
FORMATS = ("wav", "flac", "mp3", "ogg")
#: What is made unless asked: for work, for sending, for a first impression; Ogg stands
#: in where there is no MP3 of the rate.
USUAL_FORMATS = ("wav", "flac", "mp3")
_LOSSY = ("mp3", "ogg")
_AT_A_TIME = 2
_DEPTH = "24b"
_FILE_IN_PAGE = re.compile(rb"(?<=<code>)[^<]+(?=</code>)")


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is to be delivered; without formats the usual ones."""

    formats: tuple[str, ...] = ()
    sheets: tuple[str, ...] = tuple(SHEETS)

    def __post_init__(self) -> None:
        for word, names, known in (
            ("format", self.formats, FORMATS),
            ("sheet", self.sheets, tuple(SHEETS)),
        ):
            for name in names:
                if name not in known:
                    raise RequestError(
                        f"there is no {word} '{name}'; choose from {', '.join(known)}"
                    )

    @classmethod
    def asked(cls, formats: str | None, sheets: str | None) -> "Wanted":
        """Return what two lists with commas ask for; no sheet for "none"."""

        def split(text: str) -> tuple[str, ...]:
            names = (name.strip().lower() for name in text.split(","))
            return tuple(dict.fromkeys(name for name in names if name))

        shown = tuple(SHEETS) if sheets is None else split(sheets)
        return cls(
            formats=split(formats) if formats is not None else (),
            sheets=() if shown == ("none",) else shown,
        )

    def formats_for(self, info: TakeInfo) -> tuple[str, ...]:
        """Return the formats of a clip.

        Raises
        ------
        RequestError
            If one was asked for that doesn't hold its rate or channels.
        """
        if self.formats:
            for name in self.formats:
                if name in _LOSSY and not can_preview(info, f".{name}"):
                    raise RequestError(
                        f"{info.path.name}: {name} doesn't hold {info.channels} "
                        f"channels at {info.sample_rate_hz} Hz; leave it out"
                    )
            return self.formats
        if can_preview(info, ".mp3"):
            return USUAL_FORMATS
        others = [name for name in USUAL_FORMATS if name != "mp3"]
        return (*others, *(["ogg"] if can_preview(info, ".ogg") else []))


@dataclass(frozen=True, slots=True)
class _Job:
    """A file to make of a clip."""

    told: ClipTold
    info: TakeInfo
    name: str
    kind: str


class _Stopped(Exception):
    """Another thread has failed, or was interrupted."""


def write_delivery(
    source: Path,
    folder: Path,
    wanted: Wanted | None = None,
    *,
    force: bool = False,
    date: str | None = None,
    progress: Progress = lambda share: None,
) -> dict[str, Any]:
    """Write a client's folder from a comparison's; return what `delivery.json` holds.

    Parameters
    ----------
    source, folder : Path
        The folder that a comparison was written to, and where to.
    wanted : Wanted, optional
        Which formats and sheets.
    force : bool
        Whether a folder with files in it may be used; those of an earlier delivery
        that this one doesn't have are taken away.
    date : str, optional
        The day that is told; otherwise that of ``SOURCE_DATE_EPOCH``, or none.

    Raises
    ------
    InputError
        If `source` holds no comparison, or its clips were changed since.
    RequestError
        If `folder` is `source`, or a format doesn't hold a clip.
    OutputError
        If `folder` holds files already and `force` is off, or can't be written.
    """
    wanted = wanted or Wanted()
    date = made_on() if date is None else date
    manifest = read_manifest(source)
    if is_same_file(source, folder):
        raise RequestError(
            f"{folder}: is the comparison's own folder; give another one"
        )
    earlier = _files_of(folder)
    with whole_folder(folder, force) as part, _named(part, folder):
        jobs = _jobs(source, manifest, wanted)
        steps = len(jobs) + len(wanted.sheets) * len(manifest["pairings"])
        _make(jobs, source, part, date, lambda done: progress(done / steps))
        entries = [_entry(part, job) for job in jobs]
        told = [job.told for job in jobs]
        rest = _cues(source, part, jobs)
        for number in range(1, len(manifest["pairings"]) + 1):
            rest += _curves(source, part, manifest, number, wanted.sheets)
            progress((len(jobs) + number * len(wanted.sheets)) / steps)
        rest += _page(source, part, jobs)
        named = list(zip(entries, told, strict=True))
        text = read_me(manifest, named, date, bool(wanted.sheets))
        rest.append(_written(part, READ_ME, "words", text.encode("utf-8")))
        values = {
            "schema": 1,
            "tonebench": manifest["tonebench"],
            "delivered_by": MADE_BY,
            "title": manifest["title"],
            **({"made_on": date} if date else {}),
            "comparison_sha256": sha256_of(source / MANIFEST),
            "formats": list(wanted.formats),
            "sheets": list(wanted.sheets),
            "files": [*entries, *rest],
        }
        listed = json.dumps(values, indent=2, ensure_ascii=False, allow_nan=False)
        write_whole(part / DELIVERY, f"{listed}\n".encode())
        sums = sorted((entry.name, sha256_of(entry)) for entry in part.iterdir())
        lines = "".join(f"{digest}  {name}\n" for name, digest in sums)
        write_whole(part / SUMS, lines.encode("ascii"))
        written = {entry.name for entry in part.iterdir()}
    for path in (folder / name for name in earlier - written):
        if path.is_file():
            path.unlink()
    return values


@contextlib.contextmanager
def _named(part: Path, folder: Path) -> Iterator[None]:
    """Let an error name the folder that was asked for, not the temporary one."""
    try:
        yield
    except OutputError as error:
        raise OutputError(str(error).replace(str(part), str(folder))) from error


def _files_of(folder: Path) -> set[str]:
    """Return what an earlier delivery left in a folder, by its own list."""
    try:
        listed = json.loads((folder / DELIVERY).read_bytes())["files"]
        return {e["file"] for e in listed if e["file"] == Path(e["file"]).name}
    except (OSError, ValueError, KeyError, TypeError):
        return set()


def _start(manifest: Mapping[str, Any], number: int) -> str:
    """Return what the names of a pairing begin with; pairings count from 1."""
    pairing = manifest["pairings"][number - 1]
    take = Path(str(take_of(manifest, pairing)["file"])).stem
    return pairing_part(str(manifest["title"]), number, take)


def _jobs(source: Path, manifest: dict[str, Any], wanted: Wanted) -> list[_Job]:
    jobs = []
    match_hz = manifest["match"]["match_hz"]
    for number, pairing in enumerate(manifest["pairings"], start=1):
        start = _start(manifest, number)
        for letter, clip in pairing["clips"].items():
            info = checked_clip(source, clip)
            level = level_part(pairing, clip, match_hz)
            rate = rate_part(info.sample_rate_hz)
            stem = clip_part(start, letter, clip, level, rate)
            for kind in wanted.formats_for(info):
                depth = PREVIEW if kind in _LOSSY else _DEPTH
                told = ClipTold(manifest, pairing, letter)
                jobs.append(_Job(told, info, f"{stem}_{depth}.{kind}", kind))
    return jobs


def _make(
    jobs: Sequence[_Job],
    source: Path,
    part: Path,
    date: str,
    progress: Callable[[int], None],
) -> None:
    """Make all clips, two at a time; none goes on once one has failed."""
    is_over = threading.Event()

    def stop() -> None:
        if is_over.is_set():
            raise _Stopped

    def make(job: _Job) -> None:
        stop()
        path, clip = part / job.name, source / job.told.clip["file"]
        if job.kind == "wav":
            before, behind = job.told.chunks(job.info.channels, date)
            copy_wav(clip, path, [before], [behind], stop=stop)
        elif job.kind == "flac":
            _write_flac(clip, path, job, stop)
        else:
            write_preview(clip, path, job.told.tags(is_preview=True), stop=stop)

    with ThreadPoolExecutor(_AT_A_TIME) as threads:
        futures = [threads.submit(make, job) for job in jobs]
        try:
            for done, future in enumerate(futures, start=1):
                future.result()
                progress(done)
        except BaseException:
            is_over.set()
            threads.shutdown(wait=False, cancel_futures=True)
            raise


def _write_flac(clip: Path, path: Path, job: _Job, stop: Callable[[], None]) -> None:
    info = job.info
    with (
        TakeReader(clip) as take,
        ClipWriter(
            path,
            info.sample_rate_hz,
            info.channels,
            tags=job.told.tags(is_preview=False),
        ) as writer,
    ):
        for block in take.blocks():
            stop()
            writer.write(block)


def _entry(part: Path, job: _Job) -> dict[str, Any]:
    return {
        "file": job.name,
        "kind": "preview" if job.kind in _LOSSY else "clip",
        "pairing": job.told.pairing["name"],
        "take": job.told.pairing["take"],
        "clip": job.told.letter,
        "sha256": sha256_of(part / job.name),
    }


def _written(part: Path, name: str, kind: str, data: bytes) -> dict[str, Any]:
    write_whole(part / name, data)
    return {"file": name, "kind": kind, "sha256": sha256_of(part / name)}


def _copied(source: Path, path: Path, kind: str) -> dict[str, Any]:
    with reported(path):
        shutil.copyfile(source, path)
    return {"file": path.name, "kind": kind, "sha256": sha256_of(path)}


def _cues(source: Path, part: Path, jobs: Sequence[_Job]) -> list[dict[str, Any]]:
    """Copy the cues of clips that switch, each with the name of its first file."""
    found = {}
    for job in jobs:
        cues = job.told.clip.get("cues")
        if cues and cues not in found:
            path = (part / job.name).with_suffix(".vtt")
            found[cues] = _copied(source / cues, path, "cues")
    return list(found.values())


def _curves(
    source: Path,
    part: Path,
    manifest: dict[str, Any],
    number: int,
    sheets: Sequence[str],
) -> list[dict[str, Any]]:
    """Write the curves of a pairing as figures and as sheets."""
    pairing, start = manifest["pairings"][number - 1], _start(manifest, number)
    table = source / pairing["curves"]["csv"]
    curves = read_pair_csv(table)
    found = [_copied(table, part / f"{start}_curves.csv", "curves")]
    for word in sheets:
        drawn = draw_sheet(manifest, pairing, curves, SHEETS[word])
        found.append(_written(part, f"{start}_sheet-{word}.png", "sheet", drawn))
    return found


def _page(source: Path, part: Path, jobs: Sequence[_Job]) -> list[dict[str, Any]]:
    """Copy the page, with the names that its files have here."""
    names: dict[bytes, bytes] = {}
    for job in jobs:
        clip, new = job.told.clip, Path(job.name)
        names.setdefault(clip["file"].encode(), new.name.encode())
        if clip.get("cues"):
            names.setdefault(
                clip["cues"].encode(), new.with_suffix(".vtt").name.encode()
            )
    page = _FILE_IN_PAGE.sub(
        lambda found: names.get(found[0], found[0]), (source / PAGE).read_bytes()
    )
    carried = sorted(source.glob("clip-*.js"))
    return [
        _written(part, PAGE, "page", page),
        *(_copied(path, part / path.name, "page") for path in carried),
    ]
