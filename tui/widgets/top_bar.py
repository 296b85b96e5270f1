"""The top line: where one is, and whether what one sees is simulated."""

from rich.cells import cell_len
from textual.reactive import reactive

from listen.voice.text import plain
from tui.widgets.drawn import Cells, Drawn

MIN_STEP = 8
"""Columns a step keeps at least."""


class TopBar(Drawn):
    """One line: the way here at the left, a remark at the right."""

    DEFAULT_CSS = "TopBar { dock: top; height: 1; background: $panel; }"

    way: reactive[tuple[str, ...]] = reactive[tuple[str, ...]](())
    remark: reactive[str] = reactive("")

    def draw_line(self, y: int, width: int) -> Cells:
        """Program, then the way; the remark and the last step keep their room, the title gives way."""
        line = Cells(width, "plain")
        at = line.put(1, "Hissway", "strong")
        end = width - len(self.remark) - 2
        steps = [plain(step) for step in self.way]
        for i, step in enumerate(steps):
            after = sum(cell_len(later) + 3 for later in steps[i + 1 :])
            at = line.put(at, " › ", "dim")
            at = line.put(at, step, "plain", max(end - after - at, MIN_STEP))
        line.put_right(width - 1, plain(self.remark), "warn")
        return line
