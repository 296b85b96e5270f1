"""The microphone as a screen sees it: opened and measured in a thread of its own, read by the screen when it draws.

Three activities: the source's own callback, the meter's thread (drains blocks 25 times a second and leaves one frozen
reading), and the screen (reads it). ``reading`` and ``trouble`` are single references, replaced whole, so no lock is
needed. A take is recorded in a fourth thread by :meth:`record`.
"""

import threading
from collections import deque
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from listen.audio.microphone import SoundInput
from listen.audio.take import Recording, Told
from listen.errors import AudioError, HisswayError
from listen.signal.live import LiveLevel, LiveMeter
from tui.bridge.threads import in_thread

PERIOD_S = 0.04
"""Between two readings: 25 a second."""
RETRY_S = 1.0
"""Between two tries to open an input that failed."""


class Listener:
    """Holds one source open and keeps its latest reading."""

    def __init__(self, make: Callable[[], SoundInput]) -> None:
        self._make = make
        # Four seconds: blocks come a hundred times a second.
        self._recent: deque[NDArray[np.float32]] = deque(maxlen=400)
        self.source: SoundInput | None = None
        self._meter: LiveMeter | None = None
        self._leave = threading.Event()
        self._cancel = threading.Event()
        self.reading: LiveLevel | None = None
        """Latest reading; None while nothing is heard."""
        self.trouble: str = "opening the microphone ..."
        """Why nothing is heard; empty while sound arrives."""
        self.readings = 0
        """How many readings there have been."""
        self._quiet: NDArray[np.float64] | None = None
        self._applied: NDArray[np.float64] | None = None
        self._thread = threading.Thread(target=self._run, name="listener", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def compare_with(self, quiet: NDArray[np.float64] | None) -> None:
        """Measure live excess over this quiet spectrum from now on; None: none."""
        self._quiet = quiet

    def hold_at(self, places: Sequence[str], kind: str, on_s: tuple[tuple[float, float], ...] = ()) -> None:
        """Tell simulated microphones where they are held and when air comes and goes; real ones need no telling."""
        if (hold := getattr(self.source, "hold_at", None)) is not None:
            hold(places, kind, on_s)

    def tap(self, channel: int) -> None:
        """Tap a simulated microphone; a real one is tapped by hand."""
        if (tap := getattr(self.source, "tap", None)) is not None:
            tap(channel)

    @property
    def name(self) -> str:
        return self.source.name if self.source is not None else ""

    @property
    def channels(self) -> int:
        return self.source.channels if self.source is not None else 1

    def recent(self, seconds: float) -> tuple[NDArray[np.float32], int] | None:
        """The last seconds of every channel [shape=(n, C)] and their rate; None while there are not so many."""
        # Taken once: the other threads may replace both meanwhile.
        blocks, source = list(self._recent), self.source
        if source is None or not blocks:
            return None
        n = round(seconds * source.rate_hz)
        every = np.concatenate(blocks)[-n:]
        return (every, source.rate_hz) if len(every) == n else None

    async def record(
        self, parts: Sequence[Path | None], seconds: float, told: Told | None = None
    ) -> tuple[Recording | None, ...]:
        """Record one take, each channel to its own part; raises what the source raises."""
        if self.source is None:
            raise AudioError(self.trouble or "the microphone is not open")
        self._cancel.clear()
        return await in_thread(self.source.record, parts, seconds, self._cancel, told)

    def stop(self) -> None:
        self._cancel.set()

    def close(self) -> None:
        """Let go of the microphone; returns at once."""
        self._cancel.set()
        self._leave.set()

    def _run(self) -> None:
        while not self._leave.is_set():
            if self._open():
                self._measure()
            # An event, not a sleep: who leaves does not wait for the next try.
            self._leave.wait(RETRY_S)
        if self.source is not None:
            self.source.close()

    def _open(self) -> bool:
        try:
            # The same one is opened again: it finds its device by name, wherever it is plugged in now.
            source = self.source or self._make()
            source.open()
        except Exception as e:  # noqa: BLE001 - this thread is the only one that knows, and the screen waits for it
            unforeseen = f"the microphone cannot be used ({type(e).__name__}: {e})"
            self.reading, self.trouble = None, str(e) if isinstance(e, HisswayError) else unforeseen
            return False
        self._meter = LiveMeter(source.rate_hz)
        # A new meter knows no quiet yet: it is given the one that holds.
        self.source, self._applied = source, None
        self.trouble = ""
        return True

    def _measure(self) -> None:
        """Read until told to leave or the microphone is in trouble."""
        assert self.source is not None and self._meter is not None
        while not self._leave.wait(PERIOD_S):
            if (trouble := self.source.trouble()) is not None:
                self.reading, self.trouble = None, str(trouble)
                return
            if self._quiet is not self._applied:  # only this thread touches the meter
                self._applied = self._quiet
                self._meter.set_quiet(self._applied)
            if blocks := self.source.drain():
                self._recent.extend(blocks)
                self.reading = self._meter.feed([b.mean(axis=1) for b in blocks])
                self.readings += 1
