"""What a step asks for besides a clip: cautions to read, readings to type, a choice to make by one key."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.message import Message
from textual.reactive import reactive
from textual.widgets import Input, Label, Static

from tui.widgets.cells import Cells
from tui.widgets.drawn import Drawn
from tui.widgets.field import Field
from tui.words import percent_plain, plain, shown

MOST_ENTRIES = 2
SHORT = 20
"""Longer entries get the whole line."""
SURE: tuple[float | None, ...] = (None, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95)
"""How sure one may say to be; nothing said comes first."""
MORE_AT = 24
"""Column at which the meaning of an answer begins."""


class Acknowledged(Message):
    """The cautions were read."""


class CautionPanel(VerticalScroll, can_focus=True):
    """Cautions, those that protect people first in weight; the record key acknowledges them."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space,enter,pagedown", "acknowledge", "Read and done", key_display="Space")
    ]

    def compose(self) -> ComposeResult:
        """One text."""
        yield Static(id="cautions")

    def show(self, rows: list[tuple[bool, str]], defer: str) -> None:
        """Rows of (danger to people?, words)."""
        lines = [
            Content.assemble(("▲ " if danger else "· ", "bold $warning" if danger else "$secondary"), plain(words))
            for danger, words in rows
        ]
        self.query_one("#cautions", Static).update(Content("\n").join([*lines, shown(defer, "$secondary")]))
        self.scroll_home(animate=False)

    def action_acknowledge(self) -> None:
        """Say so."""
        self.post_message(Acknowledged())


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer: its key, an identifier, and words."""

    key: str
    id: str
    words: str
    more: str = ""


class ChoicePanel(Drawn, can_focus=True):
    """Answers with a key each; a click on a line gives its answer. Where asked, left and right say how sure."""

    DEFAULT_CSS = "ChoicePanel { height: auto; }"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("left", "sure(-1)", "Less sure", show=False),
        Binding("right", "sure(1)", "Surer", show=False),
    ]

    choices: reactive[tuple[Choice, ...]] = reactive[tuple[Choice, ...]]((), layout=True)
    about: reactive[str] = reactive("")
    """What is being asked, for whoever reads the answer."""
    asks_sure: reactive[bool] = reactive(False, layout=True)
    at: reactive[int] = reactive(0)
    """Place in :data:`SURE`."""

    class Chosen(Message):
        """An answer."""

        def __init__(self, panel: ChoicePanel, choice: str, sure: float | None = None) -> None:
            self.panel, self.choice, self.sure = panel, choice, sure
            super().__init__()

    def get_content_height(self, container: object, viewport: object, width: int) -> int:
        """A line an answer, and one for how sure."""
        return max(len(self.choices) + self.asks_sure, 1)

    def draw_line(self, y: int, width: int) -> Cells:
        """One answer: its key, its words, what it means."""
        line = Cells(width, "plain")
        if y < len(self.choices):
            choice = self.choices[y]
            line.put(0, f"[{choice.key}]", "warn")
            at = line.put(4, choice.words, "strong")
            line.put(max(at + 2, self._more_at()), choice.more, "dim")
        elif y == len(self.choices) and self.asks_sure:
            sure = SURE[self.at]
            at = line.put(0, "[← →]", "warn")
            at = line.put(at + 1, "not said how sure" if sure is None else f"{percent_plain(sure)} sure", "strong")
            line.put(max(at + 2, MORE_AT), "first, if you like: how sure are you?", "dim")
        return line

    def _more_at(self) -> int:
        """Column of what the answers mean: the same for all that have a meaning."""
        return max([MORE_AT, *(4 + len(c.words) + 2 for c in self.choices if c.more)])

    def show(self, choices: tuple[Choice, ...], about: str, *, sure: bool = False) -> None:
        """Ask; ``sure``: how sure may be said before the answer."""
        self.choices, self.about, self.asks_sure, self.at = choices, about, sure, 0

    def action_sure(self, by: int) -> None:
        """Surer, or less sure."""
        if self.asks_sure:
            self.at = min(max(self.at + by, 0), len(SURE) - 1)

    def _give(self, choice: Choice) -> None:
        self.post_message(self.Chosen(self, choice.id, SURE[self.at] if self.asks_sure else None))

    def on_key(self, event: events.Key) -> None:
        """A key that stands before an answer gives it."""
        if choice := next((c for c in self.choices if c.key == (event.character or "").lower()), None):
            event.stop()
            event.prevent_default()
            self._give(choice)

    def on_click(self, event: events.Click) -> None:
        """A click on a line gives its answer; on the last, the next step of how sure."""
        y = event.get_content_offset(self)
        if y is not None and 0 <= y.y < len(self.choices):
            self._give(self.choices[y.y])
        elif y is not None and self.asks_sure:
            self.at = (self.at + 1) % len(SURE)


@dataclass(frozen=True, slots=True)
class Entry:
    """One figure to be typed."""

    id: str
    words: str
    unit: str = ""
    value: str = ""
    length: int = 12
    """Most characters."""


class EntryPanel(Vertical):
    """One or two figures or lines of text; Enter goes on, the last one hands them in."""

    DEFAULT_CSS = """
    EntryPanel {
        height: auto;
        Horizontal { height: 1; }
        .what { width: 40; }
        Input { width: 14; }
        .unit { width: 10; padding-left: 1; color: $secondary; }
        .-long .what { width: 22; }
        .-long Input { width: 1fr; }
        .-long .unit { width: 1; }
        #entry-remark { color: $secondary; height: auto; }
    }
    """

    class Entered(Message):
        """All figures, by id; empty where nothing was typed."""

        def __init__(self, values: dict[str, str]) -> None:
            self.values = values
            super().__init__()

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._entries: tuple[Entry, ...] = ()

    def compose(self) -> ComposeResult:
        """As many lines as may be asked for at once, and a remark."""
        for i in range(MOST_ENTRIES):
            with Horizontal(id=f"entry-{i}"):
                yield Label("", markup=False, classes="what")
                yield Field(compact=True, max_length=12)
                yield Label("", markup=False, classes="unit")
        yield Static(id="entry-remark")

    def show(self, entries: tuple[Entry, ...], remark: str = "") -> None:
        """Ask for figures."""
        if entries == self._entries:
            return
        self._entries = entries
        for i in range(MOST_ENTRIES):
            row = self.query_one(f"#entry-{i}")
            row.display = i < len(entries)
            if row.display:
                row.query_one(".what", Label).update(entries[i].words)
                row.query_one(".unit", Label).update(entries[i].unit)
                field = row.query_one(Input)
                field.value, field.max_length = entries[i].value, entries[i].length
                row.set_class(entries[i].length > SHORT, "-long")
        self.query_one("#entry-remark", Static).update(shown(remark))
        self._field(0).focus()

    def _field(self, i: int) -> Input:
        return self.query_one(f"#entry-{i}", Horizontal).query_one(Input)

    def clear(self) -> None:
        """Forget what was asked."""
        self._entries = ()

    def wrong(self, text: str) -> None:
        """Say what is wrong with a figure."""
        self.query_one("#entry-remark", Static).update(shown(f"! {text}", "bold $error"))

    @on(Input.Submitted)
    def _next(self, event: Input.Submitted) -> None:
        event.stop()
        at = next(i for i in range(len(self._entries)) if self._field(i) is event.input)
        if at + 1 < len(self._entries):
            self._field(at + 1).focus()
        else:
            self.post_message(self.Entered({e.id: self._field(i).value.strip() for i, e in enumerate(self._entries)}))
