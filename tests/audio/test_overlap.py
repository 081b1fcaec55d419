# SPDX-License-Identifier: GPL-3.0-or-later
"""Threads that read ahead and write behind: in order, and never left behind."""

import threading
import time
from collections.abc import Callable, Iterable, Iterator

import pytest

from tonebench.audio.overlap import DEPTH, Behind, ahead


def numbers(count: int, fails_at: int = -1) -> Iterator[int]:
    for number in range(count):
        if number == fails_at:
            raise OSError(f"no block {number}")
        yield number


def hand_over(take: Callable[[int], object], blocks: Iterable[int]) -> None:
    with Behind(take) as behind:
        for block in blocks:
            behind.put(block)


@pytest.fixture(autouse=True)
def _no_thread_is_left() -> Iterator[None]:
    before = threading.active_count()
    yield
    assert threading.active_count() == before


@pytest.mark.parametrize("count", [0, 1, DEPTH, DEPTH + 1, 1000])
def test_every_block_is_taken_once_and_in_order(count: int) -> None:
    got: list[int] = []
    with ahead(numbers(count)) as blocks, Behind(got.append) as behind:
        for block in blocks:
            behind.put(block)
    assert got == list(range(count))


def test_the_maker_runs_ahead_no_further_than_there_is_room() -> None:
    made: list[int] = []

    def make() -> Iterator[int]:
        for number in range(100):
            made.append(number)
            yield number

    with ahead(make()) as blocks:
        next(blocks)
        time.sleep(0.05)
        assert 1 < len(made) <= DEPTH + 3


@pytest.mark.parametrize("fails_at", [0, 1, 50])
def test_what_the_maker_raises_comes_out_after_the_blocks_before_it(
    fails_at: int,
) -> None:
    got = []
    with (
        pytest.raises(OSError, match=f"no block {fails_at}"),
        ahead(numbers(100, fails_at)) as blocks,
    ):
        got.extend(iter(blocks))
    # extend gave up with what came before in it or not at all
    assert got in ([], list(range(fails_at)))


def test_leaving_early_ends_the_maker() -> None:
    with ahead(numbers(10**9)) as blocks:
        assert [next(blocks) for _ in range(5)] == [0, 1, 2, 3, 4]


def test_what_the_taker_raises_comes_out_at_a_later_put_or_at_the_end() -> None:
    def refuse(block: int) -> None:
        if block == 3:
            raise OSError("the disk is full")

    for blocks in (range(1000), [3]):
        with pytest.raises(OSError, match="the disk is full"):
            hand_over(refuse, blocks)


def test_an_error_of_the_caller_drops_what_waits_and_is_kept() -> None:
    taken: list[int] = []

    def slowly(block: int) -> None:
        time.sleep(0.02)
        taken.append(block)

    with pytest.raises(OSError, match=f"no block {DEPTH}"):
        hand_over(slowly, numbers(1000, fails_at=DEPTH))
    assert len(taken) < DEPTH
