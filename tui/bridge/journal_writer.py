"""The one thread that writes to the open job: the screen waits for a quick disk, and goes on beside a slow one."""

import asyncio
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any, TypeVar

T = TypeVar("T")

WAIT_S = 0.3
"""Longest the screen stands still for a write: a sound disk syncs in a few milliseconds, a busy one in some tens."""


class JournalWriter:
    """What is handed in is done in order, one thing at a time, whatever the disk takes for it."""

    def __init__(self) -> None:
        self._thread: ThreadPoolExecutor | None = None
        self._under_way: set[Future[Any]] = set()

    @property
    def busy(self) -> bool:
        """Whether something is not on the disk yet."""
        return any(not work.done() for work in self._under_way)

    def hand_in(self, work: Callable[[], T]) -> Future[T]:
        """Do this after all that was handed in before."""
        self._thread = self._thread or ThreadPoolExecutor(1, "journal")
        future = self._thread.submit(work)
        self._under_way = {w for w in self._under_way if not w.done()} | {future}
        return future

    async def done(self, work: Callable[[], T]) -> T:
        """Its result, awaited; what it raises is raised."""
        return await asyncio.wrap_future(self.hand_in(work))

    def close(self) -> None:
        """Wait until all is on the disk."""
        if self._thread is not None:
            self._thread.shutdown()
