"""A small dialog: one line of text or one figure; what is wrong with it is said and the line stays open."""

from collections.abc import Callable
from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, Static

from listen.errors import HisswayError
from tui.content import shown
from tui.widgets.field import Field


class LineScreen(ModalScreen[None]):
    """Hands each line entered to ``keep``; closes once it raises nothing."""

    CSS_PATH = "line.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "dismiss(None)", "Back")]

    def __init__(self, title: str, how: str, value: str, keep: Callable[[str], None]) -> None:
        super().__init__()
        self._title, self._how, self._value, self._keep = title, how, value, keep

    def compose(self) -> ComposeResult:
        """Title, field, what may be typed."""
        with Vertical(id="line"):
            yield Static(shown(self._title, "bold"))
            yield Field(self._value, compact=True, max_length=60)
            yield Static(shown(self._how, "$secondary"), id="line-how")

    @on(Input.Submitted)
    def _entered(self, event: Input.Submitted) -> None:
        try:
            self._keep(event.value.strip())
        except HisswayError as e:
            self.query_one("#line-how", Static).update(shown(f"! {e}", "bold $warning"))
        else:
            self.dismiss(None)
