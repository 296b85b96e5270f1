"""Waiting: what waits for a supervisor over all jobs of the folder; Enter hears and decides, past no verdict."""

import asyncio
from typing import ClassVar

from rich.text import Text
from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.widgets import DataTable, Static

from listen.errors import HisswayError
from listen.jobs.folder.summary import JobSummary
from listen.jobs.standing import ORDER, Waiting
from listen.voice import times
from listen.voice.names import WAITS
from listen.voice.text import plain
from tui.content import shown
from tui.screens.base import BayScreen
from tui.widgets.rows import Rows

COLUMNS = (("Waits", 23), ("Cyl", 3), ("Job", 0), ("By", 10), ("Since", 16))
"""Heads and widths; the title takes what is left."""
PADDING = 12
"""Columns between and beside the columns."""
LOOK_EVERY_S = 10.0
"""The folder may be a share with hundreds of jobs; one look costs a file's length and time each."""
EMPTY = """Nothing waits for a supervisor here.

A round waits once it was judged; one that was sent back waits again once the clip asked for has come."""


class WaitingScreen(BayScreen[None]):
    """One line a round, those that came again first."""

    CSS_PATH = "waiting.tcss"
    AUTO_FOCUS = "#waiting"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("f2", "app.who", "Who sits here")]

    def __init__(self) -> None:
        super().__init__()
        self._rows: list[tuple[JobSummary, Waiting]] = []

    def body(self) -> ComposeResult:
        """The table, and words where it is empty."""
        yield Static(shown("Reading the jobs ..."), id="state", classes="empty")
        yield Rows(id="waiting", cursor_type="row", zebra_stripes=False)

    def way(self) -> tuple[str, ...]:
        """Where we are."""
        return ("waits for a supervisor",)

    def on_mount(self) -> None:
        """Read now, and again every few seconds."""
        super().on_mount()
        self.query_one("#waiting").display = False
        self.set_interval(LOOK_EVERY_S, self._look)

    def _look(self) -> None:
        if self.app.screen is self:
            self.load()

    def on_screen_resume(self) -> None:
        """Back from a round: its job is closed, and the list is read again."""
        if self.app.screen is self:
            self.bay.put_away()
            self.load()

    def load(self) -> None:
        """Read the jobs anew."""
        self.start(self._load, "load")

    async def _load(self) -> None:
        """Read the folder away from the screen's own thread."""
        from listen.jobs.folder.summary import list_jobs

        try:
            jobs = await asyncio.to_thread(list_jobs, self.bay.services.jobs_root())
        except HisswayError as e:
            self._say(str(e))
            return
        rows = [(job, one) for job in jobs for one in job.waiting]
        self._rows = sorted(rows, key=lambda row: (ORDER.index(row[1].why), row[1].since))
        self._fill()

    def _fill(self) -> None:
        table = self.query_one("#waiting", DataTable)
        here = table.cursor_row if table.row_count else 0
        table.clear(columns=True)
        title = max(16, self.size.width - PADDING - sum(width for _, width in COLUMNS))
        for label, width in COLUMNS:
            table.add_column(label, width=width or title)
        for job, one in self._rows:
            table.add_row(*_row(job, one, title), key=f"{job.folder}/{one.round_id}")
        table.move_cursor(row=min(here, max(len(self._rows) - 1, 0)))
        if not self._rows:
            self._say(EMPTY)
            return
        self.query_one("#state").display, table.display = False, True
        table.focus()

    def _say(self, text: str) -> None:
        self.query_one("#waiting").display = False
        state = self.query_one("#state", Static)
        state.update(shown(text))
        state.display = True

    def on_resize(self) -> None:
        """Titles get the room there is."""
        if self._rows:
            self._fill()

    @on(DataTable.RowSelected)
    def _chosen(self, event: DataTable.RowSelected) -> None:
        from listen.jobs.folder.store import open_job
        from tui.screens.confirm.screen import ConfirmScreen

        found = next(row for row in self._rows if f"{row[0].folder}/{row[1].round_id}" == event.row_key.value)
        try:
            opened = open_job(self.bay.services.jobs_root() / found[0].folder, bench=False)
        except HisswayError as e:
            self.refuse(e)
            self.load()
            return
        self.bay.take(opened)
        self.app.push_screen(ConfirmScreen(found[1].round_id))


def _row(job: JobSummary, one: Waiting, title: int) -> tuple[Text, ...]:
    why = WAITS[one.why] + (f", {plain(one.asked_by, 30)}" if one.asked_by else "")
    cells = (why, str(one.cylinder), plain(job.title, title), plain(one.recorded_by or "–", 40))
    return tuple(Text(cell, no_wrap=True, overflow="ellipsis") for cell in (*cells, times.moment(one.since)))
