"""Words in letters five lines high and figures three lines high: what is read across the bay."""

from textual.reactive import reactive

from listen.voice.figures import MINUS
from tui.widgets.drawn import Cells, Drawn

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
        line = Cells(width, "plain")
        if y >= HEIGHT:
            return line
        word, pen = self.right
        end = put_large(line, y, 0, self.left, "strong") if len(self.left) * WIDTH <= width else 0
        start = width - len(word) * WIDTH
        if start >= end:
            put_large(line, y, start, word, pen)
        return line
