"""Pictures in half blocks, two rows of dots a line: a time-frequency picture in steps of loudness, and a photo."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import TYPE_CHECKING

from rich.color import Color
from rich.segment import Segment, Segments
from rich.style import Style
from textual.color import Gradient
from textual.reactive import reactive
from textual.widget import Widget

if TYPE_CHECKING:
    from PIL.Image import Image

STEPS = 32
"""Steps of loudness drawn."""
AXIS = 7
"""Columns for frequency labels."""


def half_blocks(rows: Sequence[Sequence[Color]]) -> list[list[Segment]]:
    """Lines of cells, each of two rows of colours, the top row first."""
    pairs = zip_longest(rows[::2], rows[1::2], fillvalue=())
    return [[Segment("▀", Style(color=a, bgcolor=b)) for a, b in zip_longest(*pair)] for pair in pairs]


@dataclass(frozen=True, slots=True)
class Picture:
    """Loudness steps 0..31 by row (low frequency first) and column (time), with labels of the rows."""

    steps: tuple[tuple[int, ...], ...]
    labels: tuple[str, ...] = ()
    """One a row, empty where none is wanted."""
    caption: str = ""

    @property
    def lines(self) -> int:
        """Lines it takes, two rows each, with the caption's."""
        return (len(self.steps) + 1) // 2 + 1


class Heat(Widget):
    """Draws a picture as wide as there is room, and says below it whether lighter or darker is louder."""

    DEFAULT_CSS = "Heat { height: 1fr; }"

    picture: reactive[Picture | None] = reactive[Picture | None](None)
    empty: reactive[str] = reactive("no picture yet")

    def _colours(self) -> list[Color]:
        theme = self.app.theme_variables
        stops = [theme["background"], theme["primary"], theme["foreground"]]
        gradient = Gradient(*((i / 2, stop) for i, stop in enumerate(stops)))
        return [gradient.get_color(i / (STEPS - 1)).rich_color for i in range(STEPS)]

    def render(self) -> Segments:
        if (picture := self.picture) is None:
            return Segments([Segment(self.empty)])
        colours, room = self._colours(), max(self.size.width - AXIS, 1)
        # From the top down, and low frequencies stand first in a picture.
        rows = [[colours[row[x * len(row) // room]] for x in range(room)] for row in reversed(picture.steps)]
        names = picture.labels[::-1]
        labels = (a or b for a, b in zip_longest(names[::2], names[1::2], fillvalue=""))
        cells: list[Segment] = []
        for line, label in zip_longest(half_blocks(rows), labels, fillvalue=""):
            cells += [Segment(f"{label:>{AXIS - 1}} "), *line, Segment.line()]
        louder = "lighter" if self.app.current_theme.dark else "darker"
        return Segments([*cells, Segment(f"{'':{AXIS}}{picture.caption}; {louder} is louder")])


class Halftone(Widget):
    """Draws a photo; a cell is about twice as high as wide, so a half block is about square."""

    picture: reactive[Image | None] = reactive["Image | None"](None)

    def render(self) -> Segments:
        if self.picture is None:
            return Segments([])
        scaled = self.picture.copy()
        scaled.thumbnail((max(self.size.width, 1), max(2 * self.size.height, 1)))
        # Three bytes a dot, red, green and blue, row after row.
        data, row = scaled.tobytes(), 3 * scaled.width
        rows = [[Color.from_rgb(*data[x : x + 3]) for x in range(y, y + row, 3)] for y in range(0, len(data), row)]
        return Segments([part for line in half_blocks(rows) for part in (*line, Segment.line())])
