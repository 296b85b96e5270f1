"""A small dialog: choose one of several, by arrow keys, mouse or the first letter."""

from __future__ import annotations

from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from tui.words import plain, shown


class PickScreen(ModalScreen["str | None"]):
    """Dismisses with the identifier chosen, or None."""

    CSS_PATH = "pick.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "dismiss(None)", "Back")]

    def __init__(self, title: str, options: list[tuple[str, str, str]], chosen: str = "") -> None:
        super().__init__()
        self._title, self._options, self._chosen = title, options, chosen

    def compose(self) -> ComposeResult:
        """Title and list."""
        with Vertical(id="pick"):
            yield Static(shown(self._title, "bold"), id="pick-title")
            yield OptionList(*(_option(*o) for o in self._options), markup=False, compact=True)

    def on_mount(self) -> None:
        """Begin at what is chosen now."""
        ids = [o[0] for o in self._options]
        options = self.query_one(OptionList)
        options.highlighted = ids.index(self._chosen) if self._chosen in ids else 0
        options.focus()

    @on(OptionList.OptionSelected)
    def _selected(self, event: OptionList.OptionSelected) -> None:
        self.dismiss(event.option.id)


def _option(id: str, words: str, more: str) -> Option:
    text = Content.assemble((plain(words), "bold"), f"  {plain(more)}" if more else "")
    return Option(text, id=id)
