"""A recording in the foreground of a terminal: countdown and level on stderr, Ctrl-C ends it in good order; and
what it adds to the ``round.json`` of its folder: when the air was commanded, what was recorded together."""

import json
import sys
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from time import monotonic
from typing import TypeVar

from listen.audio.lead import Lead
from listen.audio.microphone import SoundInput
from listen.audio.player import Player
from listen.durable import whole_file
from listen.signal.live import LiveLevel, LiveMeter

T = TypeVar("T")
REFRESH_S = 0.1
LINE_WIDTH = 95
FLOOR_DBFS = -90.0
"""Level at which the bar is empty; it has one mark for each 3 dB above."""


def attended(source: SoundInput, record: Callable[[threading.Event], T], seconds: float, lead: Lead | None = None) -> T:
    """Record in a worker thread while this one draws the countdown and takes Ctrl-C; ``lead`` leads a switched take.

    Raises AudioError: as ``record`` raises it."""
    meter = LiveMeter(source.rate_hz)  # loads what it needs before the first sample
    cancel, over, shown = threading.Event(), threading.Event(), sys.stderr.isatty()
    # Not the other way round: Python hands Ctrl-C to the main thread alone.
    with ThreadPoolExecutor(1, "recorder") as recorder:
        taken = recorder.submit(record, cancel)
        taken.add_done_callback(lambda _: over.set())
        if lead is not None:
            threading.Thread(target=lead.sound, args=(Player(), over), name="lead", daemon=True).start()
        began = monotonic()
        while not over.is_set():
            try:
                if not over.wait(REFRESH_S) and shown:
                    level = meter.feed([b.mean(axis=1) for b in source.drain()])
                    prompt = "" if lead is None else f"{lead.at(monotonic() - began).words}  "
                    line = f"\r{prompt}{_line(level, began + seconds - monotonic())}"
                    print(line, end="", file=sys.stderr, flush=True)
            except KeyboardInterrupt:
                # Not out of the loop: the take is brought to its end first, and its caller says what became of it.
                cancel.set()
        if shown:
            print("\r" + " " * LINE_WIDTH + "\r", end="", file=sys.stderr, flush=True)
    return taken.result()


def _line(level: LiveLevel, left_s: float) -> str:
    bar = "#" * max(0, min(30, round((level.level_dbfs - FLOOR_DBFS) / 3)))
    word = "TOO LOUD" if level.clipped else ""
    return f"{max(0.0, left_s):5.1f} s left  {level.level_dbfs:6.1f} dBFS  {bar:<30} {word:<8}"


def note_commands(clip: Path, on_s: tuple[tuple[float, float], ...], together: str = "") -> None:
    """Write the commanded times under the clip's name; what else stands in the file stays.

    A ``round.json`` that cannot be read is left alone and told: the edges may still be found in the sound.
    """
    path = clip.parent / "round.json"
    try:
        notes = json.loads(path.read_bytes()) if path.exists() else {}
        files = notes.setdefault("files", {})
        files[clip.stem] = {"switched": {"on_s": on_s}} | ({"together": together} if together else {})
        with whole_file(path) as file:
            file.write(json.dumps(notes, indent=1).encode() + b"\n")
    except (OSError, ValueError, AttributeError, TypeError) as error:
        print(f"note: {path}: the times of switching were not noted there ({error})", file=sys.stderr)
