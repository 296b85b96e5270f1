"""The job card: title, complaint, and what the shop writes down of engine and customer."""

from listen.jobs.events import DetailsGiven, JobNamed, Payload
from listen.jobs.job import Job
from listen.trade.facts import LONGEST, details
from listen.voice.text import plain
from tui.screens.form import FormScreen, Line

LONGEST_COMPLAINT = 2000
UNTITLED = "A job needs a title, so that others find it."


class CardScreen(FormScreen[tuple[Payload, ...]]):
    """Dismisses with the events that keep what was changed, or None."""

    HERE, KEEP = "job card", "Keep the card"
    AUTO_FOCUS = "#title"

    def __init__(self, job: Job) -> None:
        super().__init__()
        self._of = job

    def way(self) -> tuple[str, ...]:
        """The job of the card, which need not be the open one."""
        return (self._of.title, self.HERE)

    def lines(self) -> tuple[Line, ...]:
        return (
            Line("title", "Title", self._of.title),
            Line("complaint", "Complaint", self._of.complaint, "what brought it here"),
            Line("shop", "Shop", self._of.shop, "whose bench it is"),
            *(Line(f"of-{row.id}", row.words, self._of.details.get(row.id, ""), row.hint) for row in details()),
        )

    def action_keep(self) -> None:
        if not self.text("title"):
            self.wrong(UNTITLED, "title")
            return
        named = {n: plain(self.text(n), LONGEST_COMPLAINT) for n in ("title", "complaint", "shop")}
        changed = {n: text for n, text in named.items() if text != getattr(self._of, n)}
        given = {row.id: plain(self.text(f"of-{row.id}"), LONGEST) for row in details()}
        filled = {n: text for n, text in given.items() if text != self._of.details.get(n, "")}
        events = [*([JobNamed(**changed)] if changed else []), *([DetailsGiven(details=filled)] if filled else [])]
        self.dismiss(tuple(events))
