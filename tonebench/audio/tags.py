# SPDX-License-Identifier: GPL-3.0-or-later
"""What compressed clips carry beside their sound: ID3 tags, and Ogg serial numbers.

An ID3v2.4.0 tag stands in front of an MP3 (id3.org, informal standard of 2000). An Ogg
stream gets a fixed serial number in place of a drawn one (RFC 3533, section 6), so that
the same sound gives the same bytes. Knows bytes only.
"""

import struct
import zlib
from collections.abc import Mapping
from dataclasses import dataclass

#: The tags of a clip, by the names that they have in ID3.
_FRAMES = {"title": "TIT2", "artist": "TPE1", "album": "TALB", "software": "TSSE"}
_UTF_8 = b"\x03"
_PAGE_HEAD = 27
_REVERSED = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))
_SERIAL = 0x746F6E65  # "tone"


@dataclass(frozen=True, slots=True)
class Tags:
    """What players show of a clip; what is empty is left out."""

    title: str
    artist: str = ""
    album: str = ""
    comment: str = ""
    software: str = ""

    def named(self) -> Mapping[str, str]:
        """Return the tags that aren't empty, by name."""
        names = ("title", "artist", "album", "comment", "software")
        return {name: text for name in names if (text := getattr(self, name))}


def id3_tag(tags: Tags) -> bytes:
    """Return tags as the ID3v2.4.0 tag that stands in front of an MP3."""
    frames = b""
    for name, text in tags.named().items():
        encoded = text.encode("utf-8")
        if name == "comment":  # its language and an empty heading come first
            frames += _frame("COMM", _UTF_8 + b"eng\0" + encoded)
        else:
            frames += _frame(_FRAMES[name], _UTF_8 + encoded)
    return b"ID3\x04\x00\x00" + _syncsafe(len(frames)) + frames


def _frame(name: str, body: bytes) -> bytes:
    return name.encode("ascii") + _syncsafe(len(body)) + b"\0\0" + body


def _syncsafe(number: int) -> bytes:
    """Return a number in four bytes of seven bits."""
    return bytes(number >> shift & 0x7F for shift in (21, 14, 7, 0))


def with_fixed_serial(page: bytes) -> bytes:
    """Return an Ogg page with a fixed serial number, and the checksum that it needs."""
    serial = struct.pack("<I", _SERIAL)
    bare = page[:14] + serial + page[18:22] + bytes(4) + page[26:]
    return bare[:22] + struct.pack("<I", ogg_checksum(bare)) + bare[26:]


def ogg_checksum(page: bytes) -> int:
    """Return the CRC-32 of a page: 0x04c11db7, not reflected, from 0 (RFC 3533).

    zlib's is reflected: it sees every byte, and shows its sum, the other way round.
    """
    reflected = zlib.crc32(page.translate(_REVERSED), 0xFFFFFFFF) ^ 0xFFFFFFFF
    return int(f"{reflected:032b}"[::-1], 2)


def ogg_page_length(start: bytes) -> int:
    """Return how long a page is by its head and the lengths behind it; 0 if it's none.

    Parameters
    ----------
    start : bytes
        The page from its first byte on, at least 27 + 255 bytes unless the file ends.
    """
    if start[:4] != b"OggS" or len(start) < _PAGE_HEAD:
        return 0
    lengths = start[_PAGE_HEAD : _PAGE_HEAD + start[26]]
    return _PAGE_HEAD + len(lengths) + sum(lengths)
