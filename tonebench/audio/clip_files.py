# SPDX-License-Identifier: GPL-3.0-or-later
"""Clips written, block by block, in constant memory.

A clip has its name only once it is whole. With `files`, the only importer of soundfile.
Knows nothing of loudness, volts or circuits.
"""

import contextlib
from collections.abc import Callable
from pathlib import Path
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.blocks import checked_block
from tonebench.audio.files import TakeReader, libsndfile_name
from tonebench.audio.formats import clip_format
from tonebench.audio.outputs import check_new_file, whole_file
from tonebench.audio.quantise import DITHER_SEED, Quantiser
from tonebench.audio.tags import Tags
from tonebench.errors import AudioError, CheckFailed, OutputError, RequestError
from tonebench.units import to_db

#: MP3 in steps of 0 to 1 from 320 kbit/s down: some 224 kbit/s at 48 kHz, constant, so
#: that its length can be told; Vorbis as good.
_LOSSY: dict[str, dict[str, Any]] = {
    ".mp3": {
        "format": "MP3",
        "subtype": "MPEG_LAYER_III",
        "bitrate_mode": "CONSTANT",
        "compression_level": 0.3,
    },
    ".ogg": {"format": "OGG", "subtype": "VORBIS", "compression_level": 0.3},
}
_SET_ADD_PEAK_CHUNK = 0x1050  # SFC_SET_ADD_PEAK_CHUNK of libsndfile's sndfile.h


class ClipWriter:
    """A clip that is written block by block, and has its name only once it is whole.

    The same samples give the same bytes, whatever the blocks; `Quantiser` rounds and
    dithers them. A result that doesn't fit is never clipped: nothing is left on disk,
    and the end of the `with` block raises `CheckFailed`, so that the message can tell
    the highest excess.

    Parameters
    ----------
    path : str or Path
        Where to; the name ends in ``.wav`` or ``.flac``.
    sample_rate_hz, channels : int
        The sample rate, and the channels that every block will have.
    subtype : str
        ``"float"`` (32 bits, WAV only), ``"pcm24"`` or ``"pcm16"``.
    frames_expected : int, optional
        The length to come; a WAV that would pass 4 GiB is then written as RF64.
    force : bool
        Whether a file of that name may be replaced.
    dither_seed : int
        The seed of the 16-bit dither.
    tags : Tags, optional
        What a player shows of it; for FLAC alone.

    Raises
    ------
    RequestError
        If the name's ending, the subtype and the format don't go together.
    OutputError
        As `check_new_file`, or if the disk is full.
    AudioError
        If a sample isn't finite, a block doesn't fit, or no frame was written.
    CheckFailed
        If a sample is over full scale, with an integer subtype.

    Attributes
    ----------
    frames : int
        How many frames were taken in so far.
    """

    def __init__(
        self,
        path: str | Path,
        sample_rate_hz: int,
        channels: int,
        *,
        subtype: str = "pcm24",
        frames_expected: int | None = None,
        force: bool = False,
        dither_seed: int = DITHER_SEED,
        tags: Tags | None = None,
    ) -> None:
        self.path, self._tags = Path(path), tags
        self._rate, self._channels = sample_rate_hz, channels
        self._format = clip_format(path, subtype, channels, frames_expected)
        self._quantiser = Quantiser(self._format.subtype, str(path), dither_seed)
        self._force = force
        self.frames = 0
        check_new_file(self.path, force)

    @property
    def peak(self) -> float:
        """The largest absolute sample that was taken in so far, full scale is 1."""
        return self._quantiser.peak

    def __enter__(self) -> Self:
        with contextlib.ExitStack() as stack:
            self._part = stack.enter_context(whole_file(self.path, self._force))
            self._sound = self._begun()
            stack.push(self._end)
            if self._tags and self._format.container == "FLAC":
                _tag(self._sound, self._tags)
            if self._format.container == "WAV":
                _leave_out_time_stamp(self._sound)
            self._leave = stack.pop_all().__exit__
        return self

    def _begun(self) -> Any:
        import soundfile

        name, kind = libsndfile_name(self._part), self._format.container
        subtype = self._format.encoding
        try:
            return soundfile.SoundFile(
                name, "w", self._rate, self._channels, subtype, format=kind
            )
        except soundfile.SoundFileError as error:
            raise RequestError(
                f"{self.path}: {kind} doesn't hold {self._channels} channels "
                f"at {self._rate} Hz; choose others, or another format"
            ) from error

    def write(self, block: NDArray[np.floating]) -> NDArray[Any]:
        """Take a block of shape (frames, channels) in, full scale is ±1.

        Returns the numbers that stand for it, for `store` of another writer.
        """
        samples = checked_block(block, self._channels, str(self.path), self.frames)
        values = self._quantiser.process(samples)
        if self._format.subtype == "pcm24":
            values <<= 8  # libsndfile takes the upper 24 of 32 bits
        self.store(values)
        return values

    def store(self, values: NDArray[Any]) -> None:
        """Take numbers in that another writer of this subtype made of a block."""
        import soundfile

        self.frames += len(values)
        if self.frames > self._format.max_frames:
            raise OutputError(
                f"{self.path}: grows past 4 GiB, where a plain WAV ends; write FLAC"
            )
        if len(values) and self._quantiser.worst == 0:
            try:
                self._sound.write(values)
            except (soundfile.SoundFileError, AssertionError) as error:  # a short write
                raise self._ended_early() from error

    def __exit__(self, *exception: Any) -> None:
        self._leave(*exception)

    def _end(self, kind: type[BaseException] | None, *exception: object) -> None:
        import soundfile

        try:
            self._sound.close()
        except soundfile.SoundFileError as error:
            if kind is None:
                raise self._ended_early() from error
        if kind is None:
            self._check()

    def _check(self) -> None:
        """Refuse what must not get its name."""
        if self._quantiser.worst:
            over_db = max(0.01, to_db(self._quantiser.worst))
            over_s = self._quantiser.worst_frame / self._rate
            kind = "a float WAV" if self._format.container == "FLAC" else "float"
            raise CheckFailed(
                f"{self.path}: is {over_db:.2f} dB over full scale at {over_s:.3f} s, "
                f"and {self._format.subtype} ends there; write {kind}, "
                "or turn it down with --trim"
            )
        if self.frames == 0:
            raise AudioError(f"{self.path}: no sound to write (0 frames)")
        if not _is_whole(self._part, self.frames):
            raise self._ended_early()

    def _ended_early(self) -> OutputError:
        return _ended_early(self.path)


