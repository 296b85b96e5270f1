"""A small dialog: one line of text."""

from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, Static

from tui.content import shown
from tui.widgets.field import Field


class NameScreen(ModalScreen["str | None"]):
    """Dismisses with the text, or None."""

    CSS_PATH = "name.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "dismiss(None)", "Back")]

    def __init__(self, title: str, hint: str) -> None:
        super().__init__()
        self._title, self._hint = title, hint

    def compose(self) -> ComposeResult:
        """Title and field."""
        with Vertical(id="name"):
            yield Static(shown(self._title, "bold"))
            yield Field(placeholder=self._hint, compact=True, max_length=60)

    @on(Input.Submitted)
    def _done(self, event: Input.Submitted) -> None:
        if event.value.strip():
            self.dismiss(event.value.strip())
