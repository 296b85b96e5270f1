"""How likely each escape path leaks, as bars with their range; and what moved the odds of one, line by line."""

from dataclasses import dataclass

from textual.message import Message
from textual.reactive import reactive

from listen.voice import figures
from listen.voice.figures import number, sure_range
from listen.voice.text import plain
from listen.voice.verdicts import glyph
from tui.widgets.drawn import Cells, DrawnList, PointedList, Scale

READING = 22
"""Columns of the figures at the right."""


@dataclass(frozen=True, slots=True)
class Chance:
    """One path and how likely it is at work, alone or with another."""

    path: str
    words: str
    probability: float
    named: bool = False
    least: float | None = None
    """Under the least favourable of the judge's assumptions; None where they were not varied."""
    most: float | None = None

    @property
    def kind(self) -> str:
        """Kind of verdict that would name it."""
        return KINDS.get(self.path, "path")

    @property
    def pen(self) -> str:
        """Of the solid bar."""
        return PENS[self.kind] if self.named else "air"


KINDS = {"none": "sound", "set-up": "set-up", "fitting": "fitting"}
PENS = {"sound": "sure", "set-up": "warn", "fitting": "warn", "path": "bad"}
"""As on the engine: a leak never has the colour of sound."""


class Odds(PointedList):
    """One bar a path; the one with the pointer is that whose evidence is shown."""

    chances: reactive[tuple[Chance, ...]] = reactive[tuple[Chance, ...]]((), layout=True)

    @dataclass
    class Chosen(Message):
        path: str

    @property
    def chosen(self) -> str:
        """The path whose evidence is shown; empty where there is none."""
        return self.chances[min(self.at, len(self.chances) - 1)].path if self.chances else ""

    def count(self) -> int:
        return len(self.chances)

    def drawing(self, width: int) -> list[Cells]:
        name = max((len(c.words) for c in self.chances), default=0) + 3
        return [self._bar(i, chance, name, width) for i, chance in enumerate(self.chances)] or [Cells(width)]

    def _bar(self, at: int, chance: Chance, name: int, width: int) -> Cells:
        line = self.begun(at, plain(chance.words), width, strong=chance.named)
        columns = max(width - name - READING, 4)
        scale = Scale(0.0, 1.0, columns + 1)
        line.fill(name, name + columns, "·", "rule")
        if chance.least is not None and chance.most is not None:
            line.fill(name + round(scale.column(chance.least)), name + round(scale.column(chance.most)), "▒", "dim")
            line.put_right(width - 2, sure_range(chance.least, chance.most), "dim")
        line.bar(name, name + scale.column(min(chance.probability, chance.least or 1.0)), chance.pen)
        line.put_right(width - 15, figures.sure(chance.probability), "strong" if chance.named else "plain")
        line.put(width - 1, glyph(chance.kind) if chance.named else " ", chance.pen)
        return line

    def choose(self, at: int, *, clicked: bool = False) -> None:
        """Show the evidence for this path."""
        super().choose(at)
        self.post_message(self.Chosen(self.chosen))


REACH_DB = 30.0
"""Bars of weights reach this far to either side; longer ones are cut and carry an arrow."""
NOTHING_WEIGHED = "Nothing has been weighed: no clip of this round could be used, or it is not judged yet."


@dataclass(frozen=True, slots=True)
class Weight:
    """One line: where it comes from, how far it pushes, and the sum so far."""

    words: str
    push_db: float
    so_far_db: float


class Weights(DrawnList):
    """The weight of evidence for one path in decibans, line by line, adding up before one's eyes to the odds shown."""

    lines: reactive[tuple[Weight, ...]] = reactive[tuple[Weight, ...]]((), layout=True)
    total: reactive[str] = reactive("")
    """The sum in words, for example ``+11.9 decibans = 94 %``."""

    def drawing(self, width: int) -> list[Cells]:
        head, rule, sum_ = Cells(width), Cells(width), Cells(width)
        if not self.lines:
            head.put(0, NOTHING_WEIGHED, "dim")
            return [head]
        name = min(max(len(w.words) for w in self.lines) + 1, max(width // 3, 26))
        bar = max(width - name - 18, 8)
        head.put(name, "speaks against ◀ ┃ ▶ speaks for".center(bar), "dim")
        head.put_right(width - 9, "decibans", "dim")
        head.put_right(width, "so far", "dim")
        rule.fill(0, width, "─", "rule")
        sum_.put(0, "together", "strong")
        sum_.put_right(width, self.total, "strong")
        return [head, *(self._weight(w, name, bar, width) for w in self.lines), rule, sum_]

    def _weight(self, weight: Weight, name: int, bar: int, width: int) -> Cells:
        line, scale = Cells(width), Scale(-REACH_DB, REACH_DB, bar)
        line.put(0, plain(weight.words), "plain", name - 1)
        zero, to, speaks_for = name + round(scale.column(0.0)), name + scale.column(weight.push_db), weight.push_db > 0
        if speaks_for:
            line.bar(zero + 1, to, "air")
        else:
            line.fill(round(to), zero, "▓", "warn")
        if abs(weight.push_db) > REACH_DB:
            line.dot(round(to), "▶" if speaks_for else "◀", "air" if speaks_for else "warn")
        line.dot(zero, "┃", "dim")
        line.put_right(width - 9, number(weight.push_db, sign=True), "strong")
        line.put_right(width, number(weight.so_far_db, sign=True), "dim")
        return line
