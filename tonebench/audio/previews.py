# SPDX-License-Identifier: GPL-3.0-or-later
"""Lossy copies of clips, for a first impression: MP3 and Ogg Vorbis with tags.

The same clip gives the same bytes. What a lossy coder leaves out differs between two
clips, so these are never what A and B are judged by. Knows nothing of comparisons.
"""

import shutil
from collections.abc import Callable
from pathlib import Path

from tonebench.audio.clip_files import encode_lossy
from tonebench.audio.files import TakeInfo, TakeReader
from tonebench.audio.outputs import reported, whole_file
from tonebench.audio.tags import Tags, id3_tag, ogg_page_length, with_fixed_serial
from tonebench.errors import AudioError

PREVIEW_ENDINGS = (".mp3", ".ogg")
#: MPEG-1 layer III (ISO/IEC 11172-3); of its half and quarter rates the encoder makes
#: frames that a decoder complains of.
_MP3_RATES_HZ = (32000, 44100, 48000)
_LARGEST_PAGE = 27 + 255 + 255 * 255


def can_preview(info: TakeInfo, ending: str) -> bool:
    """Return whether a preview of this kind holds the rate and the channels."""
    if ending == ".mp3":
        return info.sample_rate_hz in _MP3_RATES_HZ and info.channels <= 2
    return 8000 <= info.sample_rate_hz <= 192_000 and info.channels <= 8


def write_preview(
    source: Path,
    path: Path,
    tags: Tags,
    *,
    stop: Callable[[], None] = lambda: None,
) -> None:
    """Write a lossy copy of a clip; the name's ending says of which kind.

    Parameters
    ----------
    source, path : Path
        The clip, and where to: a name that ends in ``.mp3`` or ``.ogg``.
    tags : Tags
        What players show.
    stop : callable
        Asked before every block; what it raises ends the work.

    Raises
    ------
    RequestError
        If the format doesn't hold the rate or the channels.
    AudioError
        If the clip can't be read.
    OutputError
        If the disk is full; nothing is left behind then.
    """
    kind = path.suffix
    raw = path.with_name(f".{path.name}.bare")
    try:
        with whole_file(path) as part, TakeReader(source) as take, reported(path):
            encode_lossy(take, raw, path, tags if kind == ".ogg" else None, stop)
            if kind == ".mp3":
                _put_tag_in_front(raw, part, tags)
            else:
                _fix_serials(raw, part)
    finally:
        raw.unlink(missing_ok=True)


def _put_tag_in_front(raw: Path, part: Path, tags: Tags) -> None:
    with raw.open("rb") as sound, part.open("wb") as written:
        written.write(id3_tag(tags))
        shutil.copyfileobj(sound, written)


def _fix_serials(raw: Path, part: Path) -> None:
    """Copy an Ogg stream page by page, with a serial number of ours."""
    held = b""
    with raw.open("rb") as sound, part.open("wb") as written:
        while held := held + sound.read(_LARGEST_PAGE):
            length = ogg_page_length(held)
            if not 0 < length <= len(held):
                raise AudioError(f"{part}: the encoder gave no Ogg pages")
            written.write(with_fixed_serial(held[:length]))
            held = held[length:]
