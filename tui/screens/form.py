"""A form of one-line fields, told as data; never dropped with something typed into it without a question."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar, TypeVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, VerticalScroll
from textual.widgets import Button, Input, Label, Select, Static

from tui.content import shown
from tui.screens.base import BayScreen, asks
from tui.widgets.field import Field

R = TypeVar("R")
LEAVE = [
    ("stay", "go on with the form", ""),
    ("keep", "keep what was typed", ""),
    ("leave", "leave it", "what was typed is not kept"),
]


@dataclass(frozen=True, slots=True)
class Line:
    """One field: typed, or chosen where there are options."""

    id: str
    words: str
    value: str = ""
    """What it begins with; of one that is chosen, empty where nothing is chosen yet."""
    hint: str = ""
    options: Sequence[tuple[str, str]] | None = None
    """Words and identifiers to choose from."""

    def row(self) -> Horizontal:
        if self.options is None:
            field: Field | Select[str] = Field(self.value, placeholder=self.hint, id=self.id, compact=True)
        elif self.value:
            field = Select(self.options, value=self.value, allow_blank=False, id=self.id, compact=True)
        else:
            field = Select(self.options, prompt=self.hint, id=self.id, compact=True)
        return Horizontal(Label(self.words, markup=False), field, id=f"line-{self.id}", classes="line")


class FormScreen(BayScreen[R]):
    """Subclasses give :meth:`lines`, and keep them in :meth:`action_keep`."""

    BINDINGS = [
        Binding("ctrl+s", "keep", "Keep", priority=True),
        Binding("pagedown", "page(1)", "Scroll", show=False),
        Binding("pageup", "page(-1)", "Scroll", show=False),
    ]
    PAGE = "#form"
    KEEP: ClassVar[str] = "Keep"
    """Words of the button."""

    begun: dict[str, str]
    """What the fields held before anything was typed."""

    def lines(self) -> Sequence[Line]:
        raise NotImplementedError

    def below(self) -> ComposeResult:
        """What stands below the fields and scrolls with them."""
        yield from ()

    def body(self) -> ComposeResult:
        lines = self.lines()
        self.begun = {line.id: line.value.strip() for line in lines}  # now: keys may be typed before it is drawn
        with VerticalScroll(id="form"):
            for line in lines:
                yield line.row()
            yield Button(self.KEEP, id="keep", variant="primary", compact=True, action="screen.keep")
            yield from self.below()
        yield Static(id="wrong")

    def action_keep(self) -> None:
        """Keep what was typed, or say what is wrong with it."""
        raise NotImplementedError

    def text(self, id: str) -> str:
        """What a field holds; empty where nothing was typed, or chosen yet."""
        value: object = getattr(self.query_one(f"#{id}"), "value", "")
        return value.strip() if isinstance(value, str) else ""

    def wrong(self, text: object, at: str = "") -> None:
        """Say what is wrong, or that nothing is; go to the field."""
        self.query_one("#wrong", Static).update(shown(f"! {text}") if text else "")
        if at:
            self.query_one(f"#{at}").focus()

    @asks
    async def action_back(self) -> None:
        answer: str | None = "leave"
        if any(self.text(id) != value for id, value in self.begun.items()):
            answer = await self.pick("Leave this form?", LEAVE)
        if answer == "leave":
            super().action_back()
        elif answer == "keep":
            self.action_keep()

    @on(Input.Submitted)
    def _next(self) -> None:
        self.focus_next()
