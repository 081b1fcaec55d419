# SPDX-License-Identifier: GPL-3.0-or-later
"""Recordings read, block by block, in constant memory.

Every sample read is finite. With `clip_files`, the only importer of soundfile. Knows
nothing of loudness, volts or circuits.
"""

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.blocks import checked_block, regrouped
from tonebench.audio.chunks import header_fault, share_of_promise
from tonebench.errors import AudioError, RequestError

_BLOCK_FRAMES = 65536


@dataclass(frozen=True, slots=True)
class TakeInfo:
    """What a recording's header says; `format` and `subtype` are libsndfile's words."""

    path: Path
    sample_rate_hz: int
    channels: int
    frames: int
    subtype: str
    format: str

    @property
    def duration_s(self) -> float:
        """The length in seconds."""
        return self.frames / self.sample_rate_hz


class TakeReader:
    """A recording that is read block by block, in constant memory, as often as needed.

    Opens what libsndfile opens: WAV, FLAC, AIFF, OGG and more, with any number of
    channels and any sample rate. Integer samples are divided by 2^(bits − 1), exactly.
    Use it as a context manager, or call `close`.

    Parameters
    ----------
    path : str or Path
        The file.

    Attributes
    ----------
    info : TakeInfo
        What the header says.

    Raises
    ------
    AudioError
        If the file is missing, a folder, empty, no recording, without sound, or
        shorter than its header promises. A compressed file tells that only when it is
        read, so `blocks` raises it too; Ogg promises no length.
    """

    def __init__(self, path: str | Path) -> None:
        self._path = Path(path)
        share = share_of_promise(self._path)
        self._sound = self._opened()
        self._is_fresh = True
        self.info = TakeInfo(
            path=self._path,
            sample_rate_hz=self._sound.samplerate,
            channels=self._sound.channels,
            frames=self._sound.frames,
            subtype=self._sound.subtype,
            format=self._sound.format,
        )
        if fault := header_fault(share, self.info.frames):
            self.close()
            raise AudioError(f"{path}: {fault}")

    def _opened(self) -> Any:
        import soundfile

        try:
            return soundfile.SoundFile(libsndfile_name(self._path))
        except (soundfile.SoundFileError, TypeError) as error:  # TypeError: headerless
            reason = getattr(error, "error_string", "it has no header").rstrip(".")
            raise AudioError(
                f"{self._path}: can't be read as a recording ({reason.lower()}); "
                "use WAV, FLAC, AIFF or OGG"
            ) from error

    def blocks(
        self, block_frames: int = _BLOCK_FRAMES
    ) -> Iterator[NDArray[np.float64]]:
        """Yield the whole recording from its start, as arrays (frames, channels).

        Each pass starts at frame 0, and ends an earlier one that is still going on.

        Parameters
        ----------
        block_frames : int
            The length of every block but the last, at least 1.

        Raises
        ------
        AudioError
            If a sample isn't finite (the message names its frame, counted from 0, and
            its channel, counted from 1), or if the file ends too soon.
        """
        return regrouped(self._chunks(), block_frames)

    def _chunks(self) -> Iterator[NDArray[np.float64]]:
        # Always of one size: soundfile seeks after each read, and a lossy decoder
        # (Opus, MP3) then gives samples that depend on how many are asked for.
        import soundfile

        self.rewind()
        self._is_fresh = False
        sound, position = self._sound, 0
        while position < self.info.frames:
            if sound.closed:
                raise RequestError(
                    f"{self._path}: this pass has ended, the file was closed or "
                    "another pass begun; begin a new one"
                )
            try:
                chunk = sound.read(_BLOCK_FRAMES, dtype="float64", always_2d=True)
            except soundfile.SoundFileError as error:
                raise self._ended_at(position) from error
            if len(chunk) == 0:
                raise self._ended_at(position)
            yield checked_block(chunk, self.info.channels, str(self._path), position)
            position += len(chunk)

    def _ended_at(self, position: int) -> AudioError:
        return AudioError(
            f"{self._path}: is cut short or damaged after sample frame {position}, its "
            f"header promises {self.info.frames}; copy or export it again"
        )

    def rewind(self) -> None:
        """Go back to frame 0, by opening the file anew (lossy decoders keep state)."""
        if not self._is_fresh:
            self.close()
            self._sound = self._opened()
            self._is_fresh = True

    def close(self) -> None:
        """Close the file; closing it twice is harmless."""
        self._sound.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exception: object) -> None:
        self.close()


def read_take(path: str | Path) -> tuple[TakeInfo, NDArray[np.float64]]:
    """Read a short recording at once: its info, and an array (frames, channels).

    Raises
    ------
    AudioError
        As `TakeReader` does.
    """
    with TakeReader(path) as take:
        return take.info, np.concatenate(list(take.blocks()))


def libsndfile_name(path: Path) -> str | bytes:
    """Return the name as libsndfile takes it; a POSIX name needn't be valid UTF-8."""
    return str(path) if os.name == "nt" else os.fsencode(path)
