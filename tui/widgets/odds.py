"""How likely each escape path leaks, as bars with their range; and what moved the odds of one, line by line."""

from textual.reactive import reactive

from listen.judge.account import Line, account
from listen.judge.result import PathResult
from listen.voice import figures, names
from listen.voice.figures import number, sure_range
from listen.voice.text import plain
from listen.voice.verdicts import glyph
from tui.content import fitting
from tui.widgets.drawn import Cells, DrawnList, PointedList, Scale

READING = 22
"""Columns of the figures at the right."""


KINDS = {"none": "sound", "set-up": "set-up", "fitting": "fitting"}
PENS = {"path": "bad", "several": "bad", "sound": "sure", "fitting": "warn", "set-up": "warn", "unclear": "warn"}
"""Here and on the engine: a leak never has the colour of sound."""


class Odds(PointedList):
    """One bar a path: how likely it is at work, alone or with another. The evidence of the one pointed at is shown."""

    paths: reactive[tuple[PathResult, ...]] = reactive[tuple[PathResult, ...]]((), layout=True)
    named: reactive[tuple[str, ...]] = reactive[tuple[str, ...]](())

    @property
    def chosen(self) -> PathResult | None:
        """The path whose evidence is shown, if there is any."""
        return self.paths[min(self.at, len(self.paths) - 1)] if self.paths else None

    def count(self) -> int:
        return len(self.paths)

    def drawing(self, width: int) -> list[Cells]:
        words = [plain(names.path(p.path)) for p in self.paths]
        name = max(map(len, words), default=0) + 3
        return [self._bar(i, words[i], name, width) for i in range(len(words))] or [Cells(width)]

    def _bar(self, at: int, words: str, name: int, width: int) -> Cells:
        path = self.paths[at]
        named, kind, range_ = path.path in self.named, KINDS.get(path.path, "path"), path.involved_range
        pen = PENS[kind] if named else "air"
        line, columns = self.begun(at, words, width, strong=named), max(width - name - READING, 4)
        scale = Scale(0.0, 1.0, columns + 1)
        line.fill(name, name + columns, "·", "rule")
        if range_ is not None:
            line.fill(name + round(scale.column(range_[0])), name + round(scale.column(range_[1])), "▒", "dim")
            line.put_right(width - 2, sure_range(*range_), "dim")
        # whole up to what the least favourable assumptions leave
        line.bar(name, name + scale.column(min(path.involved, (range_ or (1.0,))[0] or 1.0)), pen)
        line.put_right(width - 16, figures.sure(path.involved), "strong" if named else "plain")
        line.put(width - 1, glyph(kind) if named else " ", pen)
        return line


REACH_DB = 30.0
"""Bars of weights reach this far to either side; longer ones are cut and carry an arrow."""
SIDES = ("speaks against ◀ ┃ ▶ speaks for", "against ◀ ┃ ▶ for", "")
"""Head of the bars, as wide as there is room."""
NOTHING_WEIGHED = "Nothing has been weighed: no clip of this round could be used, or it is not judged yet."


class Weights(DrawnList):
    """The weight of evidence for one path in decibans, line by line, adding up before one's eyes to the odds shown."""

    path: reactive[PathResult | None] = reactive[PathResult | None](None, layout=True)

    def drawing(self, width: int) -> list[Cells]:
        head, rule, sum_ = Cells(width), Cells(width), Cells(width)
        lines = account(self.path) if self.path else ()
        if not lines or self.path is None:
            head.put(0, NOTHING_WEIGHED, "dim")
            return [head]
        # Of long names a third of the line at most, so that the bars keep room.
        name = min(max(len(names.source(w.source)) for w in lines) + 1, max(width // 3, 26))
        bar = max(width - name - 18, 8)
        head.put(name, fitting(SIDES, width - name - 18).center(bar), "dim")
        head.put_right(width - 9, "decibans", "dim")
        head.put_right(width, "so far", "dim")
        rule.fill(0, width, "─", "rule")
        sum_.put(0, "together", "strong")
        total = f"{number(lines[-1].so_far_db, sign=True)} decibans = {figures.sure(self.path.involved)}"
        sum_.put_right(width, total, "strong")
        return [head, *(self._weight(w, name, bar, width) for w in lines), rule, sum_]

    def _weight(self, weight: Line, name: int, bar: int, width: int) -> Cells:
        line, scale = Cells(width), Scale(-REACH_DB, REACH_DB, bar)
        line.put(0, names.source(weight.source), "plain", name - 1)
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
