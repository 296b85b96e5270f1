"""A session of work as the screens do it, that says after each step what the user may now rely on."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from listen.audio.headers import PartHeader
from listen.audio.take import Recording
from listen.audio.write import PartWriter
from listen.errors import AudioError
from listen.jobs import events as ev
from listen.jobs.folder.open_job import OpenJob

RATE_HZ = 16_000
BLOCK = 160
"""Samples a block: 10 ms."""
Acknowledge = Callable[[str], None]


class NoiseSource:
    """A microphone that hears seeded noise; it says how much of a take has been handed to the system."""

    name = "invented microphone"
    rate_hz = RATE_HZ

    def __init__(self, acknowledge: Acknowledge, wait_s: float) -> None:
        self._acknowledge, self._wait_s = acknowledge, wait_s

    def open(self) -> None:
        """Nothing to open."""

    def close(self) -> None:
        """Nothing to close."""

    def drain(self) -> list[np.ndarray]:
        """No meter here."""
        return []

    def trouble(self) -> AudioError | None:
        """Never in trouble."""
        return None

    def record(self, part: Path, seconds: float, cancel: threading.Event) -> Recording:
        """Write a take through the recorder's own part writer."""
        noise = np.random.default_rng(len(part.name)).normal(size=int(seconds * RATE_HZ)).astype(np.float32) * 0.01
        started = datetime.now(UTC)
        clip = part.name.partition(".")[0]
        with PartWriter(part, PartHeader(RATE_HZ, self.name, started)) as writer:
            for at in range(0, len(noise), BLOCK):
                if cancel.is_set():
                    break
                writer.write(noise[at : at + BLOCK], 0)
                self._acknowledge(f"sound {clip} {writer.frames}")
                if self._wait_s:
                    time.sleep(self._wait_s)
        return Recording(part, writer.frames / RATE_HZ)


def work(opened: OpenJob, acknowledge: Acknowledge, steps: Iterator[int], *, seconds: float, wait_s: float) -> None:
    """Notes and takes in turn, one for each of ``steps``; every third step is a take."""
    source = NoiseSource(acknowledge, wait_s)
    round_id = opened.job.rounds[0].id
    for n in steps:
        if n % 3 == 2:
            part = opened.new_part(round_id, "intake", "air", "air")
            opened.keep(part, source.record(part.path, seconds, threading.Event()))
            acknowledge(f"clip {part.clip}")
        else:
            text = f"note {n} " + "x" * (n * 37 % 300)
            opened.append(ev.NoteAdded(text=text))
            acknowledge(f"note {text}")
