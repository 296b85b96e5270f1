"""The dB ladder: every point's excess on one scale whose zero is the shop's own noise, with all its uncertainty."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

from textual import events
from textual.message import Message
from textual.reactive import reactive

from listen.voice.figures import decibels, number
from listen.voice.text import plain
from tui.widgets.drawn import Cells, Drawn, Scale, excess_scale
from tui.widgets.large import FIGURE_HEIGHT, put_figure

WIDE = 96
"""Columns from which names and words are written out."""
MARK = 4
"""Columns of one walk's marks."""
MIN_SCALE = 16
"""Columns below which no scale is drawn, only words."""
FIGURE = 22
"""Columns of an excess in large figures, a sign and two digits before the point included."""


class Mark(Enum):
    """What became of one clip: a glyph that differs without colour, and a pen."""

    DUE = ("·", "dim")
    NEXT = ("○", "strong")
    RECORDING = ("◉", "bad")
    CHECKING = ("◌", "air")
    KEPT = ("●", "sure")
    AGAIN = ("×", "bad")
    SKIPPED = ("–", "dim")


class Standing(Enum):
    """What a point says, in a word that stands beside every colour."""

    WAITING = ("", "dim")
    HIDDEN = ("after your call", "dim")
    SO_FAR = ("so far", "air")
    HEARD = ("hiss", "air")
    NOTHING = ("nothing", "plain")
    DOUBTFUL = ("doubtful", "warn")
    AGAIN = ("again", "bad")
    SKIPPED = ("left out", "dim")
    UNKNOWN = ("no number", "warn")


LOUD = (Standing.HEARD, Standing.SO_FAR, Standing.DOUBTFUL, Standing.AGAIN)
"""Where the excess is said as a figure; of a point that says nothing the limit counts."""


@dataclass(frozen=True, slots=True)
class PointRow:
    """One point of the ladder. Decibels; None where not known."""

    point: str
    words: str
    marks: tuple[Mark, ...] = ()
    standing: Standing = Standing.WAITING
    excess_db: float | None = None
    low_db: float | None = None
    high_db: float | None = None
    limit_db: float | None = None
    """Only where nothing was found."""
    drift_db: float | None = None
    note: str = ""

    @property
    def short(self) -> str:
        """Its name where room is scarce."""
        return self.point.replace("-", " ")

    def hidden(self) -> PointRow:
        """The same with its numbers withheld (before the by-ear call)."""
        standing = Standing.WAITING if self.standing is Standing.WAITING else Standing.HIDDEN
        return replace(
            self, standing=standing, excess_db=None, low_db=None, high_db=None, limit_db=None, drift_db=None, note=""
        )


