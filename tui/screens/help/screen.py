"""Help: what the screen below is for, in a few lines, and every key that works there."""

from __future__ import annotations

import inspect
from pathlib import Path
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen, Screen
from textual.widgets import Static

from tui.widgets.key_bar import GLYPHS
from tui.words import shown

LEFT_OUT = {"tab", "shift+tab", "ctrl+c", "super+c", "ctrl+i"}
"""Keys every terminal program has."""


class HelpScreen(ModalScreen[None]):
    """Closes with any key that is not for scrolling."""

    CSS_PATH = "help.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        ("escape,question_mark,q,enter,space", "dismiss", "Close"),
        ("down", "scroll(1)", "Down"),
        ("up", "scroll(-1)", "Up"),
    ]

    def __init__(self, title: str, text: str, keys: list[tuple[str, str]]) -> None:
        super().__init__()
        self._title, self._text, self._keys = title, text, keys

    @classmethod
    def of(cls, screen: Screen[object]) -> HelpScreen:
        """Help for a screen: ``help.txt`` beside its module, first line the title, then its keys."""
        path = Path(inspect.getfile(type(screen))).with_name("help.txt")
        title, _, text = (path.read_text("utf-8") if path.exists() else "Hissway").partition("\n")
        keys: dict[str, list[str]] = {}
        for key, active in screen.active_bindings.items():
            if active.binding.description and key not in LEFT_OUT:
                keys.setdefault(active.binding.description, []).append(GLYPHS.get(key, key))
        return cls(title, text.strip(), [(" ".join(k), words) for words, k in keys.items()])

    def compose(self) -> ComposeResult:
        """Title, text, keys."""
        with VerticalScroll(id="page"):
            yield Static(shown(self._title, "bold $accent"), id="title")
            yield Static(shown_lines(self._text), id="text")
            rows = [Content.assemble((f"{keys:>18}  ", "bold $accent"), words) for keys, words in self._keys]
            yield Static(Content("\n").join(rows), id="keys")
            yield Static(shown("Esc closes", "$secondary"), id="close")

    def action_scroll(self, by: int) -> None:
        """Scroll by a line."""
        self.query_one(VerticalScroll).scroll_relative(y=by, animate=False)


def shown_lines(text: str) -> Content:
    """Several safe paragraphs: line ends inside one are the file's, not the screen's."""
    paragraphs = [" ".join(part.split()) for part in text.split("\n\n")]
    return Content("\n\n").join([Content(p) for p in paragraphs])
