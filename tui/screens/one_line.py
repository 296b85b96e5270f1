"""A small dialog: one line to type, with a question above it."""

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

HOW = "Enter keeps it, Esc leaves all as it was"


class OneLineScreen(ModalScreen[str]):
    """Dismisses with what was typed, or None. An empty line is kept only where ``may_be_empty``.

    What ``take`` refuses is said, and the line stays open.
    """

    CSS_PATH = "one_line.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "leave", "Back")]

    def __init__(
        self,
        title: str,
        text: str = "",
        *,
        how: str = HOW,
        hint: str = "",
        may_be_empty: bool = False,
        most: int = 400,
        take: Callable[[str], None] = lambda _: None,
    ) -> None:
        super().__init__()
        self._title, self._text, self._how, self._hint = title, text, how, hint
        self._may_be_empty, self._most, self._take = may_be_empty, most, take
        self._warned = ""
        """What was typed when leaving was asked about."""

    def compose(self) -> ComposeResult:
        with Vertical(id="line"):
            yield Static(shown(self._title, "bold"))
            yield Field(self._text, placeholder=self._hint, compact=True, max_length=self._most)
            yield Static(shown(self._how, "$secondary"), id="how")

    def action_leave(self) -> None:
        """Leave; what was typed is dropped only by a second key."""
        typed = self.query_one(Field).value.strip()
        if typed in ("", self._text, self._warned):
            self.dismiss(None)
            return
        self._warned = typed
        self._warn("Enter keeps what was typed, Esc again drops it")

    @on(Input.Submitted)
    def keep(self, event: Input.Submitted) -> None:
        text = event.value.strip()
        if not text and not self._may_be_empty:
            self._warn("A word or two, please")
            return
        try:
            self._take(text)
        except HisswayError as e:
            self._warn(e)
        else:
            self.dismiss(text)

    def _warn(self, what: object) -> None:
        self.query_one("#how", Static).update(shown(f"! {what}", "$warning"))
