"""Other people's text as content for a widget: nothing in it steers the terminal, and it fits its columns."""

from collections.abc import Iterable

from rich.cells import cell_len
from rich.segment import Segment
from textual.color import Color
from textual.content import Content
from textual.filter import LineFilter

from listen.voice.text import MOST_CHARACTERS, STANDS_FOR, commands_a_terminal, plain


class DrawnOnly(LineFilter):
    """The last door before the terminal: whatever a widget was given, nothing that would steer it goes through."""

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        """The same segments; characters that are not drawn are replaced where they took a column, else dropped."""
        if all(text.isprintable() for text, _, _ in segments):
            return segments
        return [s if s.control or s.text.isprintable() else Segment(_drawn(s.text), s.style) for s in segments]


def _drawn(text: str) -> str:
    return "".join((STANDS_FOR if cell_len(c) else "") if commands_a_terminal(c) else c for c in text)


def shown(text: object, style: str = "", most: int = MOST_CHARACTERS) -> Content:
    """The text as content in one style; its square brackets are no markup."""
    return Content.styled(plain(text, most), style) if style else Content(plain(text, most))


HANGING, LEAST_BESIDE = 2, 30
"""Columns of what stands before a line's words, the sign of a list; and of words beside others at least."""


def hung(text: Content, columns: int) -> Content:
    """Lines of at most so many columns; where one begins further in, what it is broken into begins below its words."""
    lines: list[Content] = []
    for line in text.split(allow_blank=True):
        lead = len(line.plain) - len(line.plain.lstrip(" "))
        first, *rest = (line[lead:].wrap(columns - lead - HANGING) if lead else []) or [line]
        lines += [first.pad_left(lead), *(part.pad_left(lead + HANGING) for part in rest)]
    return Content("\n").join(lines)


def beside(words: Content, more: str, at: int, columns: int) -> Content:
    """What a line's words mean, beside them from a column on, or below them where that leaves too little room."""
    if not more:
        return words
    low = columns - at < LEAST_BESIDE
    at = 2 * HANGING if low else max(at, words.cell_length + HANGING)
    first, *rest = (part.pad_left(at) for part in shown(more).wrap(max(columns - at, 1)))
    first = first if low else words + first[words.cell_length :]
    return Content("\n").join([words, first, *rest] if low else [first, *rest])


def fitting(forms: Iterable[str], columns: int) -> str:
    """The first form that has room, longest first; the last where none has."""
    text = ""
    for text in forms:
        if cell_len(text) <= columns:
            break
    return text
