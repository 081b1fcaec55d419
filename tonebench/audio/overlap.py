# SPDX-License-Identifier: GPL-3.0-or-later
"""Blocks read ahead and written behind on threads, so that disk and sums overlap.

Order is kept, so threads never change a bit; an error comes out where the caller is.
Knows nothing of what the blocks are.
"""

import contextlib
import queue
import threading
from collections.abc import Callable, Iterable, Iterator
from typing import Generic, Self, TypeVar

T = TypeVar("T")

#: How many blocks may wait: enough to overlap, few enough for constant memory.
DEPTH = 3


class Behind(Generic[T]):
    """Hands blocks to something that takes them, one after the other, on a thread.

    A context manager: a clean end waits until all are taken; after an exception those
    that wait are dropped. What the taking raises is raised by the next `put`, or at the
    end.

    Parameters
    ----------
    take : callable
        Called with each block, always on the same thread.
    depth : int
        How many blocks may wait before `put` waits too.
    """

    def __init__(self, take: Callable[[T], object], depth: int = DEPTH) -> None:
        self._take = take
        self._waiting: queue.Queue[tuple[T] | None] = queue.Queue(depth)
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._error: BaseException | None = None
        self._is_dropped = False

    def put(self, block: T) -> None:
        """Hand a block over; the caller must not change it afterwards."""
        self._raise()
        self._waiting.put((block,))

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, *rest: object) -> None:
        self._is_dropped = kind is not None
        try:
            self._waiting.put(None)
            self._thread.join()
        except BaseException:  # an interruption: what is taken may not be closed yet
            self._is_dropped = True
            while self._thread.is_alive():
                with contextlib.suppress(queue.Full):
                    self._waiting.put(None, timeout=0.01)
            raise
        if kind is None:
            self._raise()

    def _raise(self) -> None:
        if self._error is not None:
            error, self._error = self._error, None
            self._is_dropped = True
            raise error

    def _run(self) -> None:
        while (entry := self._waiting.get()) is not None:
            if self._error is not None or self._is_dropped:
                continue  # go on emptying the queue: nobody may wait for ever
            try:
                self._take(*entry)
            except BaseException as error:  # told where the blocks come from
                self._error = error


@contextlib.contextmanager
def ahead(blocks: Iterable[T], depth: int = DEPTH) -> Iterator[Iterator[T]]:
    """Give the same blocks, the next ones being made on a thread meanwhile.

    After the `with` block the thread has ended, whether all blocks were taken or not.

    Examples
    --------
    >>> with ahead(range(4)) as numbers:
    ...     list(numbers)
    [0, 1, 2, 3]
    """
    made: queue.Queue[tuple[T] | BaseException | None] = queue.Queue(depth)
    is_left = threading.Event()

    def run() -> None:
        try:
            for block in blocks:
                made.put((block,))
                if is_left.is_set():
                    return
            made.put(None)
        except BaseException as error:  # told where the blocks are taken
            made.put(error)

    def taken() -> Iterator[T]:
        while (entry := made.get()) is not None:
            if isinstance(entry, BaseException):
                raise entry
            yield entry[0]

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    try:
        yield taken()
    finally:
        is_left.set()
        while thread.is_alive():  # it may wait for room
            with contextlib.suppress(queue.Empty):
                made.get(timeout=0.01)
        thread.join()
