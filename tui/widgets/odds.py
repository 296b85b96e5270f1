"""How likely each escape path leaks, as labelled bars with their range; the named ones marked."""

from dataclasses import dataclass

from textual import events
from textual.binding import Binding
from textual.message import Message
from textual.reactive import reactive

from listen.voice import figures
from listen.voice.figures import sure_range
from listen.voice.text import plain
from listen.voice.verdicts import glyph
from tui.widgets.drawn import Cells, Drawn, Scale

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


KINDS = {"none": "sound", "set-up": "set-up", "fitting": "fitting"}
PENS = {"sound": "sure", "set-up": "warn", "fitting": "warn", "path": "bad"}
"""As on the engine: a leak never has the colour of sound."""


def kind(chance: Chance) -> str:
    """Kind of verdict that would name it."""
    return KINDS.get(chance.path, "path")


def pen(chance: Chance) -> str:
    """Of the solid bar."""
    return PENS[kind(chance)] if chance.named else "air"


class Odds(Drawn, can_focus=True):
    """One bar a path; up and down choose the path whose evidence is shown."""

    DEFAULT_CSS = "Odds { height: auto; }"
    BINDINGS = [Binding("up", "move(-1)", "Path", show=False), Binding("down", "move(1)", "Path", show=False)]

    chances: reactive[tuple[Chance, ...]] = reactive[tuple[Chance, ...]]((), layout=True)
    chosen: reactive[str] = reactive("")

    @dataclass
    class Chosen(Message):
        path: str

    def get_content_height(self, container: object, viewport: object, width: int) -> int:
        return max(len(self.chances), 1)

    def draw_line(self, y: int, width: int) -> Cells:
        line = Cells(width, "plain")
        if y >= len(self.chances):
            return line
        chance, name = self.chances[y], max(len(c.words) for c in self.chances) + 3
        here = chance.path == self.chosen
        line.put(0, "▶" if here else " ", "warn")
        line.put(2, plain(chance.words), "strong" if chance.named or here else "plain")
        columns = max(width - name - READING, 4)
        scale = Scale(0.0, 1.0, columns + 1)
        line.fill(name, name + columns, "·", "rule")
        if chance.least is not None and chance.most is not None:
            line.fill(name + round(scale.column(chance.least)), name + round(scale.column(chance.most)), "▒", "dim")
        line.bar(name, name + scale.column(min(chance.probability, chance.least or 1.0)), pen(chance))
        line.put_right(width - 15, figures.sure(chance.probability), "strong" if chance.named else "plain")
        if chance.least is not None and chance.most is not None:
            line.put_right(width - 2, sure_range(chance.least, chance.most), "dim")
        line.put(width - 1, glyph(kind(chance)) if chance.named else " ", pen(chance))
        return line

    def action_move(self, by: int) -> None:
        paths = [c.path for c in self.chances]
        if paths:
            at = paths.index(self.chosen) + by if self.chosen in paths else 0
            self._choose(paths[min(max(at, 0), len(paths) - 1)])

    def on_click(self, event: events.Click) -> None:
        if 0 <= event.y < len(self.chances):
            self._choose(self.chances[event.y].path)

    def _choose(self, path: str) -> None:
        self.chosen = path
        self.post_message(self.Chosen(path))
