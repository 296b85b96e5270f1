"""The engine from above: one box a cylinder, in its rows, with what is known about it inside."""

from dataclasses import dataclass

from rich.cells import cell_len
from textual import events
from textual.binding import Binding
from textual.geometry import Size
from textual.message import Message
from textual.reactive import reactive

from listen.voice.text import plain
from tui.content import fitting
from tui.widgets.drawn import Cells, Drawn

BOX_HEIGHT, FLAT_HEIGHT = 5, 3
HEAVY = ("┏━┓", "┗━┛", "┃")
LIGHT = ("╭─╮", "╰─╯", "│")
GAP = 1
MARGIN = 7
"""Columns for the word front."""
MIN_BOX = 7
MAX_BOX = 16


@dataclass(frozen=True, slots=True)
class DrawnCylinder:
    """One cylinder: number and up to two short lines, each in forms from long to short, and the pen of its standing."""

    number: int
    reading: tuple[str, ...] = ("",)
    standing: tuple[str, ...] = ("",)
    pen: str = "dim"
    glyph: str = "·"


class EngineView(Drawn, can_focus=True):
    """Boxes in rows; arrow keys move between cylinders, Enter or a click opens one."""

    DEFAULT_CSS = "EngineView { height: auto; width: 1fr; }"
    BINDINGS = [
        Binding("left", "move(-1, 0)", "Cylinder", show=False),
        Binding("right", "move(1, 0)", "Cylinder", show=False),
        Binding("up", "move(0, -1)", "Bank", show=False),
        Binding("down", "move(0, 1)", "Bank", show=False),
        Binding("enter", "open", "Open this cylinder's round", show=False),
    ]

    rows: reactive[tuple[tuple[int, ...], ...]] = reactive[tuple[tuple[int, ...], ...]]((), layout=True)
    """Cylinder numbers, front to back, a tuple a bank, the left one first."""
    cylinders: reactive[dict[int, DrawnCylinder]] = reactive[dict[int, DrawnCylinder]](dict)
    chosen: reactive[int] = reactive(0)
    flat: reactive[bool] = reactive(False, layout=True)
    """One line a box instead of three, where lines are few."""

    @dataclass
    class Chosen(Message):
        """The pointer moved to a cylinder, or it is to be worked on."""

        number: int
        opened: bool = False

    @property
    def drawn(self) -> tuple[tuple[int, ...], ...]:
        """Banks from the top of the drawing down: seen from above with the front at the left, the left bank is last."""
        return self.rows[::-1]

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:
        return len(self.rows) * self._box_height + max(len(self.rows) - 1, 0)

    @property
    def _box_height(self) -> int:
        return FLAT_HEIGHT if self.flat else BOX_HEIGHT

    def _box_width(self, width: int) -> int:
        longest = max((len(row) for row in self.rows), default=1)
        return max(MIN_BOX, min(MAX_BOX, (width - MARGIN) // longest - GAP))

    def draw_line(self, y: int, width: int) -> Cells:
        """One line through all boxes of a bank, or the crank line between banks."""
        line = Cells(width)
        bank, part = divmod(y, self._box_height + 1)
        if bank >= len(self.rows):
            return line
        box, row = self._box_width(width), self.drawn[bank]
        if part == self._box_height:
            line.fill(MARGIN, MARGIN + max(map(len, self.rows)) * (box + GAP) - GAP, "─", "rule")
            line.put(0, "front", "dim")
            return line
        # One bank has no crank line between banks on which the word could stand.
        if len(self.rows) == 1 and part == self._box_height // 2:
            line.put(0, "front", "dim")
        for i, number in enumerate(row):
            self._box(line, MARGIN + i * (box + GAP), box, part, number)
        return line

    def _box(self, line: Cells, at: int, box: int, part: int, number: int) -> None:
        drawn = self.cylinders.get(number, DrawnCylinder(number))
        here = number == self.chosen
        pen = "warn" if here else "rule"
        top, bottom, side = HEAVY if here else LIGHT
        if part in (0, self._box_height - 1):
            edge = top if part == 0 else bottom
            line.put(at, edge[0] + edge[1] * (box - 2) + edge[2], pen)
            return
        line.dot(at, side, pen)
        line.dot(at + box - 1, side, pen)
        room = box - 2
        head = f"{drawn.glyph} {number}"
        # Flat there is one line for both: what stands goes before what was read.
        told, pen = (drawn.standing, drawn.pen) if drawn.standing[0] else (drawn.reading, "strong")
        forms, style = {
            1: ((*(f"{head} {t}".rstrip() for t in told), head), pen) if self.flat else ((head,), "strong"),
            2: (drawn.reading, "plain"),
            3: (drawn.standing, drawn.pen),
        }[part]
        text = fitting(map(plain, forms), room)
        line.put(at + 1 + max(0, (room - cell_len(text)) // 2), text, style, room)

    def _at(self, x: int, y: int) -> int | None:
        bank, part = divmod(y, self._box_height + 1)
        box = self._box_width(self.size.width)
        i, inside = divmod(x - MARGIN, box + GAP)
        if x < MARGIN or bank >= len(self.rows) or part == self._box_height or inside >= box:
            return None
        return self.drawn[bank][i] if i < len(self.drawn[bank]) else None

    def action_move(self, along: int, across: int) -> None:
        for b, row in enumerate(self.drawn):
            if self.chosen in row:
                bank = min(max(b + across, 0), len(self.drawn) - 1)
                i = min(max(row.index(self.chosen) + along, 0), len(self.drawn[bank]) - 1)
                self._choose(self.drawn[bank][i])
                return

    def action_open(self) -> None:
        if self.chosen:
            self.post_message(self.Chosen(self.chosen, opened=True))

    def on_click(self, event: events.Click) -> None:
        """A first click chooses, a second one opens."""
        if (number := self._at(event.x, event.y)) is None:
            return
        if number == self.chosen and event.chain > 1:
            self.post_message(self.Chosen(number, opened=True))
        else:
            self._choose(number)

    def _choose(self, number: int) -> None:
        self.chosen = number
        self.post_message(self.Chosen(number))
