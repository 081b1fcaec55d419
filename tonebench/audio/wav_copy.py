# SPDX-License-Identifier: GPL-3.0-or-later
"""A WAV copied with other chunks around the same samples, in constant memory.

The samples are copied as bytes, so no rounding can creep in. What would pass 4 GiB is
written as RF64 (EBU Tech 3306). Knows nothing of what the chunks say.
"""

import struct
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from tonebench.audio.broadcast import chunk
from tonebench.audio.outputs import reported, whole_file
from tonebench.errors import AudioError, OutputError

_LARGEST_RIFF_BYTES = (1 << 32) - 2  # its length has 32 bits and doesn't count 8 bytes
_UNKNOWN = 0xFFFFFFFF  # of a length that ds64 holds
_BLOCK_BYTES = 1 << 20


@dataclass(frozen=True, slots=True)
class _Sound:
    """Where the samples of a WAV lie, and its ``fmt`` chunk's body."""

    format: bytes
    start: int
    length: int

    @property
    def frame_bytes(self) -> int:
        return int.from_bytes(self.format[12:14], "little")


def copy_wav(
    source: Path,
    path: Path,
    before: Sequence[bytes] = (),
    behind: Sequence[bytes] = (),
    *,
    stop: Callable[[], None] = lambda: None,
) -> None:
    """Copy a WAV's samples into a new one with these chunks and no other.

    Parameters
    ----------
    source : Path
        A WAV or RF64 file.
    path : Path
        Where to; it appears once it is whole.
    before, behind : sequence of bytes
        Whole chunks that stand before and behind the ``fmt`` chunk; the samples come
        last.
    stop : callable
        Asked before every block; what it raises ends the copy.

    Raises
    ------
    AudioError
        If the source can't be read, or isn't a whole WAV.
    OutputError
        If the disk is full; nothing is left behind then.
    """
    try:
        with source.open("rb") as read:
            sound = _sound_of(read, source)
            read.seek(sound.start)
            with whole_file(path) as part, reported(path), part.open("wb") as written:
                written.write(_head(sound, before, behind))
                _copy(read, written, sound.length, source, stop)
                written.write(b"\0" * (sound.length % 2))
    except OutputError:
        raise
    except OSError as error:
        raise AudioError(f"{source}: can't be read ({error.strerror})") from error


def _sound_of(read: BinaryIO, source: Path) -> _Sound:
    """Walk the chunks up to the samples."""
    head = read.read(12)
    if head[:4] not in (b"RIFF", b"RF64") or head[8:] != b"WAVE":
        raise AudioError(f"{source}: is no WAV")
    form, long_bytes = b"", 0
    while len(entry := read.read(8)) == 8:
        name, length = entry[:4], int.from_bytes(entry[4:], "little")
        if name == b"data":
            length = long_bytes if length == _UNKNOWN else length
            if len(form) < 16:
                break
            return _Sound(form, read.tell(), length)
        body_start = read.tell()
        if name == b"ds64":
            long_bytes = int.from_bytes(read.read(16)[8:], "little")
        elif name == b"fmt ":
            form = read.read(length)
        read.seek(body_start + length + length % 2)
    raise AudioError(f"{source}: is a WAV without sound; run compare again")


def _head(sound: _Sound, before: Sequence[bytes], behind: Sequence[bytes]) -> bytes:
    """Return all that stands before the samples."""
    chunks = b"".join((*before, chunk(b"fmt ", sound.format), *behind))
    padded = sound.length + sound.length % 2
    riff_bytes = 4 + len(chunks) + 8 + padded
    if riff_bytes <= _LARGEST_RIFF_BYTES:
        lengths = struct.pack("<I", riff_bytes), struct.pack("<I", sound.length)
        return b"RIFF" + lengths[0] + b"WAVE" + chunks + b"data" + lengths[1]
    frames = sound.length // max(1, sound.frame_bytes)
    long = struct.pack("<QQQI", riff_bytes + 8 + 28, sound.length, frames, 0)
    unknown = struct.pack("<I", _UNKNOWN)
    start = b"RF64" + unknown + b"WAVE" + chunk(b"ds64", long)
    return start + chunks + b"data" + unknown


def _copy(
    read: BinaryIO,
    written: BinaryIO,
    length: int,
    source: Path,
    stop: Callable[[], None],
) -> None:
    left = length
    while left:
        stop()
        block = read.read(min(left, _BLOCK_BYTES))
        if not block:
            raise AudioError(f"{source}: is cut short; run compare again")
        written.write(block)
        left -= len(block)
