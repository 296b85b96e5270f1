"""What any microphone, real or simulated, offers to the rest of the program, and what a recording is."""

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from listen.errors import AudioError


@dataclass(frozen=True, slots=True)
class Recording:
    """One take as it stands in its part file."""

    part: Path
    """The unfinished clip; :func:`listen.audio.partial.finish` turns it into a sound file."""
    rate_hz: int
    """Sample rate."""
    seconds: float
    """Length of what was recorded."""
    device: str
    """Name of the input."""
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

    def drain(self) -> list[NDArray[np.float32]]:
        """Blocks since the last call, for a level meter; never waits, and old ones go when nobody asks."""

    def trouble(self) -> AudioError | None:
        """What is wrong with the stream at this moment, as one sentence; None while sound arrives."""

    def record(self, part: Path, seconds: float, cancel: threading.Event) -> Recording:
        """Write ``seconds`` of sound to the new file ``part`` as it arrives.

        Raises DeviceLost: the microphone went away, fell silent or stalled; what had arrived is kept in ``part``.
        AudioError: it is not open, or ``part`` cannot be written."""


Told = Callable[[int, str], None]
"""Given the channel (from 0) and one sentence, once for each thing that goes wrong, as it does."""


class ManyChannelInput(SoundInput, Protocol):
    """A source of several channels."""

    @property
    def channels(self) -> int:
        """How many there are."""

    def drain_all(self) -> list[NDArray[np.float32]]:
        """As ``drain``, with every channel [shape=(n, C)] each."""

    def record_all(
        self, parts: Sequence[Path | None], seconds: float, cancel: threading.Event, told: Told | None = None
    ) -> tuple[Recording | None, ...]:
        """Write each channel to its own part; see :func:`listen.audio.many.record_all`."""
