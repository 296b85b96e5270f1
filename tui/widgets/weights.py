"""The weight of evidence for one path, line by line in decibans, adding up before one's eyes to the odds shown."""

from dataclasses import dataclass

from textual.reactive import reactive

from listen.voice.figures import number
from listen.voice.text import plain
from tui.widgets.drawn import Cells, Drawn, Scale

REACH_DB = 30.0
"""Bars reach this far to either side; longer ones are cut and carry an arrow."""


@dataclass(frozen=True, slots=True)
class Weight:
    """One line: where it comes from, how far it pushes, and the sum so far."""

    words: str
    push_db: float
    so_far_db: float


class Weights(Drawn):
    """Start, one line a point or reading, and the sum as odds."""

    DEFAULT_CSS = "Weights { height: auto; }"

    lines: reactive[tuple[Weight, ...]] = reactive[tuple[Weight, ...]]((), layout=True)
    total: reactive[str] = reactive("")
    """The sum in words, for example ``+11.9 decibans = 94 %``."""

    def get_content_height(self, container: object, viewport: object, width: int) -> int:
        return len(self.lines) + 3 if self.lines else 1

    def draw_line(self, y: int, width: int) -> Cells:
        line = Cells(width, "plain")
        if not self.lines:
            line.put(
                0, "Nothing has been weighed: no clip of this round could be used, or it is not judged yet.", "dim"
            )
            return line
        name = min(max(len(w.words) for w in self.lines) + 1, max(width // 3, 26))
        bar = max(width - name - 18, 8)
        if y == 0:
            line.put(name, "speaks against ◀ ┃ ▶ speaks for".center(bar), "dim")
            line.put_right(width - 9, "decibans", "dim")
            line.put_right(width, "so far", "dim")
        elif y <= len(self.lines):
            self._line(line, self.lines[y - 1], name, bar)
        elif y == len(self.lines) + 1:
            line.fill(0, width, "─", "rule")
        else:
            line.put(0, "together", "strong")
            line.put_right(width, self.total, "strong")
        return line

    def _line(self, line: Cells, weight: Weight, name: int, bar: int) -> None:
        line.put(0, plain(weight.words), "plain", name - 1)
        scale = Scale(-REACH_DB, REACH_DB, bar)
        zero = name + round(scale.column(0.0))
        to = name + scale.column(weight.push_db)
        pen = "air" if weight.push_db > 0 else "warn"
        if weight.push_db > 0:
            line.bar(zero + 1, to, pen)
        else:
            line.fill(round(to), zero, "▓", pen)
        if abs(weight.push_db) > REACH_DB:
            line.dot(round(to), "▶" if weight.push_db > 0 else "◀", pen)
        line.dot(zero, "┃", "dim")
        line.put_right(len(line) - 9, number(weight.push_db, sign=True), "strong")
        line.put_right(len(line), number(weight.so_far_db, sign=True), "dim")
