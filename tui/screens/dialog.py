"""A small dialog around a list: title above, what the keys do below; a list too long for the screen scrolls between."""

from collections.abc import Sequence
from typing import TypeVar

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from tui.content import shown

R = TypeVar("R")
AROUND = 6
"""Lines of frame and padding, and one free line above and below the dialog."""
LEAST = 3
"""Lines of the list at least."""


class ListDialog(ModalScreen[R]):
    """Subclasses give title, words on the keys, and options."""

    CSS_PATH = "dialog.tcss"

    def __init__(self, title: str, how: str) -> None:
        super().__init__()
        self._title, self._how = title, how

    def options(self) -> list[Option]:
        """Lines of the list."""
        raise NotImplementedError

    def compose(self) -> ComposeResult:
        with Vertical(id="pick"):
            yield Static(shown(self._title, "bold"), id="pick-title")
            yield OptionList(*self.options(), markup=False, compact=True)
            yield Static(shown(self._how, "$secondary"), id="pick-how")

    def begin_at(self, index: int) -> None:
        """Stand on a line."""
        options = self.query_one(OptionList)
        options.highlighted = index
        options.focus()

    def to_letter(self, letter: str, words: Sequence[str]) -> bool:
        """Go to the next line whose words begin with a letter; False where none does."""
        options = self.query_one(OptionList)
        here = options.highlighted or 0
        if not letter.isalnum():
            return False
        after = [(here + i) % len(words) for i in range(1, len(words) + 1)]
        found = next((i for i in after if words[i].lstrip().casefold().startswith(letter)), None)
        if found is not None:
            options.highlighted = found
        return found is not None

    def on_resize(self) -> None:
        """Title and keys stay on the screen, whatever the list's length."""
        self.call_after_refresh(self._fit)

    def _fit(self) -> None:
        words = sum(w.outer_size.height + w.styles.margin.height for w in self.query(Static))
        options = self.query_one(OptionList)
        options.styles.max_height = max(self.size.height - AROUND - words, LEAST)
        self.call_after_refresh(options.scroll_to_highlight)
