"""The microphone as a screen sees it: opened and measured in a thread of its own, read by the screen when it draws.

Three activities: the source's own callback, the meter's thread (drains blocks 25 times a second and leaves one frozen
reading), and the screen (reads it). ``reading`` and ``trouble`` are single references, replaced whole, so no lock is
needed. A take is recorded in a fourth thread by :meth:`record`.
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

from listen.errors import AudioError, HisswayError
from tui.bridge.threads import in_thread

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    import numpy as np
    from numpy.typing import NDArray

    from listen.audio.source import Recording, Source
    from listen.signal.live import LiveLevel, LiveMeter

PERIOD_S = 0.04
"""Between two readings: 25 a second."""
RETRY_S = 1.0
"""Between two tries to open an input that failed."""


class Listener:
    """Holds one source open and keeps its latest reading."""

    def __init__(self, make: Callable[[], Source]) -> None:
        self._make = make
        self._source: Source | None = None
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

    @property
    def source(self) -> Source | None:
        """The open source."""
        return self._source

    def start(self) -> None:
        """Open the microphone and begin to measure."""
        self._thread.start()

    def compare_with(self, quiet: NDArray[np.float64] | None) -> None:
        """Measure live excess over this quiet spectrum from now on; None: none."""
        self._quiet = quiet

    def aim(self, point: str, kind: str, on_s: tuple[tuple[float, float], ...] = ()) -> None:
        """Tell a simulated microphone where it is held and when air comes and goes; a real one needs no telling."""
        if (aim := getattr(self._source, "aim", None)) is not None:
            aim(point, kind, on_s)

    async def record(self, part: Path, seconds: float) -> Recording:
        """Record one take; raises what the source raises."""
        if self._source is None:
            raise AudioError(self.trouble or "the microphone is not open")
        self._cancel.clear()
        return await in_thread(self._source.record, part, seconds, self._cancel)

    def stop(self) -> None:
        """End the take that is being recorded."""
        self._cancel.set()

    def close(self) -> None:
        """Let go of the microphone; returns at once."""
        self._cancel.set()
        self._leave.set()

    def _run(self) -> None:
        while not self._leave.is_set():
            if self._open():
                self._measure()
            self._leave.wait(RETRY_S)
        if self._source is not None:
            self._source.close()

    def _open(self) -> bool:
        from listen.signal.live import LiveMeter

        try:
            source = self._source or self._make()
            source.open()
        except HisswayError as e:
            self.reading, self.trouble = None, str(e)
            return False
        except Exception as e:  # noqa: BLE001 - this thread is the only one that knows, and the screen waits for it
            self.reading, self.trouble = None, f"the microphone cannot be used ({type(e).__name__}: {e})"
            return False
        self._meter = LiveMeter(source.rate_hz)
        self._source, self._applied = source, None
        self.trouble = ""
        return True

    def _measure(self) -> None:
        """Read until told to leave or the microphone is in trouble."""
        assert self._source is not None and self._meter is not None
        while not self._leave.wait(PERIOD_S):
            if (trouble := self._source.trouble()) is not None:
                self.reading, self.trouble = None, str(trouble)
                return
            if self._quiet is not self._applied:  # only this thread touches the meter
                self._applied = self._quiet
                self._meter.set_quiet(self._applied)
            if blocks := self._source.drain():
                self.reading = self._meter.feed(blocks)
                self.readings += 1
