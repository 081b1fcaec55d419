# SPDX-License-Identifier: GPL-3.0-or-later
"""The kinds of file that a clip can be, and how much each of them holds.

Knows names and sizes only: no samples, and no file is opened here.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal, cast, get_args

from tonebench.errors import RequestError

#: How a clip's samples are stored: 32-bit float, or integers of 24 or 16 bits.
Subtype = Literal["float", "pcm24", "pcm16"]

#: How many bytes a sample takes.
SAMPLE_BYTES: dict[Subtype, int] = {"float": 4, "pcm24": 3, "pcm16": 2}

_ENCODINGS: dict[Subtype, str] = {
    "float": "FLOAT",
    "pcm24": "PCM_24",
    "pcm16": "PCM_16",
}
_CONTAINERS = {".wav": "WAV", ".flac": "FLAC"}
_PLAIN_WAV_BYTES = (1 << 32) - 4096  # its sizes have 32 bits; room for the header
_NO_END = 1 << 62


@dataclass(frozen=True, slots=True)
class ClipFormat:
    """A kind of file: `container` is WAV, RF64 or FLAC, and ends after `max_frames`."""

    container: str
    subtype: Subtype
    max_frames: int

    @property
    def encoding(self) -> str:
        """The subtype in libsndfile's words, as `container` is."""
        return _ENCODINGS[self.subtype]


def clip_format(
    path: str | Path, subtype: str, channels: int, frames_expected: int | None = None
) -> ClipFormat:
    """Return the kind of file that a clip of this name and subtype is.

    Parameters
    ----------
    path : str or Path
        The clip's name; it ends in ``.wav`` or ``.flac``, in any case.
    subtype : str
        ``"float"`` (WAV only), ``"pcm24"`` or ``"pcm16"``.
    channels : int
        How many channels it has.
    frames_expected : int, optional
        The length to come; a WAV that would pass 4 GiB is then RF64.

    Raises
    ------
    RequestError
        If the name's ending, the subtype and the format don't go together.
    """
    suffix = Path(path).suffix
    if suffix.lower() not in _CONTAINERS:
        raise RequestError(
            f"{path}: a clip's name must end in .wav or .flac, got '{suffix}'"
        )
    if subtype not in get_args(Subtype):
        raise RequestError(
            f"{path}: subtype must be float, pcm24 or pcm16, got '{subtype}'"
        )
    kind = cast(Subtype, subtype)
    if _CONTAINERS[suffix.lower()] == "FLAC":
        if kind == "float":
            raise RequestError(
                f"{path}: FLAC holds integers only, got float; "
                "choose pcm24, or a name that ends in .wav"
            )
        return ClipFormat("FLAC", kind, _NO_END)
    max_frames = _PLAIN_WAV_BYTES // max(1, channels * SAMPLE_BYTES[kind])
    if (frames_expected or 0) > max_frames:
        return ClipFormat("RF64", kind, _NO_END)
    return ClipFormat("WAV", kind, max_frames)
