"""How loud: live, over quiet, and whether the input is overloaded; and a long recording from end to end."""

from textwrap import wrap

from textual.reactive import reactive

from listen.signal.live import LiveLevel
from listen.voice.figures import decibels, number
from tui.bridge.listener import Listener
from tui.widgets.drawn import Cells, Drawn, Scale

LABEL = 7
"""Columns of the row labels."""
READING = 24
"""Columns of the words at the right."""
PERIOD_S = 1 / 25
"""Between two looks at the listener."""
LOW_DBFS = -90.0
TICKS_DBFS = (-80, -60, -40, -20, 0)
TICKS_EXCESS_DB = (-3, 0, 3, 6, 9, 12, 15, 18)


class LevelMeter(Drawn):
    """Two bars: level in dBFS with an overload light, and live excess over the quiet clip of this point."""

    DEFAULT_CSS = "LevelMeter { height: 3; }"

    listener: Listener | None = None
    """What it shows; None: nothing is heard."""
    reading: reactive[LiveLevel | None] = reactive["LiveLevel | None"](None)
    """None: the microphone is not open."""
    hush: reactive[str] = reactive("")
    """Words instead of the excess bar while it may not be shown."""
    silent: reactive[str] = reactive("microphone closed")
    """Words instead of the level while there is none."""

    def on_mount(self) -> None:
        self.set_interval(PERIOD_S, self._read)

    def _read(self) -> None:
        # Only where it is seen: covered it would be drawn 25 times a second for nobody.
        if self.listener is not None and self.app.screen is self.screen:
            self.silent, self.reading = self.listener.trouble, self.listener.reading

    def draw_line(self, y: int, width: int) -> Cells:
        line = Cells(width)
        track = Scale(LOW_DBFS, 0.0, max(width - LABEL - READING, 8))
        # A sentence takes the room of both bars: beside one there is none for more than three words.
        said = wrap(self.silent, max(width - LABEL, READING)) if self.reading is None else []
        if y < min(len(said), 2):
            line.put(0, "" if y else "level", "dim")
            line.put(LABEL, said[y], "warn")
        elif y == 0 and self.reading is not None:
            self._level(line, track, self.reading)
        elif y == 1:
            self._excess(line, track.columns)
        else:
            self._ticks(line, track)
        return line

    def _level(self, line: Cells, track: Scale, reading: LiveLevel) -> None:
        line.put(0, "level", "dim")
        end = LABEL + track.columns
        line.bar(LABEL, LABEL + track.column(reading.level_dbfs), "bad" if reading.clipped else "air")
        line.dot(LABEL + round(track.column(reading.peak_dbfs)), "│", "strong")
        line.put(end, "▏", "dim")
        at = line.put(end + 1, f"{number(reading.level_dbfs, 0):>3} dBFS ", "strong")
        line.put(at, "● OVERLOAD" if reading.clipped else "○ in range", "bad" if reading.clipped else "dim")

    def _excess(self, line: Cells, columns: int) -> None:
        line.put(0, "hiss", "dim")
        if self.hush or self.reading is None or self.reading.excess_db is None:
            line.put(LABEL, self.hush or "shown once this point has a quiet clip", "dim", columns + READING - 1)
            return
        scale, excess = Scale(-3.0, 18.0, columns), self.reading.excess_db
        zero = round(scale.column(0.0))
        line.bar(LABEL + zero, LABEL + scale.column(excess), "air")
        for tick in TICKS_EXCESS_DB:
            at = LABEL + round(scale.column(tick))
            if scale.column(excess) < at - LABEL or tick <= 0:
                line.dot(at, "│" if tick == 0 else "·", "strong" if tick == 0 else "rule")
        line.put(LABEL + columns, "▏", "dim")
        line.put(LABEL + columns + 1, f"{decibels(excess)} over quiet", "strong")

    def _ticks(self, line: Cells, track: Scale) -> None:
        for tick in TICKS_DBFS:
            label = number(tick, 0)
            at = LABEL + round(track.column(tick))
            line.put(max(LABEL, min(at - len(label) // 2, LABEL + track.columns - len(label))), label, "dim")
        line.put(LABEL + track.columns + 1, "dBFS (level)", "dim")


EIGHTHS_UP = " ▁▂▃▄▅▆▇█"
STRIP_LINES = 4
"""Lines of bars; one more below for marks, one for the cursor's time."""


class LevelStrip(Drawn):
    """Bars over time; a line with the marks and the cursor below them."""

    DEFAULT_CSS = "LevelStrip { height: 6; margin: 1 1 0 1; }"

    levels: reactive[tuple[float, ...]] = reactive(())
    """Loudness of each step, 0 to 1."""
    seconds: reactive[float] = reactive(0.0)
    marks: reactive[tuple[float, ...]] = reactive(())
    cursor: reactive[float] = reactive(0.0)

    def draw_line(self, y: int, width: int) -> Cells:
        line = Cells(width)
        time = Scale(0.0, max(self.seconds, 1e-9), width)
        if y < STRIP_LINES:
            for x in range(width):
                share = self.levels[x * len(self.levels) // width] if self.levels else 0.0
                eighths = round(share * 8 * STRIP_LINES) - 8 * (STRIP_LINES - 1 - y)
                line.dot(x, EIGHTHS_UP[min(max(eighths, 0), 8)], "air")
            for mark in self.marks:
                line.dot(round(time.column(mark)), "│", "warn")
        elif y == STRIP_LINES:
            line.fill(0, width, "─", "rule")
            for mark in self.marks:
                line.dot(round(time.column(mark)), "┴", "warn")
            line.dot(round(time.column(self.cursor)), "▲", "strong")
        else:
            at = round(time.column(self.cursor))
            words = f"{self.cursor:.1f} s"
            line.put(min(max(at - len(words) // 2, 0), max(width - len(words), 0)), words, "strong")
        return line
