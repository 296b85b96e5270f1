"""A table made of all jobs of the folder, which is read away from the screen's own thread."""

import asyncio
from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding
from textual.widgets import DataTable, Static

from listen.errors import HisswayError
from listen.jobs.folder.witnesses import JobSummary
from tui.content import shown
from tui.screens.base import BayScreen, in_background


class Rows(DataTable[Text]):
    """One row is chosen, and opened."""

    BINDINGS = [Binding("enter", "select_cursor", "Open")]


PADDING, LEAST_TITLE = 12, 16
"""Columns between and beside the columns, and of the title at least."""


class JobTable(BayScreen[None]):
    """Subclasses say which rows the jobs come to, and what stands there where there are none."""

    OF_JOB = False
    TABLE: ClassVar[str] = ""
    """Identifier of the table."""
    COLUMNS: ClassVar[tuple[tuple[str, int], ...]] = ()
    """Heads and widths; the one without a width takes what is left."""
    EMPTY: ClassVar[str] = ""
    go_to: str = ""
    """Key of the row the cursor goes to when the table is filled next."""

    def table(self) -> ComposeResult:
        """The table, and words for the empty and the busy state."""
        yield Static(shown("Reading the jobs ..."), id="state", classes="empty")
        yield Rows(id=self.TABLE, cursor_type="row", zebra_stripes=False)

    def on_mount(self) -> None:
        """No table before there are rows."""
        self.query_one(Rows).display = False

    def on_screen_resume(self) -> None:
        """Back from a job: it is closed, and the list is read again."""
        if self.app.screen is self:  # not where a job was entered before this message came
            self.bay.put_away()
            self.load()

    @in_background("load")
    async def load(self) -> None:
        from listen.jobs.folder.store import list_jobs

        try:
            self.read(await asyncio.to_thread(list_jobs, self.bay.services.jobs_root()))
        except HisswayError as e:
            self.say(str(e))

    def read(self, jobs: list[JobSummary]) -> None:
        raise NotImplementedError

    def fill(self) -> None:
        raise NotImplementedError

    def on_resize(self) -> None:
        if self.query_one(Rows).row_count:
            self.fill()

    def widths(self) -> dict[str, int]:
        left = self.size.width - PADDING - sum(width for _, width in self.COLUMNS)
        return {head: width or max(LEAST_TITLE, left) for head, width in self.COLUMNS}

    def here(self) -> str:
        """Key of the row that the cursor is on; empty where there is none."""
        table = self.query_one(Rows)
        known = table.display and table.row_count
        return str(table.coordinate_to_cell_key(table.cursor_coordinate).row_key.value) if known else ""

    def put(self, rows: dict[str, tuple[str, ...]], widths: dict[str, int], empty: str = "") -> None:
        """Rows by their keys; the cursor stays on its row: Enter must not open what came in between."""
        table = self.query_one(Rows)
        at, here, self.go_to = table.cursor_row, self.go_to or self.here(), ""
        table.clear(columns=True)
        for head, width in widths.items():
            table.add_column(head, width=width)
        for key, cells in rows.items():
            table.add_row(*(Text(cell, no_wrap=True, overflow="ellipsis") for cell in cells), key=key)
        table.move_cursor(row=[*rows].index(here) if here in rows else min(at, max(len(rows) - 1, 0)))
        if rows:
            self.query_one("#state").display, table.display = False, True
        else:
            self.say(empty or self.EMPTY)

    def say(self, text: str) -> None:
        """Words in place of the table."""
        table, state = self.query_one(Rows), self.query_one("#state", Static)
        if table.has_focus:
            self.set_focus(None)  # else the keys would be typed into whatever line is next
        table.display, state.display = False, True
        state.update(text if text == self.EMPTY else shown(text))
