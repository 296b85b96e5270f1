"""From the callback to part files: blocks copied out of PortAudio's thread, and a take that writes them, a part a
channel, until it is long enough, stopped, or the stream goes wrong; one that fails costs the others nothing.

Two threads meet in a receiver. PortAudio's calls :meth:`BlockReceiver.callback` and :meth:`BlockReceiver.finished`;
any other reads. Deques and queues are safe between them, counters are written by PortAudio's thread only, ``_takers``
is replaced, not changed.
"""

import queue
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from listen.audio.headers import PartHeader
from listen.audio.watch import ZEROS_S, Watch
from listen.audio.write import PartWriter
from listen.errors import AudioError, DeviceLost, refusal

METER_S = 2.0
"""Sound kept for a level meter that does not ask."""
POLL_S = 0.05
"""Longest wait for a block before cancellation and trouble are looked at again."""
CLIP_LEVEL = 0.999
CLIPPED_SAMPLES = 4
"""So many in one block of 10 ms are told; fewer may be one knock."""
Told = Callable[[int, str], None]
"""Given the channel (from 0) and one sentence, once for each thing that goes wrong, as it does."""


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    samples: NDArray[np.float32]
    """Of every channel [shape=(n, C)], our own copy."""
    at: float
    """``time.monotonic()`` of the callback (PortAudio's own times are not monotone)."""
    overflows: int
    """Input overflows since the stream was opened."""

    @property
    def mean(self) -> NDArray[np.float32]:
        """Over the channels [shape=(n,)]."""
        return np.asarray(self.samples.mean(axis=1))


Taker = queue.SimpleQueue[Block]


class BlockReceiver:
    """The callback's side of a microphone: copy, stamp, hand on, return."""

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
            block = Block(indata.copy(), time.monotonic(), self.overflows)
            self.watch.saw(block.mean, block.at)
            self._meter.append(block)
            for taker in self._takers:
                taker.put(block)
            # Looked at first: setting takes a lock, which the callback has no time for.
            if not self._begun.is_set():
                self._begun.set()
        except Exception as error:  # noqa: BLE001 - kept for the reading side; raising here would only end the stream
            self.error = error

    def finished(self) -> None:
        """PortAudio ended the stream; only ours if we closed it, and then nobody asks."""
        self._ended = True

    def begun(self, limit_s: float) -> bool:
        return self._begun.wait(limit_s)

    def trouble(self, watch: Watch | None = None) -> str:
        """What is wrong now, for the stream or for the take that ``watch`` follows; as :meth:`Watch.trouble`."""
        if self._ended or self.error is not None:
            return "has gone: unplugged, or the sound system stopped it; plug it in again"
        return (watch or self.watch).trouble(time.monotonic())

    def drain(self) -> list[Block]:
        # Not by its length: the callback may add one, and the oldest drop out, between two looks.
        blocks = []
        try:
            while True:
                blocks.append(self._meter.popleft())
        except IndexError:
            return blocks

    @contextmanager
    def tapped(self) -> Iterator[Taker]:
        """A queue that gets every block as long as this lasts."""
        taker: Taker = queue.SimpleQueue()
        # A new tuple: the callback may be on its way through the old one.
        self._takers = (*self._takers, taker)
        try:
            yield taker
        finally:
            self._takers = tuple(t for t in self._takers if t is not taker)


@dataclass(frozen=True, slots=True)
class Recording:
    part: Path
    """The unfinished clip, which says when it was recorded and through what; :func:`listen.audio.write.finish` makes a
    sound file of it."""
    seconds: float
    cancelled: bool = False
    """True where the user stopped it before its end."""
    gaps: tuple[tuple[float, float], ...] = ()
    """Runs of exact zeros of 10 ms or more inside the take: (start, length) in seconds."""


