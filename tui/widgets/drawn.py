"""Widgets that draw their own lines: a line of cells, each with the name of its pen, and values placed on a scale."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from itertools import groupby

from rich.cells import cell_len, set_cell_size
from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.binding import Binding
from textual.color import Color
from textual.geometry import Size
from textual.reactive import reactive
from textual.strip import Strip
from textual.widget import Widget

EIGHTHS = " ▏▎▍▌▋▊▉█"


class Cells:
    """One line, cell by cell. Wide characters keep the cell after them empty."""

    def __init__(self, width: int, style: str = "plain") -> None:
        self._chars = [" "] * max(0, width)
        self._styles = [style] * max(0, width)

    def __len__(self) -> int:
        return len(self._chars)

    def put(self, at: int, text: str, style: str, room: int | None = None) -> int:
        """Write text from a column on, cut to ``room`` with an ellipsis; returns the column after it."""
        room = len(self) - at if room is None else min(room, len(self) - at)
        if room <= 0:
            return at
        if cell_len(text) > room:
            text = set_cell_size(text, room - 1).rstrip() + "…"
        cells = _cells(text)[:room]
        # First: a wide character at either end that loses its half is blanked.
        self.fill(at, at + len(cells), "", style)
        self._chars[at : at + len(cells)] = cells
        return at + len(cells)

    def put_right(self, end: int, text: str, style: str) -> None:
        self.put(max(0, end - cell_len(text)), text, style)

    def dot(self, at: int, char: str, style: str) -> None:
        """Set one cell, if it is on the line."""
        self.fill(at, at + 1, char, style)

    def fill(self, start: int, stop: int, char: str, style: str) -> None:
        """Set every cell from start up to, not including, stop."""
        start, stop = max(0, start), min(stop, len(self))
        if start < stop:
            self._make_way(start, stop)
            self._chars[start:stop] = [char] * (stop - start)
            self._styles[start:stop] = [style] * (stop - start)

    def bar(self, start: float, stop: float, style: str) -> None:
        """A solid bar between two columns with its right end in eighths of a cell."""
        if stop <= start:
            return
        # Only the right end in eighths: block characters grow from the left.
        whole = int(stop)
        self.fill(round(start), whole, "█", style)
        part = round((stop - whole) * 8)
        if part and whole >= round(start):
            self.dot(whole, EIGHTHS[part], style)

    def _make_way(self, start: int, stop: int) -> None:
        """Blank the half that stays of a wide character about to lose the other."""
        if not self._chars[start]:
            self._chars[max(i for i in range(start) if self._chars[i])] = " "
        if stop < len(self) and not self._chars[stop]:
            self._chars[stop] = " "

    def strip(self, pen: Callable[[str], Style], base: Style) -> Strip:
        runs = groupby(zip(self._styles, self._chars, strict=True), key=lambda cell: cell[0])
        return Strip([Segment("".join(char for _, char in run), base + pen(name)) for name, run in runs], len(self))


def _cells(text: str) -> list[str]:
    """What stands in each cell of a text: a wide character and nothing behind it, a mark with the letter it is on."""
    if text.isascii():  # nearly every text; character by character this was most of what a key costs
        return list(text)
    cells: list[str] = []
    for char in text:
        if width := cell_len(char):
            cells += [char, *[""] * (width - 1)]
        elif cells:
            cells[max(i for i, c in enumerate(cells) if c)] += char
    return cells


PENS = {
    "plain": ("foreground", False),
    "dim": ("secondary", False),
    "strong": ("foreground", True),
    "quiet": ("secondary", False),
    "air": ("primary", False),
    "sure": ("success", False),
    "warn": ("warning", False),
    "bad": ("error", True),
    "rule": ("secondary", False),
}
"""The theme's colour that each writes in, and whether it writes bold."""


@cache
def _style(colour: str, bold: bool) -> Style:
    # None, not false: a base that is bold stays so.
    return Style(color=Color.parse(colour).rich_color, bold=bold or None)


