"""One take: blocks from the stream into part files until it is long enough, stopped, or the stream goes wrong;
and what any microphone, real or simulated, offers."""

import queue
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Protocol, Self

import numpy as np
from numpy.typing import NDArray

from listen.audio.block_receiver import Block, BlockReceiver
from listen.audio.partial import PartHeader
from listen.audio.watch import Trouble, TroubleKind, Watch
from listen.errors import AudioError, DeviceLost, refusal


@dataclass(frozen=True, slots=True)
class Recording:
    part: Path
    """The unfinished clip; :func:`listen.audio.partial.finish` turns it into a sound file."""
    rate_hz: int
    seconds: float
    device: str
    overflows: int
    """Input overflows reported while recording."""
    started: datetime
    """When the first sample was taken, UTC."""
    cancelled: bool = False
    """True where the user stopped it before its end."""
    gaps: tuple[tuple[float, float], ...] = ()
    """Runs of exact zeros of 10 ms or more inside the take: (start, length) in seconds."""


class SoundInput(Protocol):
    """A microphone. ``open``, ``close`` and ``record`` may wait: call them from a worker thread."""

    @property
    def name(self) -> str:
        """Name to show."""

    @property
    def rate_hz(self) -> int:
        """Sample rate; final once open."""

    def open(self) -> None:
        """Start listening; also after a trouble, to connect again (``AudioError``: it cannot be opened)."""

    def close(self) -> None:
        """Stop listening; never hangs, harmless when closed already."""

    @property
    def channels(self) -> int:
        """How many there are."""

    def drain(self) -> list[NDArray[np.float32]]:
        """Blocks since the last call, for a level meter; never waits, and old ones go when nobody asks."""

    def drain_all(self) -> list[NDArray[np.float32]]:
        """As ``drain``, with every channel [shape=(n, C)] each."""

    def trouble(self) -> AudioError | None:
        """What is wrong with the stream at this moment, as one sentence; None while sound arrives."""

    def record(self, part: Path, seconds: float, cancel: threading.Event, told: "Told | None" = None) -> Recording:
        """Write ``seconds`` of sound to the new file ``part`` as it arrives.

        Raises DeviceLost: the microphone went away, fell silent or stalled; what had arrived is kept in ``part``.
        AudioError: it is not open, or ``part`` cannot be written."""

    def record_all(
        self, parts: Sequence[Path | None], seconds: float, cancel: threading.Event, told: "Told | None" = None
    ) -> tuple[Recording | None, ...]:
        """Write each channel to its own part; see :func:`listen.audio.microphone.record_all`."""


Told = Callable[[int, str], None]
"""Given the channel (from 0) and one sentence, once for each thing that goes wrong, as it does."""


POLL_S = 0.05
"""Longest wait for a block before cancellation and trouble are looked at again."""

_SENTENCES = {
    TroubleKind.ENDED: "{name} has gone: unplugged, or the sound system stopped it; plug it in again",
    TroubleKind.STALLED: "{name} has sent nothing for {s:.1f} s: it hangs or was put to sleep; unplug it and plug it "
    "in again",
    TroubleKind.ZEROS: "{name} has sent exact zeros for {s:.1f} s: muted, switched off or another input; unmute it",
    TroubleKind.MISSING: "{name} stalled and {s:.2f} s of sound are missing; close other programs that use it",
}


def sentence(trouble: Trouble, name: str) -> str:
    """One sentence for a user: what happened and what to do."""
    return _SENTENCES[trouble.kind].format(name=name, s=trouble.seconds)


class Take:
    """One take in progress, in the thread that records it, of one channel or of many. A context manager.

    It begins where the context is entered: blocks wait until the parts lie on the disk.
    """

    def __init__(self, receiver: BlockReceiver, name: str, rate_hz: int, cancel: threading.Event) -> None:
        self.name, self.rate_hz = name, rate_hz
        self.frames = 0
        """Samples a channel so far."""
        self.overflows = 0
        """Input overflows since it began."""
        self._receiver, self._cancel = receiver, cancel
        self._cancelled = False

    def __enter__(self) -> Self:
        self._overflows_before = self._receiver.overflows
        self._started = datetime.now(UTC)
        # Of the take's own: what went wrong with the stream before it began is none of its.
        self._watch = Watch(self.rate_hz, time.monotonic())
        self._taker = self._receiver.tap()
        return self

    def __exit__(self, *_: object) -> None:
        self._receiver.untap(self._taker)

    @property
    def header(self) -> PartHeader:
        return PartHeader(self.rate_hz, self.name, self._started)

    def blocks(self, seconds: float) -> Iterator[Block]:
        """Blocks as they arrive, the last one cut, until so many seconds are there or it is cancelled.

        Raises DeviceLost: the stream went wrong; all that had arrived was given before."""
        wanted = round(seconds * self.rate_hz)
        while self.frames < wanted and not self._cancel.is_set():
            block = self._next()
            if block is not None:
                self._watch.saw(block.samples, block.at)
                self.overflows = block.overflows - self._overflows_before
                block = block.first(wanted - self.frames)
                self.frames += len(block.samples)
                yield block
            if self._taker.empty():  # what waits behind a slow disk arrived: no silence of the microphone's
                self._raise_trouble()
        self._cancelled = self.frames < wanted

    def recording(self, part: Path) -> Recording:
        """What was recorded into a part, once the blocks have ended."""
        return Recording(
            part=part,
            rate_hz=self.rate_hz,
            seconds=self.frames / self.rate_hz,
            device=self.name,
            overflows=self.overflows,
            started=self._started,
            cancelled=self._cancelled,
            gaps=self._watch.gaps,
        )

    def _next(self) -> Block | None:
        """The next block, or None where none came within ``POLL_S``."""
        try:
            return self._taker.get(timeout=POLL_S)
        except queue.Empty:
            return None

    def _raise_trouble(self) -> None:
        trouble = self._receiver.trouble(self._watch)
        if trouble is None:
            return
        seconds = self.frames / self.rate_hz
        kept = f"the {seconds:.1f} s that arrived are kept" if self.frames else "no sound had arrived"
        told = f"{sentence(trouble, self.name)}, then record this clip again ({kept})"
        raise DeviceLost(told) from self._receiver.error


def written(what: str) -> AbstractContextManager[None]:
    """A disk that refuses in one sentence (``AudioError``)."""
    to_do = "what was written before is kept, make room or choose another folder"
    return refusal(AudioError, f"{what}: cannot be written", to_do)
