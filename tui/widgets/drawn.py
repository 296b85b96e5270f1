"""Base of the widgets that draw their own lines: pens by short name, from the style sheet's component classes."""

from typing import ClassVar

from rich.style import Style
from textual.strip import Strip
from textual.widget import Widget

from tui.widgets.cells import Cells

PENS = tuple(f"pen--{pen}" for pen in ("plain", "dim", "strong", "quiet", "air", "sure", "warn", "bad", "rule"))


class Drawn(Widget):
    """A widget whose lines are made of :class:`Cells`; subclasses give :meth:`draw_line`."""

    COMPONENT_CLASSES: ClassVar[set[str]] = set(PENS)

    DEFAULT_CSS = """
    Drawn {
        .pen--plain { color: $foreground; }
        .pen--dim { color: $secondary; }
        .pen--strong { color: $foreground; text-style: bold; }
        .pen--quiet { color: $secondary; }
        .pen--air { color: $primary; }
        .pen--sure { color: $success; }
        .pen--warn { color: $warning; }
        .pen--bad { color: $error; text-style: bold; }
        .pen--rule { color: $secondary 50%; }
    }
    """

    def pen(self, name: str) -> Style:
        """Rich style by its short name (``dim``, ``air``, ...); asked for as a line needs it: Textual forgets them all
        with every refresh, and most lines use two of the nine."""
        pen = f"pen--{name}"
        return self.get_component_rich_style(pen, partial=True) if pen in PENS else Style()

    def draw_line(self, y: int, width: int) -> Cells:
        """Line ``y`` of the drawing."""
        raise NotImplementedError

    def render_line(self, y: int) -> Strip:
        width = self.size.width
        base = self.rich_style
        if not 0 <= y < self.size.height or width < 1:
            return Strip.blank(width, base)
        return self.draw_line(y, width).strip(self.pen, base)
