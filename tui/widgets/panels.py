"""What a step asks for besides a clip: cautions to read, readings to type, a choice to make by one key."""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import dataclass
from textwrap import wrap

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.message import Message
from textual.reactive import reactive
from textual.widgets import Label, Static

from listen.trade.cautions import Caution, defer_to_others
from listen.voice import figures
from listen.voice.text import plain
from tui.content import shown
from tui.widgets.drawn import Cells, Drawn
from tui.widgets.field import Field

MOST_ENTRIES = 2
SEEN_S = 0.4
"""A key that comes sooner after a page was put up says nothing of it: a scanner's burst, or a key held down. Set by
judgement: nobody reads a line in less, and whoever knows the page waits for it once."""
SHORT = 20
"""Longer entries get the whole line."""
SURE: tuple[float | None, ...] = (None, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95)
"""How sure one may say to be; nothing said comes first."""
MORE_AT, LEAST_MORE = 24, 20
"""Column at which the meaning of an answer begins, and columns it is broken into at least."""


class CautionPanel(VerticalScroll, can_focus=True):
    """Cautions, those that protect people first in weight. Only what was on the screen can be acknowledged."""

    _up_s = 0.0
    """When the page that is up was put up."""

    def compose(self) -> ComposeResult:
        yield Static(id="cautions")

    def show(self, rows: Iterable[Caution]) -> None:
        """Put them up, from the first on."""
        lines = [
            Content.assemble(("▲ ", "bold $warning") if c.weight == "danger" else ("· ", "$secondary"), plain(c.words))
            for c in rows
        ]
        self.query_one("#cautions", Static).update(Content("\n").join([*lines, shown(defer_to_others(), "$secondary")]))
        self.scroll_home(animate=False)
        self._up_s = time.monotonic()

    def page(self) -> bool:
        """Turn to what has not been on the screen yet; False where all of it has."""
        if not self.size.height:  # not drawn at all yet
            self._up_s = time.monotonic()
        if time.monotonic() - self._up_s < SEEN_S:
            return True
        if self.scroll_y >= self.max_scroll_y:
            return False
        self._up_s = time.monotonic()
        self.scroll_to(y=self.scroll_y + self.size.height - 1, animate=False, immediate=True)
        return True


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
    BINDINGS = [Binding("left", "sure(-1)", "Less sure", show=False), Binding("right", "sure(1)", "Surer", show=False)]

    choices: reactive[tuple[Choice, ...]] = reactive[tuple[Choice, ...]]((), layout=True)
    about: reactive[str] = reactive("")
    """What is being asked, for whoever reads the answer."""
    asks_sure: reactive[bool] = reactive(False, layout=True)
    at: reactive[int] = reactive(0)
    """Place in :data:`SURE`."""

    @dataclass
    class Chosen(Message):
        panel: ChoicePanel
        choice: str
        sure: float | None = None

    def get_content_height(self, container: object, viewport: object, width: int) -> int:
        """As many lines as the answers' meanings take, and one for how sure."""
        return max(len(self._lines(width)) + self.asks_sure, 1)

    def _lines(self, width: int) -> list[tuple[int, str]]:
        """Place of the answer, and as much of its meaning as stands on the line."""
        room = max(width - self._more_at(), LEAST_MORE)
        return [(i, part) for i, c in enumerate(self.choices) for part in wrap(c.more, room) or [""]]

    def draw_line(self, y: int, width: int) -> Cells:
        line, lines = Cells(width, "plain"), self._lines(width)
        if y < len(lines):
            i, more = lines[y]
            if y == 0 or lines[y - 1][0] != i:
                line.put(0, f"[{self.choices[i].key}]", "warn")
                line.put(4, self.choices[i].words, "strong")
            line.put(self._more_at(), more, "dim")
        elif y == len(lines) and self.asks_sure:
            sure = SURE[self.at]
            at = line.put(0, "[← →]", "warn")
            at = line.put(at + 1, "not said how sure" if sure is None else f"{figures.share(sure)} sure", "strong")
            line.put(max(at + 2, MORE_AT), "first, if you like: how sure are you?", "dim")
        return line

    def _more_at(self) -> int:
        """Column of what the answers mean: the same for all that have a meaning."""
        return max([MORE_AT, *(4 + len(c.words) + 2 for c in self.choices if c.more)])

    def show(self, choices: tuple[Choice, ...], about: str, *, sure: bool = False) -> None:
        """Ask; ``sure``: how sure may be said before the answer."""
        self.choices, self.about, self.asks_sure, self.at = choices, about, sure, 0

    def action_sure(self, by: int) -> None:
        if self.asks_sure:
            self.at = min(max(self.at + by, 0), len(SURE) - 1)

    def _answer(self, choice: Choice) -> Chosen:
        return self.Chosen(self, choice.id, SURE[self.at] if self.asks_sure else None)

    def take_key(self, event: events.Key) -> bool:
        """A key that stands before an answer gives it."""
        choice = next((c for c in self.choices if c.key == (event.character or "").lower()), None)
        if choice is not None:
            self.post_message(self._answer(choice))
        return choice is not None

    def on_click(self, event: events.Click) -> None:
        """A click on a line gives its answer; on the last, the next step of how sure."""
        at, lines = event.get_content_offset(self), self._lines(self.size.width)
        if at is not None and 0 <= at.y < len(lines):
            self.post_message(self._answer(self.choices[lines[at.y][0]]))
        elif at is not None and self.asks_sure:
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
    figure: bool = False
    """Whether it is a figure: a question mark then asks for help."""


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

    @dataclass
    class Entered(Message):
        """All figures, by id; empty where nothing was typed."""

        values: dict[str, str]

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self.entries: tuple[Entry, ...] = ()

    def compose(self) -> ComposeResult:
        for i in range(MOST_ENTRIES):
            with Horizontal(id=f"entry-{i}"):
                yield Label("", markup=False, classes="what")
                yield Field(compact=True, max_length=12)
                yield Label("", markup=False, classes="unit")
        yield Static(id="entry-remark")

    def show(self, entries: tuple[Entry, ...], remark: str = "") -> None:
        """Ask for figures."""
        if entries == self.entries:
            return
        self.entries = entries
        for i in range(MOST_ENTRIES):
            row = self.query_one(f"#entry-{i}")
            row.display = i < len(entries)
            if row.display:
                row.query_one(".what", Label).update(entries[i].words)
                row.query_one(".unit", Label).update(entries[i].unit)
                field = row.query_one(Field)
                field.value, field.max_length, field.figure = entries[i].value, entries[i].length, entries[i].figure
                field.select_on_focus, field.cursor_position = not field.figure, len(field.value)
                row.set_class(entries[i].length > SHORT, "-long")
        self.remark(remark)
        self.screen.set_focus(self._field(0))

    def _field(self, i: int) -> Field:
        return self.query_one(f"#entry-{i}", Horizontal).query_one(Field)

    def take_key(self, event: events.Key) -> bool:
        """Enter goes on to the next line; from the last it hands them in."""
        at = next((i for i in range(len(self.entries)) if self._field(i) is self.screen.focused), None)
        if at is None or event.key != "enter":
            return False
        if at + 1 < len(self.entries):
            self.screen.set_focus(self._field(at + 1))
        else:
            told = {e.id: self._field(i).value.strip() for i, e in enumerate(self.entries)}
            self.post_message(self.Entered(told))
        return True

    def clear(self) -> None:
        self.entries = ()

    @property
    def typed(self) -> str:
        return " ".join(self._field(i).value for i in range(len(self.entries))).strip()

    def wrong(self, text: str) -> None:
        self.remark(f"! {text}", "bold $error")

    def remark(self, text: str, style: str = "") -> None:
        """What stands below the lines."""
        self.query_one("#entry-remark", Static).update(shown(text, style))
