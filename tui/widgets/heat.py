"""Pictures in half blocks, two rows of dots a line: a time-frequency picture in steps of loudness, and a photo."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rich.color import Color
from rich.segment import Segment
from rich.style import Style
from textual.color import Gradient
from textual.reactive import reactive
from textual.strip import Strip
from textual.widget import Widget

if TYPE_CHECKING:
    from PIL.Image import Image

STEPS = 32
"""Steps of loudness drawn."""
AXIS = 7
"""Columns for frequency labels."""


@dataclass(frozen=True, slots=True)
class Picture:
    """Loudness steps 0..31 by row (low frequency first) and column (time), with labels of the rows."""

    steps: tuple[tuple[int, ...], ...]
    labels: tuple[str, ...] = ()
    """One a row, empty where none is wanted."""
    caption: str = ""

    @property
    def lines(self) -> int:
        """Lines it takes, two rows each."""
        return (len(self.steps) + 1) // 2


class Heat(Widget):
    """Draws a picture as wide as its columns; brighter (darker by daylight) is louder, and so says the caption."""

    DEFAULT_CSS = "Heat { height: 1fr; }"

    picture: reactive[Picture | None] = reactive[Picture | None](None)
    empty: reactive[str] = reactive("no picture yet")

    def _colours(self) -> list[Color]:
        theme = self.app.theme_variables
        stops = [theme["background"], theme["primary"], theme["foreground"]]
        gradient = Gradient(*((i / 2, stop) for i, stop in enumerate(stops)))
        return [gradient.get_color(i / (STEPS - 1)).rich_color for i in range(STEPS)]

    def render_line(self, y: int) -> Strip:
        width, base = self.size.width, self.rich_style
        picture = self.picture
        if picture is None or not picture.steps:
            return _words(self.empty if y == 0 else "", width, base)
        if y >= picture.lines:
            return _words(" " * AXIS + picture.caption if y == picture.lines else "", width, base)
        top = len(picture.steps) - 1 - 2 * y
        upper, lower = picture.steps[top], picture.steps[top - 1] if top else None
        near = [picture.labels[r] for r in (top, top - 1) if 0 <= r < len(picture.labels)]
        label = next((text for text in near if text), "")
        colours = self._colours()
        segments = [Segment(f"{label:>{AXIS - 1}} ", base)]
        room = width - AXIS
        for column in range(room):
            i = column * len(upper) // room
            below = colours[lower[i]] if lower else base.bgcolor
            segments.append(Segment("▀", Style(color=colours[upper[i]], bgcolor=below)))
        return Strip(segments).adjust_cell_length(width, base)


def _words(text: str, width: int, style: Style) -> Strip:
    return Strip([Segment(text, style)]).adjust_cell_length(width, style)


class Halftone(Widget):
    """Draws a picture; a cell is about twice as high as wide, so a half block is about square."""

    picture: reactive[Image | None] = reactive["Image | None"](None, init=False)

    def watch_picture(self) -> None:
        """A new picture is scaled when it is drawn."""
        self._scaled: Image | None = None
        self.refresh()

    def on_resize(self) -> None:
        self._scaled = None

    def render_line(self, y: int) -> Strip:
        width, base = self.size.width, self.rich_style
        if self.picture is None or width < 1:
            return Strip.blank(width, base)
        scaled = self._fitted()
        if 2 * y >= scaled.height:
            return Strip.blank(width, base)
        segments = []
        for x in range(scaled.width):
            upper = _colour(scaled, x, 2 * y)
            below = _colour(scaled, x, 2 * y + 1) if 2 * y + 1 < scaled.height else base.bgcolor
            segments.append(Segment("▀", Style(color=upper, bgcolor=below)))
        return Strip(segments).adjust_cell_length(width, base)

    def _fitted(self) -> Image:
        assert self.picture is not None
        if getattr(self, "_scaled", None) is None:
            scaled = self.picture.copy()
            scaled.thumbnail((max(self.size.width, 1), max(2 * self.size.height, 1)))
            self._scaled = scaled
        assert self._scaled is not None
        return self._scaled


def _colour(image: Image, x: int, y: int) -> Color:
    pixel = image.getpixel((x, y))
    assert isinstance(pixel, tuple)  # the picture is RGB
    red, green, blue = pixel[:3]
    return Color.from_rgb(red, green, blue)
