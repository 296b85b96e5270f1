"""The odds of every escape path as labelled bars, the named ones marked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from textual import events
from textual.binding import Binding, BindingType
from textual.message import Message
from textual.reactive import reactive

from tui.widgets.cells import Cells
from tui.widgets.drawn import Drawn
from tui.widgets.scale import Scale
from tui.words import percent, plain

READING = 19
"""Columns of the figures at the right."""


@dataclass(frozen=True, slots=True)
class Chance:
    """One path and how likely it is."""

    path: str
    words: str
    probability: float
    named: bool = False
    at_work: float | None = None
    """How likely it is at work at all, alone or with another."""


class Odds(Drawn, can_focus=True):
    """One bar a path; up and down choose the path whose evidence is shown."""

    DEFAULT_CSS = "Odds { height: auto; }"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "move(-1)", "Path", show=False),
        Binding("down", "move(1)", "Path", show=False),
    ]

    chances: reactive[tuple[Chance, ...]] = reactive[tuple[Chance, ...]]((), layout=True)
    chosen: reactive[str] = reactive("")

    class Chosen(Message):
        """A path was chosen."""

        def __init__(self, path: str) -> None:
            self.path = path
            super().__init__()

    def get_content_height(self, container: object, viewport: object, width: int) -> int:
        """A line a path."""
        return max(len(self.chances), 1)

    def draw_line(self, y: int, width: int) -> Cells:
        """One path."""
        line = Cells(width, "plain")
        if y >= len(self.chances):
            return line
        chance, name = self.chances[y], max(len(c.words) for c in self.chances) + 3
        here = chance.path == self.chosen
        line.put(0, "▶" if here else " ", "warn")
        line.put(2, plain(chance.words), "strong" if chance.named or here else "plain")
        columns = max(width - name - READING, 4)
        line.fill(name, name + columns, "·", "rule")
        end = name + Scale(0.0, 1.0, columns + 1).column(chance.probability)
        line.bar(name, end, "sure" if chance.named else "air")
        line.put_right(width - 12, percent(chance.probability), "strong" if chance.named else "plain")
        if chance.at_work is not None:
            line.put_right(width - 2, f"({percent(chance.at_work)})", "dim")
        line.put(width - 1, "★" if chance.named else " ", "sure")
        return line

    def action_move(self, by: int) -> None:
        """Choose the path above or below."""
        paths = [c.path for c in self.chances]
        if paths:
            at = paths.index(self.chosen) + by if self.chosen in paths else 0
            self._choose(paths[min(max(at, 0), len(paths) - 1)])

    def on_click(self, event: events.Click) -> None:
        """A click chooses a path."""
        if 0 <= event.y < len(self.chances):
            self._choose(self.chances[event.y].path)

    def _choose(self, path: str) -> None:
        self.chosen = path
        self.post_message(self.Chosen(path))
