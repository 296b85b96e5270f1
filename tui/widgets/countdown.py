"""The countdown before and during a clip: readable from two metres, the state in a word and a shape."""

from dataclasses import dataclass

from textual.reactive import reactive

from tui.widgets.drawn import Cells, Drawn, Scale
from tui.widgets.large import HEIGHT, put_figure, put_large


@dataclass(frozen=True, slots=True)
class Count:
    """What is being counted: a word, seconds left and in all."""

    word: str
    left_s: float
    total_s: float
    live: bool = False
    """True while sound is being kept."""
    more: str = ""
    """The line below the bar."""


class Countdown(Drawn):
    """Three lines: large seconds at the left, the word and a bar at the right."""

    DEFAULT_CSS = "Countdown { height: 3; padding: 0 1; background: $surface; }"

    count: reactive[Count | None] = reactive[Count | None](None)
    idle: reactive[tuple[str, ...]] = reactive[tuple[str, ...]](())
    """Lines shown while nothing is counted."""

    def draw_line(self, y: int, width: int) -> Cells:
        line = Cells(width, "plain")
        if self.count is None:
            if y < len(self.idle):
                line.put(0, self.idle[y], "dim")
            return line
        count = self.count
        pen = "bad" if count.live else "warn"
        at = 0
        seconds = f"{max(count.left_s, 0):.0f}".rjust(2)
        if self.size.height >= HEIGHT:
            at = put_large(line, y, at, seconds, pen)
        else:
            at = put_figure(line, y, at, seconds, pen)
        room = width - at - 2
        if y == 0:
            line.put(at + 1, f"{'◉' if count.live else '○'} {count.word}", pen, room)
        elif y == 1:
            done = Scale(0.0, max(count.total_s, 0.01), room).column(count.total_s - count.left_s)
            line.fill(at + 1, at + 1 + room, "─", "rule")
            line.bar(at + 1, at + 1 + done, pen)
        elif y == 2:
            line.put(at + 1, count.more, "dim", room)
        return line
