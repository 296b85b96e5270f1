"""A long recording from end to end: how loud it is, the marks set in it, and where one is."""

from textual.reactive import reactive

from tui.widgets.drawn import Cells, Drawn, Scale

EIGHTHS_UP = " ▁▂▃▄▅▆▇█"
HEIGHT = 4
"""Lines of bars; one more below for marks, one for the cursor's time."""


class LevelStrip(Drawn):
    """Bars over time; a line with the marks and the cursor below them."""

    DEFAULT_CSS = "LevelStrip { height: 6; margin: 1 1 0 1; }"

    levels: reactive[tuple[float, ...]] = reactive(())
    """Loudness of each step, 0 to 1."""
    seconds: reactive[float] = reactive(0.0)
    marks: reactive[tuple[float, ...]] = reactive(())
    cursor: reactive[float] = reactive(0.0)

    def draw_line(self, y: int, width: int) -> Cells:
        line = Cells(width)
        time = Scale(0.0, max(self.seconds, 1e-9), width)
        if y < HEIGHT:
            for x in range(width):
                share = self.levels[x * len(self.levels) // width] if self.levels else 0.0
                eighths = round(share * 8 * HEIGHT) - 8 * (HEIGHT - 1 - y)
                line.dot(x, EIGHTHS_UP[min(max(eighths, 0), 8)], "air")
            for mark in self.marks:
                line.dot(round(time.column(mark)), "│", "warn")
        elif y == HEIGHT:
            line.fill(0, width, "─", "rule")
            for mark in self.marks:
                line.dot(round(time.column(mark)), "┴", "warn")
            line.dot(round(time.column(self.cursor)), "▲", "strong")
        else:
            at = round(time.column(self.cursor))
            words = f"{self.cursor:.1f} s"
            line.put(min(max(at - len(words) // 2, 0), max(width - len(words), 0)), words, "strong")
        return line
