"""Lines to be typed into, whose characters are typed before the next key comes; one or two figures at a step."""

from dataclasses import dataclass

from textual import events
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.message import Message
from textual.widgets import Input, Label, Static

from tui.content import shown

MOST_ENTRIES = 2


class Field(Input):
    """An input that is offered a key at once, not through its queue."""

    figure: bool = False
    """A question mark is no part of a figure: it asks for help."""

    def check_consume_key(self, key: str, character: str | None) -> bool:
        """Leave the help key alone where a figure is typed."""
        return not (self.figure and character == "?") and super().check_consume_key(key, character)

    def take_key(self, event: events.Key) -> bool:
        """Type it; False for a key that types nothing."""
        types = self.check_consume_key(event.key, event.character)
        if types:
            self.replace(event.character or "", *self.selection)
        return types


@dataclass(frozen=True, slots=True)
class Entry:
    """One figure to be typed."""

    id: str
    words: str
    unit: str = ""


class EntryPanel(Vertical):
    """One or two figures; Enter goes on, the last one hands them in."""

    DEFAULT_CSS = """
    EntryPanel {
        height: auto;
        Horizontal { height: 1; }
        .what { width: 40; }
        Input { width: 14; }
        .unit { width: 10; padding-left: 1; color: $secondary; }
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
                field.value, field.figure = "", True
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

    def wrong(self, text: str, at: str = "") -> None:
        """Say what is wrong; the next key is for the line it is about."""
        self.remark(f"! {text}", "bold $error")
        if (line := next((i for i, e in enumerate(self.entries) if e.id == at), None)) is not None:
            self.screen.set_focus(self._field(line))

    def remark(self, text: str, style: str = "") -> None:
        """What stands below the lines."""
        self.query_one("#entry-remark", Static).update(shown(text, style))
