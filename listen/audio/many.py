"""One take of several channels at once: a part file a channel, so that one that fails costs the others nothing."""

import threading
import time
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from listen.audio.block_receiver import BlockReceiver, Taker
from listen.audio.partial import PartHeader, PartWriter
from listen.audio.source import Recording, Told
from listen.audio.take import next_block, sentence
from listen.audio.watch import ZEROS_S, Watch
from listen.errors import AudioError, DeviceLost

CLIP_LEVEL = 0.999
"""Share of full scale that counts as clipped."""
CLIPPED_SAMPLES = 4
"""So many in one block of 10 ms are told; fewer may be one knock."""


@dataclass(slots=True)
class _Channel:
    """One channel being written."""

    number: int
    part: Path
    writer: PartWriter
    zeros: int = 0
    dead: bool = False
    clipped: bool = False


@dataclass(slots=True)
class ManyTake:
    """One take in progress, in the thread that records it."""

    receiver: BlockReceiver
    name: str
    rate_hz: int
    parts: Sequence[Path | None]
    """Part file of each channel; None: not recorded."""
    cancel: threading.Event
    told: Told | None = None

    def run(self, seconds: float) -> tuple[Recording | None, ...]:
        """Record; None in place of a channel that is not recorded or that died.

        Raises
        ------
        DeviceLost
            The whole input went away; what had arrived is kept in the parts.
        AudioError
            A part cannot be written, or every channel died.
        """
        taker = self.receiver.tap()
        try:
            return self._run(taker, round(seconds * self.rate_hz))
        except OSError as error:
            raise AudioError(
                f"the take cannot be written ({error.strerror or error}); "
                "what was written before is kept, make room or choose another folder"
            ) from error
        finally:
            self.receiver.untap(taker)

    def _run(self, taker: Taker, wanted: int) -> tuple[Recording | None, ...]:
        watch = Watch(self.rate_hz, time.monotonic())
        overflows_before = self.receiver.overflows
        started = datetime.now(UTC)
        header = PartHeader(self.rate_hz, self.name, started)
        frames, overflows, cancelled = 0, 0, False
        with ExitStack() as stack:
            channels = [
                _Channel(n, part, stack.enter_context(PartWriter(part, header)))
                for n, part in enumerate(self.parts)
                if part is not None
            ]
            while frames < wanted and not (cancelled := self.cancel.is_set()):
                block = next_block(taker)
                if block is not None:
                    watch.saw(block.samples, block.at)
                    overflows = block.overflows - overflows_before
                    every = (block.samples[:, None] if block.channels is None else block.channels)[: wanted - frames]
                    frames += len(every)
                    for c in channels:
                        self._take(c, every[:, c.number], overflows)
                self._raise_trouble(watch, frames)
                if all(c.dead for c in channels):
                    raise AudioError(f"{self.name}: no channel sends sound; check plugs and power, then record again")
        done = {
            c.number: Recording(
                part=c.part,
                rate_hz=self.rate_hz,
                seconds=c.writer.frames / self.rate_hz,
                device=self.name,
                overflows=overflows,
                started=started,
                cancelled=cancelled,
                gaps=watch.gaps,
            )
            for c in channels
            if not c.dead
        }
        return tuple(done.get(n) for n in range(len(self.parts)))

    def _take(self, c: _Channel, samples: NDArray[np.float32], overflows: int) -> None:
        if c.dead:
            return
        c.writer.write(samples, overflows)
        sounding = np.flatnonzero(samples)
        c.zeros = c.zeros + len(samples) if not len(sounding) else len(samples) - 1 - int(sounding[-1])
        if c.zeros >= ZEROS_S * self.rate_hz:
            c.dead = True
            self._tell(c, f"sends nothing but zeros since {c.zeros / self.rate_hz:.1f} s: unplugged or switched off")
        if not c.clipped and int((np.abs(samples) >= CLIP_LEVEL).sum()) >= CLIPPED_SAMPLES:
            c.clipped = True
            self._tell(c, "is too loud and clips: turn its gain down")

    def _tell(self, c: _Channel, what: str) -> None:
        if self.told is not None:
            self.told(c.number, f"channel {c.number + 1} {what}; the other channels are kept")

    def _raise_trouble(self, watch: Watch, frames: int) -> None:
        trouble = self.receiver.trouble(watch)
        if trouble is None:
            return
        kept = f"the {frames / self.rate_hz:.1f} s that arrived are kept" if frames else "no sound had arrived"
        told = f"{sentence(trouble, self.name)}, then record this take again ({kept})"
        raise DeviceLost(told) from self.receiver.error
