"""Cells: a line of characters, each with the name of its style, drawn upon and then turned into a strip."""

from itertools import groupby

from rich.cells import cell_len, set_cell_size
from rich.segment import Segment
from rich.style import Style
from textual.strip import Strip

EIGHTHS = " ▏▎▍▌▋▊▉█"


class Cells:
    """One line, cell by cell. Wide characters keep the cell after them empty."""

    def __init__(self, width: int, style: str = "") -> None:
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
        for char in text:
            width = cell_len(char)
            if width == 0:
                if at:
                    self._chars[self._begin(at - 1)] += char
                continue
            if not 0 <= at <= len(self) - width:
                break
            self._make_way(at, at + width)
            self._chars[at], self._styles[at] = char, style
            for i in range(1, width):
                self._chars[at + i], self._styles[at + i] = "", style
            at += width
        return at

    def put_right(self, end: int, text: str, style: str) -> None:
        """Write text so that it ends before column ``end``."""
        self.put(max(0, end - cell_len(text)), text, style)

    def dot(self, at: int, char: str, style: str) -> None:
        """Set one cell, if it is on the line."""
        self.fill(at, at + 1, char, style)

    def fill(self, start: int, stop: int, char: str, style: str) -> None:
        """Set every cell from start up to, not including, stop."""
        start, stop = max(0, start), min(stop, len(self))
        if start < stop:
            self._make_way(start, stop)
        for at in range(start, stop):
            self._chars[at], self._styles[at] = char, style

    def bar(self, start: float, stop: float, style: str) -> None:
        """A solid bar between two columns with its right end in eighths of a cell."""
        if stop <= start:
            return
        whole = int(stop)
        self.fill(round(start), whole, "█", style)
        part = round((stop - whole) * 8)
        if part and whole >= round(start):
            self.dot(whole, EIGHTHS[part], style)

    def _begin(self, at: int) -> int:
        """Where the character begins that covers a cell."""
        while at > 0 and not self._chars[at]:
            at -= 1
        return at

    def _make_way(self, start: int, stop: int) -> None:
        """Blank the half that stays of a wide character about to lose the other."""
        if not self._chars[start]:
            self._chars[self._begin(start)] = " "
        if stop < len(self) and not self._chars[stop]:
            self._chars[stop] = " "

    def strip(self, styles: dict[str, Style], base: Style) -> Strip:
        """The finished line."""
        runs = groupby(zip(self._chars, self._styles, strict=True), key=lambda cell: cell[1])
        segments = [Segment("".join(c for c, _ in run), base + styles.get(name, Style())) for name, run in runs]
        return Strip(segments, len(self))
