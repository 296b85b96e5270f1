"""One take of several channels at once: a part file a channel, so that one that fails costs the others nothing."""

from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from listen.audio.partial import PartWriter
from listen.audio.source import Recording, Told
from listen.audio.take import Take, written
from listen.audio.watch import ZEROS_S
from listen.errors import DeviceLost

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
    told: Told | None
    zeros: int = 0
    dead: bool = False
    clipped: bool = False

    def take(self, samples: NDArray[np.float32], overflows: int, rate_hz: int) -> None:
        """Write its samples [shape=(n,)] unless it is dead; tell once that it is, and once that it clips."""
        if self.dead:
            return
        self.writer.write(samples, overflows)
        sounding = np.flatnonzero(samples)
        self.zeros = self.zeros + len(samples) if not len(sounding) else len(samples) - 1 - int(sounding[-1])
        if self.zeros >= ZEROS_S * rate_hz:
            self.dead = True
            self._tell(f"sends nothing but zeros since {self.zeros / rate_hz:.1f} s: unplugged or switched off")
        if not self.clipped and int((np.abs(samples) >= CLIP_LEVEL).sum()) >= CLIPPED_SAMPLES:
            self.clipped = True
            self._tell("is too loud and clips: turn its gain down")

    def _tell(self, what: str) -> None:
        if self.told is not None:
            self.told(self.number, f"channel {self.number + 1} {what}; the other channels are kept")


def record_all(
    take: Take, parts: Sequence[Path | None], seconds: float, told: Told | None = None
) -> tuple[Recording | None, ...]:
    """Record into a part for each channel (None: not recorded); None in place of one not recorded or that died.

    Raises DeviceLost: the whole input went away, or every channel died; what had arrived is kept in the parts.
    AudioError: a part cannot be written."""
    with take, written("the take"), ExitStack() as stack:
        channels = [
            _Channel(n, part, stack.enter_context(PartWriter(part, take.header)), told)
            for n, part in enumerate(parts)
            if part is not None
        ]
        for block in take.blocks(seconds):
            every = block.samples[:, None] if block.channels is None else block.channels
            for c in channels:
                c.take(every[:, c.number], take.overflows, take.rate_hz)
            if all(c.dead for c in channels):
                raise DeviceLost(f"{take.name}: no channel sends sound; check plugs and power, then record again")
    done = {c.number: take.recording(c.part) for c in channels if not c.dead}
    return tuple(done.get(n) for n in range(len(parts)))
