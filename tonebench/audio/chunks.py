# SPDX-License-Identifier: GPL-3.0-or-later
"""What a recording's header promises, and how much of it is there.

Walks the chunks of WAV and AIFF files itself, since libsndfile shortens a cut-off file
without a word. Knows neither samples nor the compressed formats.
"""

import stat
from pathlib import Path
from typing import Literal

from tonebench.errors import AudioError

_UNKNOWN_FRAMES = 1 << 62  # libsndfile's length of what doesn't tell its own

_Order = Literal["little", "big"]
_CHUNKED: dict[tuple[bytes, bytes], tuple[_Order, bytes]] = {
    (b"RIFF", b"WAVE"): ("little", b"data"),
    (b"RF64", b"WAVE"): ("little", b"data"),
    (b"BW64", b"WAVE"): ("little", b"data"),
    (b"RIFX", b"WAVE"): ("big", b"data"),
    (b"FORM", b"AIFF"): ("big", b"SSND"),
    (b"FORM", b"AIFC"): ("big", b"SSND"),
}


def share_of_promise(path: Path) -> float:
    """Return how much of the sound that a header promises is in the file, 0 to 1.

    Parameters
    ----------
    path : Path
        The recording. What isn't a WAV or AIFF file by its first bytes gives 1.

    Raises
    ------
    AudioError
        If it isn't an ordinary file, is empty, or can't be opened.
    """
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            fault = "is a folder, not a recording; name one file in it"
        elif not stat.S_ISREG(status.st_mode):
            fault = "is not a file that can be read twice; copy the recording into one"
        elif status.st_size == 0:
            fault = "is empty (0 bytes); copy or export it again"
        else:
            return _share_in_chunks(path, status.st_size)
    except (FileNotFoundError, NotADirectoryError, ValueError):  # ValueError: NUL byte
        fault = "no such file; check its name and its folder"
    except OSError as error:
        fault = f"can't be opened ({error.strerror}); check its name and its rights"
    raise AudioError(f"{path}: {fault}")


def header_fault(share: float, frames: int) -> str:
    """Return what is wrong with a header that promises `frames`; "" if nothing is.

    Parameters
    ----------
    share : float
        How much of the sound is there, from `share_of_promise`.
    frames : int
        The length in sample frames, as libsndfile gives it.
    """
    if share < 1:
        return (
            f"is cut short, only {int(100 * share)} % of the sound its header "
            "promises is there; copy or export it again"
        )
    if frames == 0:
        return "holds no sound (0 frames); record or export it again"
    if frames > _UNKNOWN_FRAMES:
        return "doesn't say in its header how long it is; convert it to WAV"
    return ""


def _share_in_chunks(path: Path, file_bytes: int) -> float:
    """Walk the chunks of a WAV or AIFF file; 1 for what isn't one.

    A length that was never filled in, because the file came through a pipe, promises
    nothing.
    """
    with path.open("rb") as file:
        head = file.read(12)
        if (head[:4], head[8:]) not in _CHUNKED:
            return 1.0
        order, sound = _CHUNKED[head[:4], head[8:]]
        long_bytes = 0  # 64-bit length of the sound, from RF64's extra chunk
        while len(chunk := file.read(8)) == 8:
            start, name = file.tell(), chunk[:4]
            length = int.from_bytes(chunk[4:], order)
            if name == sound:
                promised = long_bytes if length == 0xFFFFFFFF else length
                there = file_bytes - start
                return there / promised if there < promised else 1.0
            if name == b"ds64":
                long_bytes = int.from_bytes(file.read(16)[8:], "little")
            file.seek(start + length + length % 2)
    return 1.0
