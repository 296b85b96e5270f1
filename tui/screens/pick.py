"""A small dialog: choose one of several, by arrow keys, mouse or the first letter."""

from typing import ClassVar

from textual import events, on
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widgets import OptionList
from textual.widgets.option_list import Option

from listen.voice.text import plain
from tui.screens.dialog import ListDialog

ALIGNED = 28
"""Columns up to which what the lines mean begins at one column."""
HOW = "↑ ↓ or a first letter, Enter chooses, Esc goes back"


class PickScreen(ListDialog[str]):
    """Dismisses with the identifier chosen, or None."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "dismiss(None)", "Back")]

    def __init__(self, title: str, options: list[tuple[str, str, str]], chosen: str = "") -> None:
        super().__init__(title, HOW)
        self._options, self._chosen = [(id, plain(words), more) for id, words, more in options], chosen

    def options(self) -> list[Option]:
        """Words, and what they mean."""
        width = max((len(words) for _, words, more in self._options if more and len(words) <= ALIGNED), default=0)
        return [_option(id, f"{words:<{width}}" if more else words, more) for id, words, more in self._options]

    def on_mount(self) -> None:
        ids = [o[0] for o in self._options]
        self.begin_at(ids.index(self._chosen) if self._chosen in ids else 0)

    def on_key(self, event: events.Key) -> None:
        """A letter goes to the next line that begins with it."""
        if self.to_letter((event.character or "").casefold(), [o[1] for o in self._options]):
            event.stop()

    @on(OptionList.OptionSelected)
    def _selected(self, event: OptionList.OptionSelected) -> None:
        self.dismiss(event.option.id)


def _option(id: str, words: str, more: str) -> Option:
    text = Content.assemble((words, "bold"), f"  {plain(more)}" if more else "")
    return Option(text, id=id)
