# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison's clips as texts that a page can hold: 24-bit FLAC in base64.

A page that would grow too large has its sound in scripts beside it, and no clip is
held in memory then.
"""

import base64
import tempfile
from collections.abc import Sequence
from pathlib import Path

from tonebench.audio.clip_files import ClipWriter
from tonebench.audio.files import TakeReader
from tonebench.audio.outputs import whole_file

#: A page that would grow larger has its sound in scripts beside it.
LARGEST_PAGE_BYTES = 25_000_000
_CHUNK_BYTES = 3 << 18  # a multiple of three: base64 has no seams then


def carried(
    folder: Path, files: Sequence[str], packed: Path | None = None
) -> tuple[str, bool]:
    """Return the clips as elements of a page; or write them beside it, and say so.

    Parameters
    ----------
    folder : Path
        Where the clips are, and where the scripts go.
    files : sequence of str
        The clips' names.
    packed : Path, optional
        Where the same clips are as FLAC already.
    """
    with tempfile.TemporaryDirectory(prefix=".packed-", dir=folder) as scratch:
        if packed is None:
            packed = Path(scratch)
            for file in files:
                _pack(folder / file, _flac(packed, file))
        packs = [_flac(packed, file) for file in files]
        total_bytes = sum(4 * -(-pack.stat().st_size // 3) for pack in packs)
        numbered = list(enumerate(packs, start=1))
        if total_bytes > LARGEST_PAGE_BYTES:
            for number, pack in numbered:
                _carry(pack, folder / f"clip-{number}.js", number)
            return "", True
        texts = [base64.b64encode(pack.read_bytes()).decode("ascii") for pack in packs]
    return "\n".join(
        f'<script type="text/plain" id="clip-{number}">{text}</script>'
        for number, text in enumerate(texts, start=1)
    ), False


def _flac(packed: Path, file: str) -> Path:
    return packed / Path(file).with_suffix(".flac")


def _pack(clip: Path, pack: Path) -> None:
    """Write a clip as 24-bit FLAC: the same samples, as far as 24 bits hold them."""
    with TakeReader(clip) as take:
        info = take.info
        with ClipWriter(pack, info.sample_rate_hz, info.channels) as writer:
            for block in take.blocks():
                writer.write(block)


def _carry(pack: Path, path: Path, number: int) -> None:
    """Write the script that hands a clip over to its page."""
    with whole_file(path) as part, part.open("wb") as script, pack.open("rb") as sound:
        script.write(f'tonebenchClip({number},"'.encode("ascii"))
        while chunk := sound.read(_CHUNK_BYTES):
            script.write(base64.b64encode(chunk))
        script.write(b'");\n')
