"""A long clip that stays in its file: measured stretch by stretch, in as much memory as one stretch takes."""

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from listen.audio.files import blocks, read_clip, sound_info
from listen.errors import ClipError
from listen.signal.clip import MAX_SAMPLE, Clip

HELD_SAMPLES = 2_500_000
"""Most samples of one point that are held in memory together (52 s at 48 kHz, with their spectra some 40 MB): more than
a usual round of three clips of 5 s takes, far below ten minutes a clip."""


@dataclass(frozen=True, slots=True, eq=False)
class LongClip:
    """One channel of a file, looked through once when it was made; see :class:`listen.signal.clip.Sound`."""

    path: Path
    channel: int
    frames: int
    rate_hz: int
    device: str
    overflows: int
    coded: str
    gain_db: float | None = None

    @property
    def name(self) -> str:
        return self.path.name

    @property
    def seconds(self) -> float:
        return self.frames / self.rate_hz

    def stretches(self, step: int, more: int = 0) -> Iterator[tuple[int, int, NDArray[np.float32]]]:
        """Stretches of ``step`` samples and ``more`` of those that follow, decoded as they are asked for."""
        at, held = 0, np.empty(0, np.float32)
        for block in blocks(self.path, self.channel):
            # What one stretch and its neighbourhood take, and never more: blocks are let go as stretches pass.
            held = np.concatenate([held, block])
            while len(held) >= step + more:
                yield at, step, held[: step + more]
                at, held = at + step, held[step:]
        while at < self.frames:
            yield at, min(step, len(held)), held[: step + more]
            at, held = at + step, held[step:]

    def part(self, start: int, stop: int) -> NDArray[np.float32]:
        clip = read_clip(
            self.path, channel=self.channel, start_s=start / self.rate_hz, seconds=(stop - start) / self.rate_hz
        )
        return clip.samples


def read_sound(path: Path, *, channel: int = 0, held: bool = True) -> Clip | LongClip:
    """A clip in memory, or with ``held`` false one that stays in its file. What is wrong with it is told either way.

    Raises ClipError: as :func:`listen.audio.files.read_clip`."""
    if held:
        return read_clip(path, channel=channel)
    start_s = min(1.0, max(sound_info(path).seconds, 0.01))
    start = read_clip(path, channel=channel, seconds=start_s)  # its form, its rate, its particulars
    frames = 0
    for block in blocks(path, channel):
        peak = float(np.maximum(block.max(), -block.min())) if len(block) else 0.0
        if not peak <= MAX_SAMPLE:  # nor NaN
            Clip.of(block, start.rate_hz, name=path.name)  # says what is wrong
            raise ClipError(f"{path.name}: samples up to {peak:.0e} times full scale; the file is damaged")
        frames += len(block)
    return LongClip(path, channel, frames, start.rate_hz, start.device, start.overflows, start.coded)


def fits(paths: list[Path]) -> bool:
    """Whether the clips of one point may be held in memory together, by what their headers claim."""
    total = 0
    for path in paths:
        with suppress(ClipError):  # told when it is read
            found = sound_info(path)
            total += round(found.seconds * found.rate_hz)
    return total <= HELD_SAMPLES
