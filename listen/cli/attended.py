"""A recording in the foreground of a terminal: countdown and level on stderr, Ctrl-C ends it in good order."""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from listen.audio.source import Recording, Source
    from listen.signal.live import LiveLevel

REFRESH_S = 0.1
"""How often the countdown is drawn."""
LINE_WIDTH = 72
"""What the countdown line takes of a terminal."""
FLOOR_DBFS = -90.0
"""Level at which the bar is empty; it has one mark for each 3 dB above."""


def attended(source: Source, part: Path, seconds: float) -> Recording:
    """Record in a worker thread while this one draws the countdown and takes Ctrl-C.

    Raises
    ------
    AudioError
        As :meth:`listen.audio.source.Source.record`.
    """
    from listen.signal.live import LiveMeter

    meter = LiveMeter(source.rate_hz)  # loads what it needs before the first sample
    cancel, over = threading.Event(), threading.Event()
    result: list[Recording] = []
    raised: list[BaseException] = []

    def work() -> None:
        try:
            result.append(source.record(part, seconds, cancel))
        except BaseException as error:  # noqa: BLE001 - raised again in the main thread below
            raised.append(error)
        over.set()

    threading.Thread(target=work, name="recorder").start()
    _countdown(lambda: meter.feed(source.drain()), over, cancel, seconds)
    if raised:
        raise raised[0]
    return result[0]


def _countdown(level: Callable[[], LiveLevel], over: threading.Event, cancel: threading.Event, seconds: float) -> None:
    began = monotonic()
    shown = sys.stderr.isatty()
    while not over.is_set():
        try:
            if not over.wait(REFRESH_S) and shown:
                line = _line(level(), began + seconds - monotonic())
                print(f"\r{line}", end="", file=sys.stderr, flush=True)
        except KeyboardInterrupt:
            cancel.set()
    if shown:
        print("\r" + " " * LINE_WIDTH + "\r", end="", file=sys.stderr, flush=True)


def _line(level: LiveLevel, left_s: float) -> str:
    bar = "#" * max(0, min(30, round((level.level_dbfs - FLOOR_DBFS) / 3)))
    word = "TOO LOUD" if level.clipped else ""
    return f"{max(0.0, left_s):5.1f} s left  {level.level_dbfs:6.1f} dBFS  {bar:<30} {word:<8}"