def _is_whole(path: Path, frames: int) -> bool:
    # An encoder that meets a full disk while closing doesn't say so.
    import soundfile

    try:
        with soundfile.SoundFile(libsndfile_name(path)) as sound:
            sound.seek(frames - 1)
            return sound.frames == frames and len(sound.read(1)) == 1
    except soundfile.SoundFileError:
        return False


def _ended_early(path: Path) -> OutputError:
    return OutputError(f"{path}: could not be written to its end; is the disk full?")


def encode_lossy(
    take: TakeReader,
    part: Path,
    path: Path,
    tags: Tags | None = None,
    stop: Callable[[], None] = lambda: None,
) -> None:
    """Encode a recording as MP3 or Ogg Vorbis into a temporary file.

    Parameters
    ----------
    take : TakeReader
        What to encode.
    part, path : Path
        Where to for now, and the name that it will have: its ending, ``.mp3`` or
        ``.ogg``, says the format.
    tags : Tags, optional
        For Ogg; what libsndfile writes for MP3 holds 30 bytes a tag.
    stop : callable
        Asked before every block; what it raises ends the work.

    Raises
    ------
    RequestError
        If that format doesn't hold such a rate, or so many channels.
    OutputError
        If the disk is full.
    """
    import soundfile

    info, options = take.info, _LOSSY[path.suffix]
    try:
        sound = soundfile.SoundFile(
            libsndfile_name(part), "w", info.sample_rate_hz, info.channels, **options
        )
    except soundfile.SoundFileError as error:
        raise RequestError(
            f"{path}: {options['format']} doesn't hold {info.channels} channels at "
            f"{info.sample_rate_hz} Hz; choose FLAC, or another preview"
        ) from error
    try:
        with sound:
            if tags:
                _tag(sound, tags)
            for block in take.blocks():
                stop()
                sound.write(block)
    except (soundfile.SoundFileError, AssertionError) as error:  # a short write
        raise _ended_early(path) from error
    if not _is_whole(part, info.frames):
        raise _ended_early(path)


def _tag(sound: Any, tags: Tags) -> None:
    """Hand tags over, but for the program: libsndfile would add its own version."""
    for name, text in tags.named().items():
        if name != "software":
            setattr(sound, name, text)


def _leave_out_time_stamp(sound: Any) -> None:
    """Keep the PEAK chunk out of a float WAV: it holds the time of day.

    soundfile has no public call for this, so it takes private names; a test compares
    the bytes of two files. Not for RF64: without such a chunk, the command adds one.
    """
    import soundfile

    soundfile._snd.sf_command(sound._file, _SET_ADD_PEAK_CHUNK, soundfile._ffi.NULL, 0)
