"""The job card: title, complaint, and what the shop writes down of engine and customer."""

from textual import on
from textual.app import ComposeResult
from textual.containers import Horizontal, VerticalScroll
from textual.widgets import Button, Input, Label, Static

from listen.jobs.events import DetailsGiven, JobNamed, Payload
from listen.jobs.job import Job
from listen.trade.details import LONGEST, details
from listen.voice.text import plain
from tui.content import shown
from tui.screens.form import FormScreen
from tui.widgets.field import Field

LONGEST_COMPLAINT = 2000


class CardScreen(FormScreen["tuple[Payload, ...] | None"]):
    """A form of one-line fields; dismisses with the events that keep what was changed, or None."""

    CSS_PATH = "card.tcss"
    AUTO_FOCUS = "#title"

    def __init__(self, job: Job) -> None:
        super().__init__()
        self._of = job

    def way(self) -> tuple[str, ...]:
        """Where we are."""
        return (self._of.title, "job card")

    def body(self) -> ComposeResult:
        """A line a field."""
        with VerticalScroll(id="form"):
            yield _line("Title", Field(self._of.title, id="title", compact=True))
            complaint = Field(self._of.complaint, placeholder="what brought it here", id="complaint", compact=True)
            yield _line("Complaint", complaint)
            yield _line("Shop", Field(self._of.shop, placeholder="whose bench it is", id="shop", compact=True))
            for row in details():
                field = Field(self._of.details.get(row.id, ""), placeholder=row.hint, id=f"of-{row.id}", compact=True)
                yield _line(row.words, field)
            yield Button("Keep the card", id="keep", variant="primary", compact=True)
        yield Static(id="wrong")

    @on(Button.Pressed, "#keep")
    def action_keep(self) -> None:
        """Go back with what was changed."""
        if not self._text("title"):
            self.query_one("#wrong", Static).update(shown("! A job needs a title, so that others find it."))
            self.query_one("#title").focus()
            return
        self.dismiss(self._changes())

    def _changes(self) -> tuple[Payload, ...]:
        named = {n: self._text(n, LONGEST_COMPLAINT) for n in ("title", "complaint", "shop")}
        changed = {n: text for n, text in named.items() if text != getattr(self._of, n)}
        given = {row.id: self._text(f"of-{row.id}") for row in details()}
        filled = {n: text for n, text in given.items() if text != self._of.details.get(n, "")}
        return (*([JobNamed(**changed)] if changed else []), *([DetailsGiven(details=filled)] if filled else []))

    def _text(self, field: str, longest: int = LONGEST) -> str:
        return plain(self.query_one(f"#{field}", Input).value.strip(), longest)


def _line(label: str, field: Field) -> Horizontal:
    return Horizontal(Label(label, markup=False), field, classes="line")
