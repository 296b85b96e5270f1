"""A table made of all jobs of the folder, which is read away from the screen's own thread."""

from collections.abc import Mapping, Sequence
from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.content import Content
from textual.widgets import Static

from listen.errors import HisswayError
from listen.jobs.folder.store import list_jobs
from listen.jobs.folder.witnesses import JobSummary
from tui.bridge.threads import in_thread
from tui.content import shown
from tui.screens.base import BayScreen, in_background
from tui.widgets.lines import Lines

BETWEEN, BESIDE = 2, 4
"""Columns between two columns, and beside the table with its scroll bar."""


class Rows(Lines):
    """One row is chosen, and opened."""

    BINDINGS = [Binding("enter", "select", "Open")]


class JobTable(BayScreen[None]):
    """Subclasses say which rows the jobs come to, what Enter does, and what stands there where there are none."""

    OF_JOB = False
    TABLE: ClassVar[str] = ""
    """Identifier of the table."""
    COLUMNS: ClassVar[tuple[tuple[str, int], ...]] = ()
    """Heads and widths; the one without a width takes what is left."""
    LEAST: ClassVar[int] = 16
    """Columns of that one, before others give way to it."""
    GIVE_WAY: ClassVar[tuple[str, ...]] = ()
    """Heads of those that do, one after the other; all of a row stands below the table."""
    EMPTY: ClassVar[str] = ""
    go_to: str = ""
    """Key of the row the cursor goes to when the table is filled next."""

    def body(self) -> ComposeResult:
        """Words for the empty and the busy state, the table, and in full below what its columns had to cut."""
        yield Static(shown("Reading the jobs ..."), id="state", classes="empty")
        yield Static(id="heads")
        yield Rows(id=self.TABLE)
        yield Static(id="about")

    def on_mount(self) -> None:
        """No table before there are rows."""
        self._show_table(False)

    def on_screen_resume(self) -> None:
        """Back from a job: it is closed, and the list is read again."""
        if self.app.screen is self:  # not where a job was entered before this message came
            self.bay.put_away()
            self.load()

    @in_background("load")
    async def load(self) -> None:
        try:
            self.read(await in_thread(list_jobs, self.bay.services.jobs_root()))
        except HisswayError as e:
            self.say(str(e))

    def read(self, jobs: list[JobSummary]) -> None:
        raise NotImplementedError

    def fill(self) -> None:
        raise NotImplementedError

    def open(self, key: str) -> None:
        raise NotImplementedError

    def in_full(self, key: str) -> Content:
        """What stands below the table for a row."""
        raise NotImplementedError

    def on_resize(self) -> None:
        if self.query_one(Rows).option_count:
            self.fill()

    def _widths(self) -> dict[str, int]:
        widths, rest = dict(self.COLUMNS), 0
        for head in ("", *self.GIVE_WAY):
            widths.pop(head, None)
            rest = self.size.width - BESIDE - sum(widths.values()) - BETWEEN * (len(widths) - 1)
            if rest >= self.LEAST:
                break
        return {head: width or max(rest, 1) for head, width in widths.items()}

    def here(self) -> str:
        """Key of the row that the cursor is on; empty where there is none."""
        table = self.query_one(Rows)
        return table.here if table.display else ""

    def put(self, rows: Mapping[str, Sequence[str]], empty: str = "") -> None:
        """Rows by their keys, a cell a column; the cursor stays on its row: Enter must not open what came between."""
        go_to, self.go_to = self.go_to, ""
        heads, widths = [head for head, _ in self.COLUMNS], self._widths()

        def row(cells: Sequence[str]) -> Content:
            of = dict(zip(heads, cells, strict=True))
            fitted = (Content(of[head]).truncate(width, ellipsis=True, pad=True) for head, width in widths.items())
            return Content(" " * BETWEEN).join(fitted)

        self.query_one("#heads", Static).update(row(heads))
        self.query_one(Rows).put([(key, row(cells)) for key, cells in rows.items()], go_to)
        if rows:
            self._show_table(True)
        else:
            self.say(empty or self.EMPTY)

    def say(self, text: str) -> None:
        """Words in place of the table."""
        if self.query_one(Rows).has_focus:
            self.set_focus(None)  # else the keys would be typed into whatever line is next
        self._show_table(False)
        self.query_one("#state", Static).update(text if text == self.EMPTY else shown(text))

    def _show_table(self, there: bool) -> None:
        for part in ("#heads", Rows, "#about"):
            self.query_one(part).display = there
        self.query_one("#state").display = not there

    @on(Rows.OptionHighlighted)
    def _moved(self) -> None:
        if key := self.here():
            self.query_one("#about", Static).update(self.in_full(key))

    @on(Rows.OptionSelected)
    def _selected(self, event: Rows.OptionSelected) -> None:
        self.open(event.option.id or "")
