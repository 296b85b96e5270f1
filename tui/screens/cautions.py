"""Cautions to read again at any time; and those to read and acknowledge before a step of the whole job."""

from string import digits
from typing import cast

from msgspec.structs import replace
from textual import events
from textual.app import ComposeResult
from textual.binding import Binding

from listen.trade.causes import sources
from listen.trade.cautions import Caution, cautions, told_in
from tui.bridge.bay import Bay
from tui.screens.dialog import Dialog
from tui.widgets.panels import CautionPanel

OURS = ("TRADE", "COMPUTED")
"""Sources that are no page elsewhere."""


class CautionScreen(Dialog[str]):
    """Dismisses once all were on the screen and the key was pressed: with the figure that was typed meanwhile."""

    BINDINGS = [Binding("space,enter,pagedown", "read_on", "Read on", priority=True)]
    PEN = "bold $warning"

    def __init__(self, rows: tuple[Caution, ...] | None = None, title: str = "All cautions") -> None:
        super().__init__(title, "Space turns the page and closes after the last one; Esc goes back")
        self._typed, self._handed_in = "", False
        self._rows = tuple(map(_with_source, cautions())) if rows is None else rows

    def body(self) -> ComposeResult:
        yield CautionPanel()

    def on_mount(self) -> None:
        panel = self.query_one(CautionPanel)
        job = cast("Bay", self.app).job
        panel.show(told_in(job.pressure_unit, self._rows) if job else self._rows)
        self.set_focus(panel)

    def action_read_on(self) -> None:
        self._handed_in = True  # Enter behind a figure ends it: what a scanner sends next is another one
        if not self.query_one(CautionPanel).page():
            self.dismiss(self._typed)

    def take_key(self, event: events.Key) -> bool:
        """Whoever types a figure looks up only when it is typed: it is wanted after the reading."""
        if not self._handed_in and (event.character or "-") in (*digits, ".", ","):
            self._typed += event.character or ""
        return super().take_key(event)


def _with_source(c: Caution) -> Caution:
    """A caution with where it comes from behind it, for reading in peace; what is ours has no page to turn up."""
    pages = [sources()[s].words for s in c.sources if s not in OURS]
    return replace(c, words=f"{c.words} ({'; '.join(pages)})") if pages else c