class Drawn(Widget):
    """A widget whose lines are made of :class:`Cells`; subclasses give :meth:`draw_line`."""

    def pen(self, name: str) -> Style:
        """Style by its short name (``dim``, ``air``, ...)."""
        # Straight from the theme: as component classes nine styles were worked out anew with every widget restyled.
        colour, bold = PENS.get(name, ("", False))
        return _style(self.app.theme_variables[colour], bold) if colour else Style.null()

    def draw_line(self, y: int, width: int) -> Cells:
        """Line ``y`` of the drawing."""
        raise NotImplementedError

    def render_line(self, y: int) -> Strip:
        width = self.size.width
        base = self.rich_style
        if not 0 <= y < self.size.height or width < 1:
            return Strip.blank(width, base)
        return self.draw_line(y, width).strip(self.pen, base)


class DrawnList(Drawn):
    """A drawing as high as what is in it: subclasses give :meth:`drawing`."""

    DEFAULT_CSS = "DrawnList { height: auto; }"

    def drawing(self, width: int) -> list[Cells]:
        raise NotImplementedError

    def draw_line(self, y: int, width: int) -> Cells:
        lines = self.drawing(width)
        return lines[y] if y < len(lines) else Cells(width)

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:
        return len(self.drawing(width))


class PointedList(DrawnList, can_focus=True):
    """One of its lines has the pointer; up, down and a click move it."""

    BINDINGS = [Binding("up", "move(-1)", "Move", show=False), Binding("down", "move(1)", "Move", show=False)]
    at: reactive[int] = reactive(0)
    """Line that has the pointer."""

    def count(self) -> int:
        """Lines that the pointer may be on."""
        raise NotImplementedError

    def begun(self, at: int, words: str, width: int, *, strong: bool = False, room: int | None = None) -> Cells:
        """A line with its pointer and words."""
        line, here = Cells(width), at == self.at
        line.put(0, "▶" if here else " ", "warn")
        line.put(2, words, "strong" if strong or here else "plain", room)
        return line

    def action_move(self, by: int) -> None:
        if self.count():
            self.choose(min(max(self.at + by, 0), self.count() - 1))

    def on_click(self, event: events.Click) -> None:
        if 0 <= event.y < self.count():
            self.choose(event.y, clicked=True)

    def choose(self, at: int, *, clicked: bool = False) -> None:
        """Put the pointer on a line."""
        self.at = at


TOPS_DB = (6.0, 12.0, 20.0, 30.0, 40.0, 60.0)
"""Upper ends the excess scale may take; the smallest that holds everything is used."""
STEPS_DB = (1.0, 2.0, 5.0, 10.0, 20.0)
MIN_TICK_COLUMNS = 6
"""Room a tick label needs."""


@dataclass(frozen=True, slots=True)
class Scale:
    """A linear scale from ``low`` to ``high`` over a number of columns."""

    low: float
    high: float
    columns: int

    def column(self, value: float) -> float:
        """Column of a value, clamped to the drawing."""
        share = (value - self.low) / (self.high - self.low)
        return min(max(share, 0.0), 1.0) * max(self.columns - 1, 1)

    def ticks(self) -> list[float]:
        """Round values to label, no denser than they can be read."""
        per_column = (self.high - self.low) / max(self.columns, 1)
        step = next((s for s in STEPS_DB if s >= per_column * MIN_TICK_COLUMNS), STEPS_DB[-1])
        first = -(-self.low // step) * step
        count = int((self.high - first) // step) + 1
        return [first + i * step for i in range(count)]


def excess_scale(values: list[float], columns: int) -> Scale:
    """Scale of a ladder: a little below zero, and as far up as its values need."""
    top = max(values, default=0.0)
    high = next((t for t in TOPS_DB if t >= top), TOPS_DB[-1])
    return Scale(-high / 6, high, columns)
