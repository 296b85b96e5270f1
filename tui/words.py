"""Values and other people's text as content for a widget; the words themselves are those of ``listen.voice``."""

from __future__ import annotations

from collections.abc import Iterable

from rich.cells import cell_len
from textual.content import Content

from listen.voice.figures import UNKNOWN, decibels, number
from listen.voice.figures import share as percent_plain
from listen.voice.figures import sure as percent
from listen.voice.names import by_ear as called
from listen.voice.names import path as path_words
from listen.voice.names import short_path
from listen.voice.text import plain

__all__ = [
    "UNKNOWN",
    "called",
    "decibels",
    "fitting",
    "number",
    "path_words",
    "percent",
    "percent_plain",
    "plain",
    "short_path",
    "shown",
]


def shown(text: object, style: str = "") -> Content:
    """The same as content for a widget, in one style."""
    return Content.styled(plain(text), style) if style else Content(plain(text))


def fitting(forms: Iterable[str], columns: int) -> str:
    """The first form that has room, longest first; the last where none has."""
    text = ""
    for text in forms:
        if cell_len(text) <= columns:
            break
    return text
