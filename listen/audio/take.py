"""One take: blocks from the stream into the part file until it is long enough, stopped, or the stream goes wrong."""

import queue
import threading
import time
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from listen.audio.block_receiver import Block, BlockReceiver, Taker
from listen.audio.partial import PartHeader, PartWriter
from listen.audio.source import Recording
from listen.audio.watch import Trouble, TroubleKind, Watch
from listen.errors import AudioError, DeviceLost

POLL_S = 0.05
"""Longest wait for a block before cancellation and trouble are looked at again."""

_SENTENCES = {
    TroubleKind.ENDED: "{name} has gone: unplugged, or the sound system stopped it; plug it in again",
    TroubleKind.STALLED: "{name} has sent nothing for {s:.1f} s: it hangs or was put to sleep; "
    "unplug it and plug it in again",
    TroubleKind.ZEROS: "{name} has sent exact zeros for {s:.1f} s: muted, switched off or another input; unmute it",
    TroubleKind.MISSING: "{name} stalled and {s:.2f} s of sound are missing; close other programs that use it",
}


def sentence(trouble: Trouble, name: str) -> str:
    """One sentence for a user: what happened and what to do."""
    return _SENTENCES[trouble.kind].format(name=name, s=trouble.seconds)


@dataclass(slots=True)
class Take:
    """One take in progress, in the thread that records it."""

    receiver: BlockReceiver
    name: str
    rate_hz: int
    part: Path
    cancel: threading.Event

    def run(self, seconds: float) -> Recording:
        """Record ``seconds``; see :meth:`listen.audio.source.SoundInput.record`."""
        taker = self.receiver.tap()
        try:
            return self._run(taker, round(seconds * self.rate_hz))
        except OSError as error:
            raise AudioError(
                f"{self.part.name}: cannot be written ({error.strerror or error}); "
                "what was written before is kept, make room or choose another folder"
            ) from error
        finally:
            self.receiver.untap(taker)

    def _run(self, taker: Taker, wanted: int) -> Recording:
        watch = Watch(self.rate_hz, time.monotonic())
        overflows_before = self.receiver.overflows
        started = datetime.now(UTC)
        header = PartHeader(self.rate_hz, self.name, started)
        cancelled = False
        with PartWriter(self.part, header) as writer:
            while writer.frames < wanted and not (cancelled := self.cancel.is_set()):
                block = next_block(taker)
                if block is not None:
                    watch.saw(block.samples, block.at)
                    writer.write(block.samples[: wanted - writer.frames], block.overflows - overflows_before)
                if taker.empty():  # what waits behind a slow disk arrived: no silence of the microphone's
                    self._raise_trouble(watch, writer.frames)
            overflows = writer.header.overflows
        return Recording(
            part=self.part,
            rate_hz=self.rate_hz,
            seconds=writer.frames / self.rate_hz,
            device=self.name,
            overflows=overflows,
            started=started,
            cancelled=cancelled,
            gaps=watch.gaps,
        )

    def _raise_trouble(self, watch: Watch, frames: int) -> None:
        trouble = self.receiver.trouble(watch)
        if trouble is None:
            return
        kept = f"the {frames / self.rate_hz:.1f} s that arrived are kept" if frames else "no sound had arrived"
        told = f"{sentence(trouble, self.name)}, then record this clip again ({kept})"
        raise DeviceLost(told) from self.receiver.error


def next_block(taker: Taker) -> Block | None:
    """The next block, or None where none came within ``POLL_S``."""
    try:
        return taker.get(timeout=POLL_S)
    except queue.Empty:
        return None
