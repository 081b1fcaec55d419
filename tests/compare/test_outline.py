# SPDX-License-Identifier: GPL-3.0-or-later
"""The outline of a take: every peak is in its piece, whatever the blocks."""

from itertools import pairwise

import numpy as np
import pytest
from sounds import noise

from tonebench.compare.outline import PIECES, Outline


def outline_of(take: np.ndarray, block: int, pieces: int) -> np.ndarray:
    outline = Outline(len(take), pieces)
    for start in range(0, len(take), block):
        outline.feed(take[start : start + block])
    return outline.peaks


@pytest.mark.parametrize("block", [1, 17, 509, 5000])
@pytest.mark.parametrize("pieces", [1, 7, 600])
@pytest.mark.parametrize("frames", [1, 2, 601, 4999])
def test_every_piece_has_the_greatest_magnitude_of_its_frames(
    block: int, pieces: int, frames: int
) -> None:
    take = noise(frames, 2) * [1, -2]
    found = outline_of(take, block, pieces)
    edges = [k * frames // len(found) for k in range(len(found) + 1)]
    plain = np.abs(take).max(axis=1)
    wanted = [plain[a:b].max() for a, b in pairwise(edges)]
    np.testing.assert_array_equal(found, wanted)


def test_a_short_take_has_a_piece_for_each_frame() -> None:
    assert len(outline_of(noise(5), 2, PIECES)) == 5


def test_an_empty_block_changes_nothing() -> None:
    outline = Outline(4, 2)
    outline.feed(np.zeros((0, 1)))
    assert outline.peaks.tolist() == [0, 0]
