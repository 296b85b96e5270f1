"""Words in letters five lines high and figures three lines high: what is read across the bay."""

from textual.reactive import reactive

from listen.voice.figures import MINUS
from tui.widgets.drawn import Cells, Drawn

HEIGHT = 5
PIXEL = 2
"""Columns of one dot of a letter: about as wide as a line is high."""
LETTERS = {
    "A": "010 101 111 101 101",
    "B": "110 101 110 101 110",
    "C": "011 100 100 100 011",
    "D": "110 101 101 101 110",
    "E": "111 100 110 100 111",
    "F": "111 100 110 100 100",
    "G": "011 100 101 101 011",
    "H": "101 101 111 101 101",
    "I": "111 010 010 010 111",
    "J": "001 001 001 101 010",
    "K": "101 101 110 101 101",
    "L": "100 100 100 100 111",
    "M": "101 111 111 101 101",
    "N": "110 101 101 101 101",
    "O": "010 101 101 101 010",
    "P": "110 101 110 100 100",
    "Q": "010 101 101 111 011",
    "R": "110 101 110 101 101",
    "S": "011 100 010 001 110",
    "T": "111 010 010 010 010",
    "U": "101 101 101 101 111",
    "V": "101 101 101 101 010",
    "W": "101 101 111 111 101",
    "X": "101 101 010 101 101",
    "Y": "101 101 010 010 010",
    "Z": "111 001 010 100 111",
    "0": "111 101 101 101 111",
    "1": "010 110 010 010 111",
    "2": "110 001 010 100 111",
    "3": "110 001 010 001 110",
    "4": "101 101 111 001 001",
    "5": "111 100 110 001 110",
    "6": "011 100 111 101 111",
    "7": "111 001 010 010 010",
    "8": "111 101 111 101 111",
    "9": "111 101 111 001 110",
    "-": "000 000 111 000 000",
    ".": "000 000 000 000 010",
    "?": "110 001 010 000 010",
}
"""Dots of each letter, line by line; our own."""
WIDTH = 4 * PIXEL
"""Columns of a letter and the gap behind it."""


def put_large(line: Cells, y: int, at: int, text: str, pen: str) -> int:
    """Draw line ``y`` of a text; returns the column after it. Letters there are none of leave a gap."""
    for letter in text.upper():
        dots = LETTERS.get(letter, "000 000 000 000 000").split()[y]
        for i, dot in enumerate(dots):
            if dot == "1":
                line.fill(at + PIXEL * i, at + PIXEL * (i + 1), "█", pen)
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