class Ladder(Drawn, can_focus=True):
    """Rows of points: marks for each walk, the scale, the words."""

    DEFAULT_CSS = """
    Ladder { height: auto; }
    Ladder:focus { background-tint: $foreground 3%; }
    """

    point_rows: reactive[tuple[PointRow, ...]] = reactive[tuple[PointRow, ...]]((), layout=True)
    current: reactive[str] = reactive("")
    """Point the next step is about."""
    tall: reactive[int] = reactive(1, layout=True)
    """Lines a row, where there is room: readable from further away; from three on the excess grows with them."""
    walks: reactive[tuple[str, ...]] = reactive[tuple[str, ...]](("off", "on", "off"))
    """Heads of the mark columns: whether the air is on."""

    @dataclass
    class Chosen(Message):
        point: str

    def get_content_height(self, container: object, viewport: object, width: int) -> int:
        return len(self.point_rows) * self.tall + 2

    def draw_line(self, y: int, width: int) -> Cells:
        """Axis first, then a row a point, then the legend."""
        line = Cells(width)
        name, marks, words = self._columns(width)
        figure = FIGURE if self.tall >= FIGURE_HEIGHT and width >= WIDE + FIGURE else 0
        left = 2 + name + marks
        # Of all rows: they share one scale, or a louder point would look as loud as a faint one.
        drawn = [v for r in self.point_rows for v in (r.excess_db, r.high_db, r.limit_db) if v is not None]
        scale = excess_scale(drawn, width - left - words - figure - 1)
        at, below = divmod(y - 1, self.tall)
        at += self._first()
        if y == 0:
            self._axis(line, left, scale, name)
        elif at < len(self.point_rows):
            row = self.point_rows[at]
            if below == 0:
                self._row(line, row, left, scale, name)
            elif below < FIGURE_HEIGHT:
                self._below(line, row, left, scale, words=below == 1)
            if figure and below < FIGURE_HEIGHT and row.excess_db is not None and row.standing in LOUD:
                put_figure(line, below, width - figure, number(row.excess_db, sign=True), row.standing.value[1])
        elif at == len(self.point_rows) and not below:
            self._legend(line, left)
        return line

    def _first(self) -> int:
        """Row that stands on top. Where the screen is low the legend gives way, then what is far from the current."""
        rows = (self.size.height - 1) // self.tall if self.size.height else len(self.point_rows)  # not laid out yet
        here = next((i for i, r in enumerate(self.point_rows) if r.point == self.current), 0)
        return max(min(here - rows // 2, len(self.point_rows) - rows), 0)

    def _columns(self, width: int) -> tuple[int, int, int]:
        names = [r.words if width >= WIDE else r.short for r in self.point_rows]
        name = max([len(n) for n in names] + [8])
        return min(name, 26) + 1, MARK * len(self.walks) + 1, 34 if width >= WIDE else 19

    def _axis(self, line: Cells, left: int, scale: Scale, name: int) -> None:
        for i, walk in enumerate(self.walks):
            line.put(2 + name + MARK * i, walk, "dim")
        if scale.columns < MIN_SCALE:
            return
        for tick in scale.ticks():
            label = "0" if tick == 0 else number(tick, 0, sign=True)
            at = left + round(scale.column(tick)) - len(label) // 2
            line.put(max(left, at), label, "strong" if tick == 0 else "dim")
        line.put(left + scale.columns + 2, "dB over shop noise" if len(line) >= WIDE else "dB over the shop", "dim")

    def _row(self, line: Cells, row: PointRow, left: int, scale: Scale, name: int) -> None:
        here = row.point == self.current
        line.put(0, "▶" if here else " ", "warn")
        words = row.words if len(line) >= WIDE else row.short
        line.put(2, plain(words), "strong" if here else "plain", name - 1)
        for i, mark in enumerate(row.marks):
            line.put(3 + name + MARK * i, *mark.value)
        if scale.columns >= MIN_SCALE:
            self._scale(line, row, left, scale)
        word, pen = row.standing.value
        line.put(left + scale.columns + 2, self._words(row, word, wide=len(line) >= WIDE), pen)

    def _below(self, line: Cells, row: PointRow, left: int, scale: Scale, *, words: bool) -> None:
        if scale.columns >= MIN_SCALE:
            self._scale(line, row, left, scale)
        if words and row.drift_db is not None:
            limit = "" if row.limit_db is None else f"limit {number(row.limit_db)}, "
            text = f"{limit}drift {number(row.drift_db)} dB"
            line.put(left + scale.columns + 2, text, "dim")

    def _scale(self, line: Cells, row: PointRow, left: int, scale: Scale) -> None:
        def at(db: float) -> int:
            return left + round(scale.column(db))

        for tick in scale.ticks():
            line.dot(at(tick), "┊", "rule")
        if row.drift_db is not None:
            line.fill(at(-row.drift_db), at(row.drift_db) + 1, "░", "quiet")
        line.dot(at(0.0), "│", "strong")
        if row.excess_db is None:
            return
        low, high, pen = row.low_db, row.high_db, row.standing.value[1]
        if low is not None and high is not None:
            line.bar(at(0.0), left + scale.column(low), pen)
            line.fill(at(low), at(high) + 1, "▒", pen)
        line.dot(at(row.excess_db), "◆", "strong")
        if row.limit_db is not None and (low is None or low < row.limit_db):
            line.dot(at(row.limit_db), "╎", "warn")

    @staticmethod
    def _words(row: PointRow, word: str, *, wide: bool) -> str:
        if row.note and not wide:
            word = word or row.note
        if row.standing is Standing.HEARD and row.excess_db is not None:
            text = f"{decibels(row.excess_db)} {word}"
            if wide and row.low_db is not None:
                text += f" ({number(row.low_db)} to {number(row.high_db)})"
            return text
        if row.standing is Standing.NOTHING and row.limit_db is not None:
            limit = number(row.limit_db)
            return f"nothing; {limit} dB would have shown" if wide else f"nothing ≥{limit} dB"
        if row.standing in LOUD and row.excess_db is not None:
            return f"{decibels(row.excess_db)} {word}"
        return f"{word}: {row.note}" if wide and row.note and word else word or row.note

    def _legend(self, line: Cells, left: int) -> None:
        if len(line) >= WIDE:
            line.put(2, "● kept  × again  – left out", "dim")
            line.put(max(left, 30), "◆ excess  ▒ 95 % interval  ╎ detection limit  ░ drift", "dim")
        else:
            line.put(2, "◆ excess ▒ 95 % interval ╎ limit ░ drift ● kept × again – left out", "dim")

    def on_click(self, event: events.Click) -> None:
        row = (event.y - 1) // self.tall + self._first()
        if event.y and row < len(self.point_rows):
            self.post_message(self.Chosen(self.point_rows[row].point))
