# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison's clips as texts that a page can hold: 24-bit FLAC in base64.

A page that would grow too large has its sound in scripts beside it. The clips are
packed two at a time, and never held in memory when they stand beside the page.
"""

import base64
import tempfile
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import repeat
from pathlib import Path

from tonebench.audio.files import ClipWriter, TakeReader
from tonebench.audio.outputs import whole_file

#: A page that would grow larger has its sound in scripts beside it.
LARGEST_PAGE_BYTES = 25_000_000
_AT_A_TIME = 2
_CHUNK_BYTES = 3 << 18  # a multiple of three: base64 has no seams then


def packed(folder: Path, files: Sequence[str]) -> tuple[str, bool]:
    """Return the clips as elements of a page; or write them beside it, and say so."""
    with tempfile.TemporaryDirectory(prefix=".packing-", dir=folder) as scratch:
        with ThreadPoolExecutor(_AT_A_TIME) as threads:
            clips = [folder / file for file in files]
            packs = list(threads.map(_pack, clips, range(len(clips)), repeat(scratch)))
        total_bytes = sum(4 * -(-pack.stat().st_size // 3) for pack in packs)
        is_carried = total_bytes > LARGEST_PAGE_BYTES
        numbered = list(enumerate(packs, start=1))
        if is_carried:
            for number, pack in numbered:
                _carry(pack, folder / f"clip-{number}.js", number)
            return "", True
        texts = [base64.b64encode(pack.read_bytes()).decode("ascii") for pack in packs]
    return "\n".join(
        f'<script type="text/plain" id="clip-{number}">{text}</script>'
        for number, text in enumerate(texts, start=1)
    ), False


def _pack(clip: Path, number: int, scratch: str) -> Path:
    """Write a clip as 24-bit FLAC: the same samples, as far as 24 bits hold them."""
    pack = Path(scratch) / f"{number}.flac"
    with TakeReader(clip) as take:
        info = take.info
        with ClipWriter(pack, info.sample_rate_hz, info.channels) as writer:
            for block in take.blocks():
                writer.write(block)
    return pack


def _carry(pack: Path, path: Path, number: int) -> None:
    """Write the script that hands a clip over to its page."""
    with whole_file(path) as part, part.open("wb") as script, pack.open("rb") as sound:
        script.write(f'tonebenchClip({number},"'.encode("ascii"))
        while chunk := sound.read(_CHUNK_BYTES):
            script.write(base64.b64encode(chunk))
        script.write(b'");\n')
