"""A photo in half blocks: two rows of pixels a line, as large as the room lets it be."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.color import Color
from rich.segment import Segment
from rich.style import Style
from textual.reactive import reactive
from textual.strip import Strip
from textual.widget import Widget

if TYPE_CHECKING:
    from PIL.Image import Image


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
