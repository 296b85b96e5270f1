"""What is read across the bay: words in letters five lines high, figures three lines high, and the countdown."""

from dataclasses import dataclass

from textual.reactive import reactive

from listen.voice.figures import MINUS
from tui.widgets.drawn import Cells, Drawn, Scale

HEIGHT = 5
PIXEL = 2
"""Columns of one dot of a letter: about as wide as a line is high."""
DRAWN = {
    "ABCDEFGHIJKLM": (
        " █  ██   ██ ██  ███ ███  ██ █ █ ███   █ █ █ █   █ █",
        "█ █ █ █ █   █ █ █   █   █   █ █  █    █ █ █ █   ███",
        "███ ██  █   █ █ ██  ██  █ █ ███  █    █ ██  █   ███",
        "█ █ █ █ █   █ █ █   █   █ █ █ █  █  █ █ █ █ █   █ █",
        "█ █ ██   ██ ██  ███ █    ██ █ █ ███  █  █ █ ███ █ █",
    ),
    "NOPQRSTUVWXYZ": (
        "██   █  ██   █  ██   ██ ███ █ █ █ █ █ █ █ █ █ █ ███",
        "█ █ █ █ █ █ █ █ █ █ █    █  █ █ █ █ █ █ █ █ █ █   █",
        "█ █ █ █ ██  █ █ ██   █   █  █ █ █ █ ███  █   █   █ ",
        "█ █ █ █ █   ███ █ █   █  █  █ █ █ █ ███ █ █  █  █  ",
        "█ █  █  █    ██ █ █ ██   █  ███  █  █ █ █ █  █  ███",
    ),
    "0123456789-.?": (
        "███  █  ██  ██  █ █ ███  ██ ███ ███ ███         ██ ",
        "█ █ ██    █   █ █ █ █   █     █ █ █ █ █           █",
        "█ █  █   █   █  ███ ██  ███  █  ███ ███ ███      █ ",
        "█ █  █  █     █   █   █ █ █  █  █ █   █            ",
        "███ ███ ███ ██    █ ██  ███  █  ███ ██       █   █ ",
    ),
}
"""Letters of five lines, three dots wide; our own."""
WIDTH = 4 * PIXEL
"""Columns of a letter and the gap behind it."""


def put_large(line: Cells, y: int, at: int, text: str, pen: str) -> int:
    """Draw line ``y`` of a text; returns the column after it. Letters there are none of leave a gap."""
    for letter in text.upper():
        for letters, rows in DRAWN.items():
            # Below nought where this row of letters has no such one.
            place = 4 * letters.find(letter)
            for i, dot in enumerate(rows[y][place : place + 3] if place >= 0 else ""):
                if dot == "█":
                    line.fill(at + PIXEL * i, at + PIXEL * (i + 1), dot, pen)
        at += WIDTH
    return at


FIGURES = {
    "0": "█▀█/█ █/▀▀▀",
    "1": "▄█ / █ /▀▀▀",
    "2": "▀▀█/█▀▀/▀▀▀",
    "3": "▀▀█/ ▀█/▀▀▀",
    "4": "█ █/▀▀█/  ▀",
    "5": "█▀▀/▀▀█/▀▀▀",
    "6": "█▀▀/█▀█/▀▀▀",
    "7": "▀▀█/ ▐▌/ ▀ ",
    "8": "█▀█/█▀█/▀▀▀",
    "9": "█▀█/▀▀█/▀▀▀",
    ".": " / /▄",
    "+": "   /▀█▀/ ▀ ",
    MINUS: "   /▀▀▀/   ",
}
"""Three-line figures of half blocks, our own."""
FIGURE_HEIGHT = 3


def put_figure(line: Cells, y: int, at: int, text: str, pen: str) -> int:
    """Draw line ``y`` of a figure three lines high; returns the column after it."""
    for char in text:
        at = line.put(at, FIGURES[char].split("/")[y] if char in FIGURES else "   ", pen) + 1
    return at


class Large(Drawn):
    """Two words at most: what is next at the left, what became of the last clip at the right."""

    DEFAULT_CSS = f"Large {{ height: {HEIGHT}; margin: 1 1 0 1; display: none; }}"

    left: reactive[str] = reactive("")
    right: reactive[tuple[str, str]] = reactive(("", ""))
    """Word and pen."""

    def draw_line(self, y: int, width: int) -> Cells:
        """One line of the letters; a word that has no room whole is left out."""
        line = Cells(width)
        if y >= HEIGHT:
            return line
        word, pen = self.right
        end = put_large(line, y, 0, self.left, "strong") if len(self.left) * WIDTH <= width else 0
        start = width - len(word) * WIDTH
        if start >= end:
            put_large(line, y, start, word, pen)
        return line


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
        line = Cells(width)
        if self.count is None:
            if y < len(self.idle):
                line.put(0, self.idle[y], "dim")
            return line
        count = self.count
        pen = "bad" if count.live else "warn"
        put = put_large if self.size.height >= HEIGHT else put_figure
        at = put(line, y, 0, f"{max(count.left_s, 0):.0f}".rjust(2), pen)
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
