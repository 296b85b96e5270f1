"""The callback's side of a microphone: copy, stamp, hand on, return.

Two threads touch this. PortAudio's calls :meth:`BlockReceiver.callback` and :meth:`BlockReceiver.finished`; any other
reads. Deques and queues are safe between them, counters are written by PortAudio's thread only, ``_takers`` is
replaced, not changed.
"""

import queue
import threading
import time
from collections import deque
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from listen.audio.watch import Trouble, TroubleKind, Watch

METER_S = 2.0
"""Sound kept for a level meter that does not ask."""


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    samples: NDArray[np.float32]
    """The one channel, or the mean of several [shape=(n,)], our own copy."""
    at: float
    """``time.monotonic()`` of the callback (PortAudio's own times are not monotone)."""
    overflows: int
    """Input overflows since the stream was opened."""
    channels: NDArray[np.float32] | None = None
    """Every channel [shape=(n, C)], where the stream has several; ``samples`` is then their mean."""

    def first(self, n: int) -> "Block":
        """No more than its first ``n`` samples."""
        every = None if self.channels is None else self.channels[:n]
        return Block(self.samples[:n], self.at, self.overflows, every)


Taker = queue.SimpleQueue[Block]


def _block(indata: NDArray[np.float32], overflows: int) -> Block:
    if indata.shape[1] == 1:
        return Block(indata[:, 0].copy(), time.monotonic(), overflows)
    every = indata.copy()
    return Block(every.mean(axis=1), time.monotonic(), overflows, every)


class BlockReceiver:
    def __init__(self, rate_hz: int, block: int) -> None:
        self.watch = Watch(rate_hz, time.monotonic())
        self.overflows = 0
        self.error: Exception | None = None
        self._meter: deque[Block] = deque(maxlen=max(1, round(METER_S * rate_hz / block)))
        self._takers: tuple[Taker, ...] = ()
        self._begun = threading.Event()
        self._ended = False

    def callback(self, indata: NDArray[np.float32], frames: int, times: Any, status: Any) -> None:
        """Take a block over from PortAudio; an error here is told by :meth:`trouble`, not printed and lost."""
        try:
            if status.input_overflow:
                self.overflows += 1
            # A copy: PortAudio fills the same memory with the next block.
            block = _block(indata, self.overflows)
            self.watch.saw(block.samples, block.at)
            self._meter.append(block)
            for taker in self._takers:
                taker.put(block)
            if not self._begun.is_set():
                self._begun.set()
        except Exception as error:  # noqa: BLE001 - kept for the reading side; raising here would only end the stream
            self.error = error

    def finished(self) -> None:
        """PortAudio ended the stream; only ours if we closed it, and then nobody asks."""
        self._ended = True

    def begun(self, limit_s: float) -> bool:
        return self._begun.wait(limit_s)

    def trouble(self, watch: Watch | None = None) -> Trouble | None:
        """What is wrong now, for the stream or for the take that ``watch`` follows."""
        if self._ended or self.error is not None:
            return Trouble(TroubleKind.ENDED, 0.0)
        return (watch or self.watch).trouble(time.monotonic())

    def drain(self) -> list[Block]:
        # Not by its length: the callback may add one, and the oldest drop out, between two looks.
        blocks = []
        try:
            while True:
                blocks.append(self._meter.popleft())
        except IndexError:
            return blocks

    def tap(self) -> Taker:
        """A queue that gets every block from now on, until :meth:`untap`."""
        taker: Taker = queue.SimpleQueue()
        # A new tuple: the callback may be on its way through the old one.
        self._takers = (*self._takers, taker)
        return taker

    def untap(self, taker: Taker) -> None:
        self._takers = tuple(t for t in self._takers if t is not taker)