@dataclass(slots=True)
class _Channel:
    number: int
    part: Path
    writer: PartWriter
    told: Told | None
    others: bool
    """Whether more channels run beside it: one alone is told to have gone by what watches the stream."""
    zeros: int = 0
    dead: bool = False
    clipped: bool = False

    def take(self, samples: NDArray[np.float32], overflows: int, rate_hz: int) -> None:
        """Write its samples [shape=(n,)] unless it is dead; tell once that it is, and once that it clips."""
        if self.dead:
            return
        self.writer.write(samples, overflows)
        # Zeros are counted on from block to block, from the last sample that was none.
        sounding = np.flatnonzero(samples)
        self.zeros = self.zeros + len(samples) if not len(sounding) else len(samples) - 1 - int(sounding[-1])
        if self.others and self.zeros >= ZEROS_S * rate_hz:
            self.dead = True
            self._tell(f"sends nothing but zeros since {self.zeros / rate_hz:.1f} s: unplugged or switched off")
        if not self.clipped and int((np.abs(samples) >= CLIP_LEVEL).sum()) >= CLIPPED_SAMPLES:
            self.clipped = True
            self._tell("is too loud and clips: turn its gain down")

    def _tell(self, what: str) -> None:
        several = f"channel {self.number + 1} {what}; the other channels are kept"
        if self.told is not None:
            self.told(self.number, several if self.others else f"the microphone {what}")


class Take:
    """One take, in the thread that records it; blocks wait until its parts lie on the disk."""

    def __init__(self, receiver: BlockReceiver, name: str, rate_hz: int, cancel: threading.Event) -> None:
        self._receiver, self._name, self._rate_hz, self._cancel = receiver, name, rate_hz, cancel
        self._frames = self._overflows = 0
        self._overflows_before, self._started = receiver.overflows, datetime.now(UTC)
        # Of the take's own: what went wrong with the stream before it began is none of its.
        self._watch = Watch(rate_hz, time.monotonic())

    def record(
        self, parts: Sequence[Path | None], seconds: float, told: Told | None = None
    ) -> tuple[Recording | None, ...]:
        """Record into a part for each channel; see :meth:`listen.audio.microphone.SoundInput.record`."""
        named = [part.name for part in parts if part is not None]
        what = named[0] if len(named) == 1 else "the take"
        to_do = "what was written before is kept, make room or choose another folder"
        header = PartHeader(self._rate_hz, self._name, self._started)
        with (
            self._receiver.tapped() as taker,
            refusal(AudioError, f"{what}: cannot be written", to_do),
            ExitStack() as stack,
        ):
            channels = [
                _Channel(n, part, stack.enter_context(PartWriter(part, header)), told, len(parts) > 1)
                for n, part in enumerate(parts)
                if part is not None
            ]
            for block in self._blocks(taker, seconds):
                # A single part of an input with several channels gets their mean.
                every = block.mean[:, None] if len(parts) == 1 else block.samples
                for c in channels:
                    c.take(every[:, c.number], self._overflows, self._rate_hz)
                if all(c.dead for c in channels):
                    raise DeviceLost(f"{self._name}: no channel sends sound; check plugs and power, then record again")
        alive = {c.number: c.part for c in channels if not c.dead}
        return tuple(self._recording(alive[n], seconds) if n in alive else None for n in range(len(parts)))

    def _blocks(self, taker: Taker, seconds: float) -> Iterator[Block]:
        """Blocks as they arrive, the last one cut, until so many seconds are there or it is cancelled.

        Raises DeviceLost: the stream went wrong; all that had arrived was given before."""
        wanted = round(seconds * self._rate_hz)
        while self._frames < wanted and not self._cancel.is_set():
            try:
                block = taker.get(timeout=POLL_S)
            except queue.Empty:
                pass
            else:
                self._watch.saw(block.mean, block.at)
                self._overflows = block.overflows - self._overflows_before
                block = Block(block.samples[: wanted - self._frames], block.at, block.overflows)
                self._frames += len(block.samples)
                yield block
            if taker.empty():  # what waits behind a slow disk arrived: no silence of the microphone's
                self._raise_trouble()

    def _recording(self, part: Path, seconds: float) -> Recording:
        cancelled = self._frames < round(seconds * self._rate_hz)
        return Recording(part, self._frames / self._rate_hz, cancelled, self._watch.gaps)

    def _raise_trouble(self) -> None:
        if not (trouble := self._receiver.trouble(self._watch)):
            return
        seconds = self._frames / self._rate_hz
        kept = f"the {seconds:.1f} s that arrived are kept" if self._frames else "no sound had arrived"
        told = f"{self._name} {trouble}, then record this clip again ({kept})"
        raise DeviceLost(told) from self._receiver.error
