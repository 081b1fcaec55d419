# SPDX-License-Identifier: GPL-3.0-or-later
"""Blocks of samples: checked at the door, and cut to one length.

Knows nothing of where they come from or go to.
"""

from collections.abc import Iterable, Iterator

import numpy as np
from numpy.typing import NDArray

from tonebench.errors import AudioError, RequestError

_LARGEST_KEPT_BYTES = 16 << 20


def checked_block(
    block: NDArray[np.floating], channels: int, name: str, first_frame: int = 0
) -> NDArray[np.float64]:
    """Return `block` as float64 of shape (frames, channels), or say what is wrong.

    Parameters
    ----------
    block : ndarray, shape (frames, channels)
        Samples, full scale is ±1.
    channels : int
        How many channels the stream has.
    name : str
        What the error calls the stream, usually its file.
    first_frame : int
        The number of the block's first frame, counted from 0.

    Raises
    ------
    AudioError
        If the shape is another one, or a sample is NaN or infinite; the message names
        the sample frame (from 0) and the channel (from 1).
    """
    samples = np.asarray(block, dtype=np.float64)
    if samples.ndim != 2 or samples.shape[1] != channels:
        raise AudioError(
            f"{name}: a block must have the shape (frames, {channels}), "
            f"got {samples.shape}"
        )
    finite = np.isfinite(samples)
    if not finite.all():
        frame, channel = (int(index) for index in np.argwhere(~finite)[0])
        raise AudioError(
            f"{name}: every sample must be a finite number, got "
            f"{samples[frame, channel]:g} at sample frame {first_frame + frame} "
            f"in channel {channel + 1}"
        )
    return samples


def keep_memory() -> None:
    """Have the memory of a freed block used again for the next one.

    Without it, glibc gives each block of more than 128 KiB back to the system, which
    then clears and maps its pages anew: up to half the time of a filter. A large array
    that is freed unused raises that limit (mallopt(3), M_MMAP_THRESHOLD); other systems
    don't mind. Blocks get no larger by it, and not a page is touched.
    """
    np.empty(_LARGEST_KEPT_BYTES, np.uint8)


def regrouped(
    chunks: Iterable[NDArray[np.float64]], block_frames: int
) -> Iterator[NDArray[np.float64]]:
    """Yield the same frames in blocks of `block_frames`; the last may be shorter.

    Parameters
    ----------
    chunks : iterable of ndarray, shape (frames, channels)
        What comes, in pieces of any length.
    block_frames : int
        The length of every block but the last, at least 1.

    Raises
    ------
    RequestError
        If a block would have no frame.

    Examples
    --------
    >>> chunks = np.zeros((5, 2)), np.zeros((2, 2))
    >>> [len(block) for block in regrouped(chunks, 3)]
    [3, 3, 1]
    """
    if block_frames < 1:
        raise RequestError(f"a block must have at least 1 frame, got {block_frames}")
    held = np.empty((0, 0))
    for chunk in chunks:
        held = np.concatenate((held, chunk)) if len(held) else chunk
        while len(held) >= block_frames:
            yield held[:block_frames]
            held = held[block_frames:]
    if len(held):
        yield held
