"""Our two themes, for a dim bay and for daylight; blue against amber: no pair rests on red and green."""

from rich.segment import Segment
from rich.style import Style
from textual.color import Color
from textual.filter import Monochrome
from textual.theme import Theme

DIM_BAY = Theme(
    name="dim-bay",
    dark=True,
    background="#0d1317",
    surface="#141c21",
    panel="#1d272e",
    foreground="#eef2f3",
    primary="#74bfe8",
    secondary="#9fb1bb",
    accent="#f4bd55",
    success="#7fd4c1",
    warning="#f4bd55",
    error="#ff9a80",
    variables={"footer-key-foreground": "#f4bd55", "block-cursor-text-style": "bold"},
)
DAYLIGHT = Theme(
    name="daylight",
    dark=False,
    background="#faf8f3",
    surface="#f1eee6",
    panel="#e5e0d4",
    foreground="#131b21",
    primary="#0a4f78",
    secondary="#42525d",
    accent="#7a4300",
    success="#00543f",
    warning="#7a4300",
    error="#8f2410",
    variables={"footer-key-foreground": "#7a4300", "block-cursor-text-style": "bold"},
)


class AnySegment(Monochrome):
    """NO_COLOR also over plots, whose segments may come without a style."""

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        return super().apply([Segment(s.text, s.style or Style.null(), s.control) for s in segments], background)


THEMES = (DIM_BAY, DAYLIGHT)
