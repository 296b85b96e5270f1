"""A form of several fields that is never dropped with something typed into it without a question."""

from typing import ClassVar, TypeVar

from textual import on
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widgets import Input, Select

from tui.screens.base import BayScreen
from tui.screens.pick import PickScreen

R = TypeVar("R")
LEAVE = [
    ("stay", "go on with the form", ""),
    ("keep", "keep what was typed", ""),
    ("leave", "leave it", "what was typed is not kept"),
]


class FormScreen(BayScreen[R]):
    """Subclasses keep the form in :meth:`action_keep`."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+s", "keep", "Keep", priority=True),
        Binding("pagedown", "page(1)", "Scroll", show=False),
        Binding("pageup", "page(-1)", "Scroll", show=False),
    ]

    _begun: tuple[str, ...] = ()
    """What the fields held before anything was typed."""

    def on_mount(self) -> None:
        """Remember what the fields hold."""
        super().on_mount()
        self.call_after_refresh(self._remember)

    def action_keep(self) -> None:
        """Keep what was typed, or say what is wrong with it."""
        raise NotImplementedError

    def action_page(self, by: int) -> None:
        """Scroll the form."""
        form = self.query_one("#form", VerticalScroll)
        (form.scroll_page_down if by > 0 else form.scroll_page_up)(animate=False)

    def _remember(self) -> None:
        self._begun = self._typed()

    def _typed(self) -> tuple[str, ...]:
        return tuple(str(w.value) for w in self.query("Input, Select").results() if isinstance(w, Input | Select))

    def action_back(self) -> None:
        """Leave; what was typed is asked about."""
        if self._typed() == self._begun:
            super().action_back()
        else:
            self.app.push_screen(PickScreen("Leave this form?", LEAVE), self._left)

    def _left(self, answer: str | None) -> None:
        if answer == "leave":
            super().action_back()
        elif answer == "keep":
            self.action_keep()

    @on(Input.Submitted)
    def _next(self) -> None:
        self.focus_next()
